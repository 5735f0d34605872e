"""One message of each kind, owed by the act that owes it, in a language; and its text beside it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

from billing import credits, reminders
from jobs.appointments import booking, verification
from jobs.appointments.times import Wish
from jobs.core import actors, clock, expiring, rights, rules
from jobs.core import kinds as k
from jobs.core.models import Job
from jobs.core.states import S
from jobs.notices import asking, outbox
from jobs.notices.models import Message
from tests.appointments.homes import AT_TEN, TODAY, booked, give_hours, led, ready_job, seen_passing
from tests.billing.made import lender, planned_job, released
from tests.make import DAY_ONE, SYSTEM, make_job, make_user, put, serial_of, user_of
from tests.notices.make import REMOVED_ON, agreed
from tests.utilities.made import make_request, make_service, make_utility
from utilities import extension, letters, visits

IN_TWO_DAYS = Wish(TODAY + dt.timedelta(days=2), dt.time(10))


def message_of(kind: str, *, language: str = "en", texts: bool = False, mail: bool = False, **fields: Any) -> Any:
    """The message of a kind to the first of its people; with `texts` to somebody who agreed to texts: the text, or with `mail` the mail."""
    rules.set_rule("company_name", value="Larch & Lantern Home Energy", valid_from=TODAY, by=SYSTEM)
    rules.set_rule("company_phone", value="(303) 555-0101", valid_from=TODAY, by=SYSTEM)
    rules.set_rule("company_email", value="office@larchlantern.example", valid_from=TODAY, by=SYSTEM)
    MAKERS[kind](language, texts, fields)
    return Message.objects.filter(kind=kind, channel="text" if texts and not mail else "email").order_by("pk")[0]


def _removed(language: str, texts: bool, fields: dict[str, Any]) -> None:
    put(_home(S.BACKUP_VERIFIED, language, texts, fields), k.COLLAR_REMOVED, on=REMOVED_ON)


def _fitted(language: str, texts: bool, fields: dict[str, Any]) -> None:
    job = _home(S.AWAITING_UTILITY, language, texts, fields)
    put(job, k.COLLAR_FITTED, on=REMOVED_ON, value={"serial": serial_of(job)})


def _home(state: S, language: str, texts: bool, fields: dict[str, Any]) -> Job:
    job = make_job(state, language=language, **fields)
    if texts:
        agreed(job)
    return job


def _mara() -> actors.Actor:
    return actors.person(make_user(rights.VERIFIER, "Mara Quist", languages=["en", "es"]))


def _call(end: str) -> Callable[[str, bool, dict[str, Any]], None]:
    def owe(language: str, texts: bool, fields: dict[str, Any]) -> None:
        mara, job = _mara(), ready_job(language=language, **fields)
        if texts:
            agreed(job)
        if end == "offered":
            booking.offer(job, verifier=give_hours(user_of(mara)), wish=AT_TEN, by=SYSTEM)
        elif end == "result":
            verification.record_result(seen_passing(led(mara, job=job), mara), result="passed", put_back="yes", by=mara)
        else:
            call = booked(SYSTEM, verifier=user_of(mara), job=job, wish=IN_TWO_DAYS)
            if end == "moved":
                booking.move(call, wish=Wish(IN_TWO_DAYS.on, dt.time(15)), by=SYSTEM)
            if end == "cancelled":
                for message in Message.objects.filter(kind="call_booked"):
                    outbox.release(message, by=SYSTEM)
                    Message.objects.filter(pk=message.pk).update(state="sent")
                booking.cancel(call, why="us", reason="Mara is ill", by=SYSTEM)

    return owe


def _asked(language: str, texts: bool, fields: dict[str, Any]) -> None:
    asking.ask_for_photo(_home(S.AWAITING_UTILITY, language, texts, fields), by=SYSTEM)


def _paper(language: str, texts: bool, fields: dict[str, Any]) -> None:
    job = _home(S.AWAITING_UTILITY, language, texts, fields)
    asking.ask_for_paper(job, paper="bill", by_on=TODAY + dt.timedelta(days=9), by=SYSTEM)


def _visit(language: str, texts: bool, fields: dict[str, Any]) -> None:
    job = make_job(S.GRID_TIED, language=language, **fields)
    if texts:
        agreed(job)
    request = make_request(make_service(job, utility=make_utility("Ottermere Municipal Light")))
    day = TODAY + dt.timedelta(days=5)
    visits.announce_visit(request, told_on=TODAY, window_from=day, window_to=day, hours="between 8 and 12", by=SYSTEM)


def _letter(language: str, texts: bool, fields: dict[str, Any]) -> None:
    utility = make_utility("Ottermere Municipal Light", desk_email="desk@ottermere.example")
    request = make_request(make_service(make_job(S.GRID_TIED), utility=utility))
    letters.write_to_desk(request, asks="Is a day planned for the visit?", by=SYSTEM)
    Message.objects.filter(kind="utility_letter").update(language=language)


def _extension(language: str, texts: bool, fields: dict[str, Any]) -> None:
    job = make_job(S.GRID_TIED, language=language, **fields)
    make_request(make_service(job, utility=make_utility("Ottermere Municipal Light")))
    authority = expiring.add_authority("City of Ottermere", email="permits@ottermere.example", by=SYSTEM)
    paper = expiring.add_paper(job, kind="permit", number="B-2026-118", issued_on=DAY_ONE, expires_on=TODAY, authority=authority, by=SYSTEM)
    extension.write_for_extension(paper, until=TODAY + dt.timedelta(days=90), by=SYSTEM)
    Message.objects.filter(kind="permit_extension").update(language=language)


def _invoice(reminded: bool, lent: bool) -> Callable[[str, bool, dict[str, Any]], None]:
    def owe(language: str, texts: bool, fields: dict[str, Any]) -> None:
        job = planned_job(payer=lender() if lent else None, language=language, **fields)
        if texts:
            agreed(job, scope="billing")
        invoice = released(job)
        if reminded:
            with clock.pretend(clock.now() + dt.timedelta(days=60)):
                reminders.remind(invoice, by=SYSTEM)

    return owe


def _credit(lent: bool) -> Callable[[str, bool, dict[str, Any]], None]:
    def owe(language: str, texts: bool, fields: dict[str, Any]) -> None:
        job = planned_job(payer=lender() if lent else None, language=language, **fields)
        credits.credit(released(job), amount_minor=10_000, reason="a smaller battery", by=SYSTEM)

    return owe


MAKERS: dict[str, Callable[[str, bool, dict[str, Any]], None]] = {
    "collar_removed": _removed,
    "collar_fitted": _fitted,
    "call_offered": _call("offered"),
    "call_booked": _call("booked"),
    "call_reminder_day": _call("booked"),
    "call_reminder_hours": _call("booked"),
    "call_moved": _call("moved"),
    "call_cancelled": _call("cancelled"),
    "call_result": _call("result"),
    "bag_photo": _asked,
    "paper_needed": _paper,
    "visit_announced": _visit,
    "utility_interrupts": _visit,
    "utility_letter": _letter,
    "permit_extension": _extension,
    "invoice": _invoice(reminded=False, lent=False),
    "invoice_to_lender": _invoice(reminded=False, lent=True),
    "credit_note": _credit(lent=False),
    "credit_note_to_lender": _credit(lent=True),
    "payment_reminder": _invoice(reminded=True, lent=False),
    "payment_reminder_to_lender": _invoice(reminded=True, lent=True),
}
