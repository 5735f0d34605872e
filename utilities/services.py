"""What other apps ask about a home's utility."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from jobs.core import clock
from jobs.core.models import Job, User
from utilities.limits import Known
from utilities.models import Closure, ProfileVersion, Service, Utility
from utilities.terms import Limit, Terms
from utilities.workdays import HolidayRule, WorkCalendar


def service_of(job: Job) -> Service | None:
    """The home's service; of two meters the one entered first."""
    return Service.objects.filter(job=job).select_related("utility", "district").order_by("pk").first()


def utility_of(job: Job) -> Utility | None:
    service = service_of(job)
    return service.utility if service else None


def emergency_line(job: Job) -> str:
    """The utility's emergency telephone by E.164; empty where it is not known, and then no call may be booked or begun."""
    utility = utility_of(job)
    return utility.emergency_phone if utility else ""


def emergency_lines(jobs: Iterable[Job]) -> dict[int, str]:
    """The same for many jobs, in one query: key to number."""
    keys = [job.pk for job in jobs]
    # Newest first, so that of two meters the one entered first is written last.
    rows = Service.objects.filter(job__in=keys).order_by("-pk").values_list("job_id", "utility__emergency_phone")
    first = dict(rows)
    return {key: first.get(key) or "" for key in keys}


def calendar_of(utility: Utility) -> WorkCalendar:
    """The utility's working days. Reads its closures, prefetched or not."""
    closures = list(utility.closures.all())
    return WorkCalendar(
        name=utility.name,
        weekdays=frozenset(utility.worked_weekdays),
        holidays=HolidayRule(utility.holidays),
        closed=frozenset(closure.day for closure in closures if closure.kind == Closure.Kind.CLOSED),
        opened=frozenset(closure.day for closure in closures if closure.kind == Closure.Kind.OPEN),
    )


def who_asks(utility: Utility, day: dt.date) -> User | None:
    """Who of us asks this utility on a day of the office: the clerk, or the stand-in while the clerk is away."""
    away = utility.away_from is not None and utility.away_from <= day and (utility.away_to is None or day <= utility.away_to)
    if away and utility.stand_in is not None:
        return utility.stand_in
    return utility.clerk or utility.stand_in


def known_calendars(utility: Utility) -> list[Known]:
    """Its calendar as it was known over time, by day; what it is now where nothing else was kept."""
    rows = [
        Known(
            row.known_on,
            WorkCalendar(
                name=utility.name,
                weekdays=frozenset(row.weekdays),
                holidays=HolidayRule(row.holidays),
                closed=frozenset(map(dt.date.fromisoformat, row.closed)),
                opened=frozenset(map(dt.date.fromisoformat, row.opened)),
            ),
        )
        for row in utility.known_calendars.all()
    ]
    return rows or [Known(dt.date.min, calendar_of(utility))]


def version_of(utility: Utility, on: dt.date) -> ProfileVersion | None:
    """The version of its profile that holds on a day there, if any. Reads its versions, prefetched or not."""
    held = [one for one in utility.versions.all() if one.valid_from <= on and (one.valid_to is None or one.valid_to >= on)]
    return held[0] if held else None


def terms_of(version: ProfileVersion | None) -> Terms:
    """What it says; of a utility that has told nothing, the careful defaults."""
    return Terms() if version is None else Terms.of({name: getattr(version, name) for name in Terms.__dataclass_fields__})


def terms_now(utility: Utility) -> Terms:
    return terms_of(version_of(utility, clock.today_in(utility.zone)))


def visit_limit(utility: Utility) -> Limit | None:
    """The limit it publishes for the fitting visit itself, which hardly any does (TRADE.md finding 2)."""
    return next((limit for limit in terms_now(utility).limits if limit.step == "visit"), None)
