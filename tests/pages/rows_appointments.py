from __future__ import annotations

import datetime as dt
from typing import Any

from jobs.appointments import booking, feeds, hours, keeping, verification
from jobs.appointments.models import Appointment, CallRecord
from jobs.appointments.times import Wish
from jobs.core import links, rights
from jobs.core.actors import person
from jobs.core.models import SignedLink, User
from tests.acts.of_appointments import a_visit, on_call_entry
from tests.appointments.homes import AT_TEN, TODAY, booked, give_hours, led, ready_job, seen_passing
from tests.make import SYSTEM, make_user
from tests.pages.addresses import ALL, STRANGERS, M, Row, S, V, roles

BOOKS = roles(M, S, V)
NOON = dt.datetime(2026, 11, 20, 19, tzinfo=dt.UTC)


def _verifier(user: User | None) -> User:
    """The person, where a verifier: they work their own calls only."""
    own = user is not None and user.groups.filter(name=rights.VERIFIER).exists()
    return user if own and user is not None else make_user(rights.VERIFIER, "Mara Quist")


def _call(user: User | None) -> Appointment:
    return booked(SYSTEM, verifier=_verifier(user), wish=Wish(TODAY, dt.time(12)), confirmed=True)


def _begun(user: User | None, upto: str = "readings") -> CallRecord:
    return led(person(_verifier(user)), upto=upto)


def a_call(user: User | None) -> dict[str, Any]:
    return {"uid": _call(user).uid}


def on_call(upto: str, **kwargs: Any):
    return lambda user: {"uid": _begun(user, upto).appointment.uid, **kwargs}


def _fresh(user: User | None, **kwargs: Any) -> dict[str, Any]:
    call = _call(user)
    verification.begin(call, by=person(call.verifier))
    return {"uid": call.uid, **kwargs}


def _press(user: User | None) -> dict[str, Any]:
    call = _begun(user)
    press = verification.see(call, what="mid_open", by=person(call.appointment.verifier))
    return {"uid": call.appointment.uid, "press_uid": press.uid}


def _record(user: User | None) -> dict[str, Any]:
    mara = person(make_user(rights.VERIFIER, "Mara Quist"))
    record = verification.record_result(seen_passing(led(mara), mara), result="passed", put_back="yes", by=mara)
    return {"uid": record.appointment.uid}


def _paper(user: User | None) -> dict[str, Any]:
    mara = person(make_user(rights.VERIFIER, "Mara Quist"))
    return {"uid": verification.record_result(seen_passing(led(mara), mara), result="passed", put_back="yes", by=mara).uid}


def _visit(user: User | None) -> dict[str, Any]:
    return {"uid": a_visit().uid}


def _time_off(user: User | None) -> dict[str, Any]:
    off = hours.take_time_off(make_user(rights.VERIFIER), starts_at=NOON, ends_at=NOON + dt.timedelta(hours=2), by=SYSTEM)
    return {"uid": off.uid}


def _link(user: User | None) -> dict[str, Any]:
    call = booking.offer(ready_job(), verifier=give_hours(make_user(rights.VERIFIER, "Mara Quist")), wish=AT_TEN, by=SYSTEM)
    return {"token": links.token_of(SignedLink.objects.get(about=str(call.uid)))}


def _tentative(user: User | None) -> dict[str, Any]:
    verifier = give_hours(_verifier(user))
    return {"uid": keeping.hold_time(ready_job(without="software"), verifier=verifier, wish=AT_TEN, by=SYSTEM).uid}


def _standby(user: User | None) -> dict[str, Any]:
    return {"uid": keeping.put_on_standby(ready_job(), said_by="Guadalupe", by=SYSTEM).uid}


def _feed(user: User | None) -> dict[str, Any]:
    return {"token": feeds.renew_feed(make_user(rights.VERIFIER), by=SYSTEM)}


def _booked_link(user: User | None) -> dict[str, Any]:
    call = _call(user)
    return {"token": links.token_of(SignedLink.objects.get(about=str(call.uid)))}


PLANS = roles(M, S)

ROWS: dict[str, Row] = {
    "calls_plan": Row(PLANS, PLANS),
    "calls_hours_ahead": Row(PLANS),
    "calls_missed": Row(BOOKS),
    "calls_day": Row(BOOKS),
    "calls_week": Row(BOOKS),
    "run_sheet": Row(BOOKS),
    "calls_standby": Row(PLANS),
    "standby_add": Row(PLANS, PLANS, lambda user: {"code": ready_job().code}),
    "standby_off": Row(None, PLANS, _standby),
    "hold_time": Row(BOOKS, BOOKS, lambda user: {"code": ready_job(without="software").code}),
    "offer_held": Row(None, BOOKS, _tentative),
    "give_up_held": Row(None, BOOKS, _tentative),
    "call_new_link": Row(None, BOOKS, a_call),
    "renew_feed": Row(None, BOOKS, lambda user: {"uid": _verifier(user).uid}),
    "feed": Row(ALL | STRANGERS, None, _feed),
    "homeowner_calendar": Row(ALL | STRANGERS, None, _booked_link),
    "calls": Row(BOOKS),
    "calls_export": Row(BOOKS, None, lambda user: {"ending": "csv"}),
    "calls_ready": Row(BOOKS),
    "call_book": Row(BOOKS, BOOKS, lambda user: {"code": ready_job().code}),
    "call": Row(BOOKS, None, a_call),
    "call_move": Row(BOOKS, BOOKS, a_call),
    "call_cancel": Row(BOOKS, BOOKS, a_call),
    "call_answer": Row(BOOKS, BOOKS, a_call),
    "call_begin": Row(None, roles(V), a_call),
    "call_caution": Row(None, roles(V), lambda user: _fresh(user, name="medical")),
    "call_check": Row(None, roles(V), on_call("cautions", name="adult")),
    "call_readings": Row(None, roles(V), on_call("checks")),
    "call_balance": Row(None, roles(V), on_call("readings")),
    "verification_pdf": Row(BOOKS, None, _paper),
    "sheet_two": Row(BOOKS, None, lambda user: {**_paper(user), "lang": "es"}),
    "site_visits": Row(BOOKS),
    "site_visit_new": Row(roles(M, S), roles(M, S), lambda user: {"code": ready_job().code}),
    "site_visit": Row(BOOKS, None, _visit),
    "site_visit_end": Row(roles(M, S), roles(M, S), _visit),
    "site_visit_cost": Row(roles(M), roles(M), _visit),
    "site_visit_test": Row(roles(V), roles(V), _visit),
    "on_call": Row(roles(M, S), roles(M, S)),
    "on_call_withdraw": Row(None, roles(M, S), lambda user: {"uid": on_call_entry(SYSTEM)[0].uid}),
    "call_seen": Row(None, roles(V), on_call("readings", what="mid_open")),
    "call_correct": Row(roles(V), roles(V), _press),
    "call_result": Row(None, roles(V), on_call("readings")),
    "call_void": Row(roles(M), roles(M), _record),
    "call_add": Row(roles(M), roles(M), _record),
    "hours": Row(roles(M, S)),
    "verifier_hours": Row(roles(M, S), roles(M, S), lambda user: {"uid": make_user(rights.VERIFIER).uid}),
    "time_off": Row(None, roles(M, S), lambda user: {"uid": make_user(rights.VERIFIER).uid}),
    "time_off_withdraw": Row(None, roles(M, S), _time_off),
    "homeowner_call": Row(ALL | STRANGERS, ALL | STRANGERS, _link),
}
