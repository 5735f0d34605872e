"""Hours ahead from the rows: fittings as the stored outlooks expect them, homes that wait, verifiers' free places; thirteen weeks."""

from __future__ import annotations

import datetime as dt
import statistics
from dataclasses import dataclass

from jobs.appointments import hoursahead, planning, worklists
from jobs.appointments.hoursahead import Ahead
from jobs.appointments.models import Appointment, AppointmentState, VerificationRecord
from jobs.core import clock
from jobs.core import kinds as k
from jobs.core.models import Fact
from jobs.core.models.job import JobQuerySet
from utilities import outlooks

WEEKS = 13
ONE_WEEK = dt.timedelta(days=7)
LOOKED_AT = dt.timedelta(days=365)
# Until there are records of our own: our own choice, no source. The second is how many homes the first weighs.
FIRST_CALLS, WEIGHT = 1.2, 10
FIRST_LAG_DAYS = 7


@dataclass(frozen=True)
class HoursAhead:
    mondays: tuple[dt.date, ...]
    ahead: Ahead
    waiting: int  # homes that want a call now
    not_ready: int  # homes whose collar is in and of which something is still missing
    calls_a_home: float
    lag_weeks: int


def hours_ahead(jobs: JobQuerySet) -> HoursAhead | None:
    """None where no forecast is stored yet. The weeks begin with what is left of this one."""
    told = outlooks.spread_together()
    today = clock.office_today()
    monday = today - dt.timedelta(days=today.weekday())
    ahead_of_us = [week for week in told if week[0] >= monday][:WEEKS]
    if not ahead_of_us:
        return None
    mondays = [week[0] for week in ahead_of_us]
    lists = worklists.lists(jobs)
    waiting, not_ready = len(lists.ready), len(lists.not_ready)
    calls, lag = calls_a_home(), lag_weeks()
    found = hoursahead.ahead(
        [mean for _, mean, _ in ahead_of_us],
        variance=[variance for _, _, variance in ahead_of_us],
        places=places_by_week(mondays),
        waiting=waiting,
        not_ready=not_ready,
        calls_a_home=calls,
        lag=lag,
    )
    return HoursAhead(tuple(mondays), found, waiting, not_ready, calls, lag)


def places_by_week(mondays: list[dt.date]) -> list[int]:
    """Places of all verifiers that no call has taken yet."""
    openings = planning.open_places(mondays[0], mondays[-1] + ONE_WEEK - dt.timedelta(days=1))
    starts = [place.starts_at.date() for place in openings.places]
    return [sum(monday <= day < monday + ONE_WEEK for day in starts) for monday in mondays]


def calls_a_home() -> float:
    """Calls held for each home that was verified, drawn to the first guess where few were."""
    since = clock.now() - LOOKED_AT
    held = Appointment.objects.filter(state__in=(AppointmentState.HELD, AppointmentState.MISSED), starts_at__gte=since).count()
    passed = VerificationRecord.objects.filter(result="passed", recorded_at__gte=since).count()
    return max(1.0, (held + FIRST_CALLS * WEIGHT) / (passed + WEIGHT))


def lag_weeks() -> int:
    """Whole weeks from the collar to the first call, in the middle of the last year's homes."""
    since = clock.now() - LOOKED_AT
    ended = (AppointmentState.HELD, AppointmentState.MISSED)
    first: dict[int, dt.date] = {}
    for job, day in (
        Appointment.objects.filter(state__in=ended, starts_at__gte=since).order_by("-starts_at").values_list("job_id", "local_date")
    ):
        first[job] = day
    fitted = {fact.job_id: fact.day for fact in Fact.objects.standing().of_kind(k.COLLAR_FITTED).filter(job__in=list(first))}
    days = [(day - fitted[job]).days for job, day in first.items() if job in fitted and day >= fitted[job]]
    return round((statistics.median(days) if days else FIRST_LAG_DAYS) / 7)
