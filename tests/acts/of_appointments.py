from __future__ import annotations

import datetime as dt
from typing import Any

from jobs.appointments import booking, hours, keeping, oncall, sitevisits, verification
from jobs.appointments.limits import Balance
from jobs.appointments.models import Appointment, CallRecord, VerificationRecord
from jobs.appointments.sitevisits import MENDED
from jobs.appointments.slots import WeeklyHours
from jobs.appointments.times import Wish
from jobs.appointments.visitmodels import SiteVisit
from jobs.core import rights
from jobs.core.actors import Actor, person
from jobs.core.models import User
from jobs.core.phones import e164
from tests.acts.examples import BOTH, Example, M, S, V, roles
from tests.appointments.homes import (
    AT_TEN,
    READINGS,
    READY,
    TODAY,
    TOMORROW,
    add,
    booked,
    give_hours,
    led,
    person_of,
    ready_job,
    seen_passing,
)
from tests.appointments.test_site_visits import HELD
from tests.make import SYSTEM, make_user

AFTERNOON = Wish(TOMORROW, dt.time(14))
NOON = dt.datetime(2026, 11, 20, 19, tzinfo=dt.UTC)


def verifier_for(by: Actor) -> User:
    """The actor, where a verifier: they book their own calls; else somebody who holds them."""
    user = by.user
    own = user is not None and user.groups.filter(name=rights.VERIFIER).exists()
    return give_hours(user if own and user is not None else make_user(rights.VERIFIER, "Mara Quist"))


def a_call(by: Actor) -> Appointment:
    return booked(SYSTEM, verifier=verifier_for(by))


def on_ready_job(by: Actor):
    return ready_job(), {"verifier": verifier_for(by), "wish": AT_TEN}


def on_call(**kwargs: object):
    return lambda by: (a_call(by), dict(kwargs))


def on_led(upto: str, **kwargs: object):
    return lambda by: (led(person(verifier_for(by)), upto=upto), dict(kwargs))


def a_verifier(**kwargs: object):
    return lambda by: (make_user(rights.VERIFIER), dict(kwargs))


def _time_off(by: Actor):
    return hours.take_time_off(make_user(rights.VERIFIER), starts_at=NOON, ends_at=NOON + dt.timedelta(hours=2), by=SYSTEM), {}


def _today(by: Actor):
    return booked(SYSTEM, verifier=verifier_for(by), wish=Wish(TODAY, dt.time(12)), confirmed=True), {}


def _press(by: Actor):
    mara = person(verifier_for(by))
    return verification.see(led(mara), what="mid_open", by=mara), {"reason": "not open yet", "withdraw": True}


def _balance(by: Actor):
    mara = person(verifier_for(by))
    call = led(mara)
    verification.see(call, what="mid_open", by=mara)
    return call, {"balance": Balance(410, 236, 0, 640)}


ON_CALL: dict[str, Any] = {
    "license_number": "EL 1177",
    "phone": e164("(303) 555-0177"),
    "starts_at": NOON,
    "ends_at": NOON + dt.timedelta(days=1),
}


def on_call_entry(by: Actor):
    return oncall.put_on_call("Ana Ortiz", by=SYSTEM, **ON_CALL), {}


def _to_visit(by: Actor):
    job = ready_job()
    given = {"reason": "wiring", "on": TODAY, "person": person_of(job), "licensed_name": "Ana Ortiz", "license_number": "EL 1177"}
    return job, given


def a_visit() -> SiteVisit:
    job, given = _to_visit(SYSTEM)
    return sitevisits.plan_visit(job, by=SYSTEM, **given)


def on_visit(**kwargs: object):
    return lambda by: (a_visit(), dict(kwargs))


def _ended_visit(by: Actor):
    visit = sitevisits.end_visit(a_visit(), how=MENDED, on=TODAY, found="a loose cable", minutes=40, by=SYSTEM)
    return visit, {"cost_minor": 18_000}


def _passing(by: Actor):
    mara = person(verifier_for(by))
    return seen_passing(led(mara), mara), {"result": "passed", "put_back": "yes"}


def _passed(by: Actor) -> VerificationRecord:
    call, kwargs = _passing(by)
    assert isinstance(call, CallRecord)
    return verification.record_result(call, by=person(call.appointment.verifier), **kwargs)


def _link(by: Actor):
    return booking.offer(ready_job(), verifier=verifier_for(by), wish=AT_TEN, by=SYSTEM), {"medical": "no", "lift": "no"}


def _link_declines(by: Actor):
    return _link(by)[0], {}


WEEK = [WeeklyHours(0, dt.time(9), dt.time(17))]


def _held(by: Actor):
    return keeping.hold_time(ready_job(without="software"), verifier=verifier_for(by), wish=AT_TEN, by=SYSTEM), {}


def _held_ready(by: Actor):
    """The last fact came after the time was kept."""
    tentative, _ = _held(by)
    kind, when, value = READY["software"]
    add(tentative.job, kind, when=when, value=value)
    return tentative, {}


def _astray(by: Actor):
    """A call whose instant is not what its wall time means: made by hand, since no zone changes its rules for a test."""
    call = a_call(by)
    Appointment.objects.filter(pk=call.pk).update(
        starts_at=call.starts_at - HOUR, ends_at=call.ends_at - HOUR, call_ends_at=call.call_ends_at - HOUR
    )
    return call, {}


HOUR = dt.timedelta(hours=1)

EXAMPLES: dict[str, Example] = {
    "jobs.appointments.keeping.hold_time": Example(
        roles(M, S, V), lambda by: (ready_job(without="software"), {"verifier": verifier_for(by), "wish": AT_TEN})
    ),
    "jobs.appointments.keeping.offer_held": Example(roles(M, S, V), _held_ready),
    "jobs.appointments.keeping.give_up_held": Example(roles(M, S, V), lambda by: (_held(by)[0], {"reason": "not ready by then"})),
    "jobs.appointments.keeping.put_on_standby": Example(roles(M, S), lambda by: (ready_job(), {"said_by": "Guadalupe"})),
    "jobs.appointments.keeping.take_off_standby": Example(
        roles(M, S), lambda by: (keeping.put_on_standby(ready_job(), said_by="Guadalupe", by=SYSTEM), {})
    ),
    "jobs.appointments.feeds.renew_feed": Example(roles(M, S, V), lambda by: (verifier_for(by), {}), BOTH),
    "jobs.appointments.promised.follow_the_clock": Example(roles(M, S), _astray),
    "jobs.appointments.booking.send_new_link": Example(roles(M, S, V), on_call(), BOTH),
    "jobs.appointments.hours.set_hours": Example(roles(M, S), a_verifier(hours=WEEK), BOTH),
    "jobs.appointments.hours.take_time_off": Example(roles(M, S), a_verifier(starts_at=NOON, ends_at=NOON + dt.timedelta(hours=2)), BOTH),
    "jobs.appointments.hours.withdraw_time_off": Example(roles(M, S), _time_off),
    "jobs.appointments.booking.offer": Example(roles(M, S, V), on_ready_job),
    "jobs.appointments.booking.book": Example(roles(M, S, V), on_ready_job),
    "jobs.appointments.booking.move": Example(roles(M, S, V), on_call(wish=AFTERNOON)),
    "jobs.appointments.booking.cancel": Example(roles(M, S, V), on_call(why="us", reason="Mara is ill")),
    "jobs.appointments.booking.record_answer": Example(roles(M, S, V), on_call(answer="confirmed")),
    "jobs.appointments.booking.answer_by_link": Example(roles(), _link, link=True),
    "jobs.appointments.booking.decline_by_link": Example(roles(), _link_declines, link=True),
    "jobs.appointments.verification.begin": Example(roles(V), _today),
    "jobs.appointments.verification.acknowledge": Example(roles(V), lambda by: (_begun(by), {"caution": "medical"})),
    "jobs.appointments.verification.answer_check": Example(roles(V), on_led("cautions", check="lift", answer="yes")),
    "jobs.appointments.verification.note_readings": Example(roles(V), on_led("checks", readings=READINGS)),
    "jobs.appointments.verification.see": Example(roles(V), on_led("readings", what="mid_open")),
    "jobs.appointments.verification.note_balance": Example(roles(V), _balance, BOTH),
    "jobs.appointments.sitevisits.plan_visit": Example(roles(M, S), _to_visit),
    "jobs.appointments.sitevisits.end_visit": Example(roles(M, S), on_visit(how=MENDED, on=TODAY, found="a loose cable", minutes=40)),
    "jobs.appointments.sitevisits.note_cost": Example(roles(M), _ended_visit),
    "jobs.appointments.sitevisits.record_on_site": Example(roles(V), on_visit(on=TODAY, result="passed", test=HELD, put_back="yes")),
    "jobs.appointments.oncall.put_on_call": Example(roles(M, S), lambda by: ("Ana Ortiz", dict(ON_CALL))),
    "jobs.appointments.oncall.withdraw_on_call": Example(roles(M, S), on_call_entry),
    "jobs.appointments.verification.correct_press": Example(roles(V), _press),
    "jobs.appointments.verification.record_result": Example(roles(V), _passing),
    "jobs.appointments.records.add_to_record": Example(roles(M), lambda by: (_passed(by), {"text": "the meter's number was wrong"}), BOTH),
    "jobs.appointments.records.void_verification": Example(roles(M), lambda by: (_passed(by), {"reason": "another panel"})),
}


def _begun(by: Actor) -> CallRecord:
    call, _ = _today(by)
    return verification.begin(call, by=person(call.verifier))
