"""Homes that are ready for a call, verifiers with hours, and calls begun and led up to the island test."""

from __future__ import annotations

import datetime as dt
from typing import Any

from jobs.appointments import booking, callsteps, hours, verification
from jobs.appointments.callsteps import Readings
from jobs.appointments.models import Appointment, CallRecord, Press
from jobs.appointments.slots import WeeklyHours
from jobs.appointments.times import Wish
from jobs.core import clock, lifecycle
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.facts import Said, When, record
from jobs.core.models import Job, Party, Person, User
from jobs.core.models.people import PartyRole
from jobs.core.states import S
from tests.make import SYSTEM, make_job, user_of
from utilities.models import Service, Utility

TODAY = dt.date(2026, 11, 18)  # a Wednesday
TOMORROW = TODAY + dt.timedelta(days=1)
AT_TEN = Wish(TOMORROW, dt.time(10))
READINGS = Readings(load_w=640, load_name="refrigerator", soc_percent=82, battery_w=0, pv_w=410, grid_w=230)
SEEN_AT = dt.datetime(2026, 11, 17, 18, 0, tzinfo=dt.UTC)


def with_utility(job: Job, *, line: str = "+13035550190") -> Job:
    utility, _ = Utility.objects.get_or_create(
        name="Ottermere Municipal Light", defaults={"zone": "America/Denver", "emergency_phone": line, "kind": "municipal"}
    )
    if utility.emergency_phone != line:
        utility.emergency_phone = line
        utility.save()
    Service.objects.create(job=job, utility=utility)
    return job


# What makes an energized home ready, one by one, so that each can be left out.
READY = {
    # Older than communications count, or else it would stand for them too.
    "gateway": (k.GATEWAY_REPORT, When(at=SEEN_AT - dt.timedelta(days=7)), {"state": "closed"}),
    "communications": (k.COMMUNICATIONS_SEEN, When(at=SEEN_AT), {}),
    "software": (k.SOFTWARE_UPDATED, When(on=dt.date(2026, 11, 16)), {}),
    "medical": (k.MEDICAL_ANSWER, When(on=dt.date(2026, 11, 16)), {"answer": "no"}),
}


def ready_job(*, without: str = "", line: str = "+13035550190", **fields: Any) -> Job:
    job = with_utility(make_job(S.COLLAR_ENERGIZED, **fields), line=line)
    for name, (kind, when, value) in READY.items():
        if name != without:
            add(job, kind, when=when, value=value)
    job.refresh_from_db()
    return job


def add(
    job: Job, kind: str, *, when: When, value: dict[str, Any] | None = None, by: Actor = SYSTEM, name: str = "Guadalupe Hernández"
) -> None:
    job.refresh_from_db()
    fact = record(job, kind, when=when, said_by=Said("at home", name), by=by, value=value or {})
    lifecycle.settle(job, by=by, new=(fact,))


def give_hours(verifier: User, *, start: int = 9, end: int = 17) -> User:
    week = [WeeklyHours(day, dt.time(start), dt.time(end)) for day in range(7)]
    hours.set_hours(verifier, hours=week, by=SYSTEM)
    return verifier


def person_of(job: Job) -> Person:
    return Party.objects.get(job=job, role=PartyRole.AT_HOME).person


def booked(by: Actor, *, verifier: User | None = None, wish: Wish = AT_TEN, job: Job | None = None, **kwargs: Any) -> Appointment:
    """A call booked for a ready home."""
    holder = give_hours(verifier or user_of(by))
    return booking.book(job or ready_job(), verifier=holder, wish=wish, by=by, **kwargs)


def begun(mara: Actor, *, job: Job | None = None) -> CallRecord:
    """A call of today, begun: booked for noon at the home, an hour ahead."""
    call = booked(mara, wish=Wish(TODAY, dt.time(12)), job=job, confirmed=True)
    return verification.begin(call, by=mara)


def led(mara: Actor, *, upto: str = "readings", job: Job | None = None) -> CallRecord:
    """A call begun and led safely: "cautions", "checks" or "readings".

    The presses are written at once, but for the medical answer, which is a fact of the home too: the acts have tests of their own.
    """
    call = begun(mara, job=job)
    _presses(call, {f"caution:{name}": {} for name in callsteps.CAUTIONS}, mara)
    if upto == "cautions":
        return call
    safe = {check.name: next(answer.value for answer in check.answers if answer.safe) for check in callsteps.CHECKS}
    _presses(call, {f"check:{name}": {"answer": answer} for name, answer in safe.items() if name != "medical"}, mara)
    verification.answer_check(call, check="medical", answer=safe["medical"], by=mara)
    if upto == "checks":
        return call
    verification.note_readings(call, readings=READINGS, by=mara)
    return call


def _presses(call: CallRecord, whats: dict[str, dict[str, str]], by: Actor) -> None:
    now = clock.now()
    Press.objects.bulk_create(
        [Press(call=call, what=what, value=value, at=now, recorded_at=now, by_name=by.name) for what, value in whats.items()]
    )


def seen_passing(call: CallRecord, mara: Actor) -> CallRecord:
    """The sightings of a test that may pass."""
    verification.see(call, what="mid_open", by=mara)
    verification.see(call, what="utility_power", watts=4, by=mara)
    verification.see(call, what="load_served", watts=640, load="refrigerator", by=mara)
    verification.see(call, what="mid_closed", by=mara)
    verification.see(call, what="normal", watts=230, by=mara)
    return call
