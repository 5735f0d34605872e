"""How the office sees calls: the site's time, the office's beneath where it differs."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from jobs.appointments import times
from jobs.appointments.models import Appointment
from jobs.appointments.slots import Slot
from jobs.appointments.times import Free
from jobs.core import clock, rules, walltime, words
from jobs.core.models import Job, Party, Person, User
from jobs.core.models.people import PartyRole

DAYS_SHOWN = 4


def office_time(at: dt.datetime, *, site_zone: str) -> str:
    """ "office 15:30" where the office's clock shows another time than the home's; else nothing."""
    office = at.astimezone(walltime.zone_of(rules.text("office_zone")))
    site = at.astimezone(walltime.zone_of(site_zone))
    return "" if office.utcoffset() == site.utcoffset() else f"office {words.time_office(office)}"


def day_of(on: dt.date) -> str:
    return words.day_short(on, today=clock.office_today())


def when(call: Appointment) -> str:
    """ "Thu 19 Nov, 10:00 MST"."""
    return f"{day_of(call.local_date)}, {words.time_zone_office(call.local_start)}"


def instant(at: dt.datetime | None, zone: str) -> str:
    """An instant by the clock of a zone: "Wed 18 Nov, 14:30"."""
    if at is None:
        return ""
    local = at.astimezone(walltime.zone_of(zone))
    return f"{day_of(local.date())}, {words.time_office(local)}"


@dataclass(frozen=True)
class Choice:
    """A free time as a radio button: its value says verifier, wall time and fold."""

    value: str
    words: str
    under: str


@dataclass(frozen=True)
class Day:
    words: str
    choices: Sequence[Choice]


@dataclass(frozen=True)
class Days:
    """Some days of free times, and the day from which the next ones are shown."""

    days: Sequence[Day]
    later: dt.date
    earlier: dt.date | None


def default_person(job: Job) -> Person | None:
    """Who will most likely be at home."""
    return _first(job.parties.on(clock.today_in(job.site.zone)).select_related("person"))


def at_home_of(job: Job) -> Person | None:
    """The same of a job whose parties were fetched with it."""
    today = clock.today_in(job.site.zone)
    return _first(
        party
        for party in job.parties.all()
        if (party.from_on is None or party.from_on <= today) and (party.to_on is None or party.to_on >= today)
    )


def _first(parties: Iterable[Party]) -> Person | None:
    order = (PartyRole.AT_HOME.value, PartyRole.OWNER.value)
    ranked = sorted(parties, key=lambda party: (order.index(party.role) if party.role in order else len(order), party.pk))
    return ranked[0].person if ranked else None


def free_days(job: Job, *, person: Person, from_on: dt.date | None, apart_from: Appointment | None = None, verifier: str = "") -> Days:
    """Free times for this home, from a day at the site on; verifier: only those of this one (uid)."""
    today = clock.today_in(job.site.zone)
    first = max(from_on or today, today)
    start = max(clock.now(), dt.datetime.combine(first, dt.time(), walltime.zone_of(job.site.zone)))
    found = times.times_for(job, person=person, apart_from=apart_from, first_at=start, only=verifier, days=DAYS_SHOWN - 1)
    by_day: dict[dt.date, list[Choice]] = {}
    for free in found:
        by_day.setdefault(free.slot.local_date, []).append(_choice(free, job.site.zone))
    days = [Day(f"{words.day_long_home(day, lang='en').split(',')[0]}, {words.day(day)}", choices) for day, choices in by_day.items()]
    earlier = max(today, first - dt.timedelta(days=DAYS_SHOWN)) if first > today else None
    return Days(days, first + dt.timedelta(days=DAYS_SHOWN), earlier)


def value_of(verifier: User, slot: Slot) -> str:
    """How a form says this time of this verifier."""
    return _value(str(verifier.uid), slot)


def _value(verifier_uid: str, slot: Slot) -> str:
    return f"{verifier_uid}|{slot.local_date.isoformat()}T{slot.local_time:%H:%M}|{slot.fold}"


def _choice(free: Free, zone: str) -> Choice:
    slot = free.slot
    return Choice(
        _value(free.verifier_uid, slot),
        f"{slot.local_time:%H:%M}, {free.verifier_name}",
        office_time(slot.starts_at, site_zone=zone),
    )
