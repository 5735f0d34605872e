"""What the demo does not hold at every hour, made in the copy of it that is photographed: by the acts wherever they allow it."""

from __future__ import annotations

import datetime as dt

from billing.models import Invoice
from jobs.appointments import callsteps, verification
from jobs.appointments.limits import Balance
from jobs.appointments.models import AppointmentState, CallRecord
from jobs.core import actors, clock, homefacts
from jobs.core import kinds as k
from jobs.core.models import Fact
from jobs.core.rights import MANAGER, VERIFIER
from jobs.core.states import S
from jobs.notices.models import Message, State
from tests.appointments.homes import READINGS
from tests.browser import demo_rows as d


def arrange() -> None:
    _gateways_seen()
    _call_being_held()
    _message_that_may_have_been_sent()
    _invoice_with_a_question()


def _gateways_seen() -> None:
    """On a home with an offer the gateway was looked at today, so that the homeowner can take the time."""
    mara = actors.person(d.user(VERIFIER))
    for offered in d.calls(AppointmentState.OFFERED)().filter(starts_at__gt=clock.now()).select_related("job__site"):
        if not d.is_ready(offered.job):
            homefacts.record_communications(offered.job, at=clock.now(), by=mara)


def _call_being_held() -> None:
    """The verifier's next call, begun a quarter of an hour ago and islanded since two minutes; whatever the hour is now."""
    if d.running().exists():
        return
    mara, now = actors.person(d.user(VERIFIER)), clock.now()
    appointment = d.one(d.to_come().filter(verifier=mara.user), "call to come of the verifier")
    begun = now - dt.timedelta(minutes=15)
    # Not by the act: it refuses all but the call's own day, and the hours in which a home may be called.
    call = CallRecord.objects.create(appointment=appointment, begun_at=begun, last_press_at=begun)

    def minutes_ago(minutes: float) -> dt.datetime:
        return now - dt.timedelta(minutes=minutes)

    with clock.pretend(minutes_ago(14)):
        for caution in callsteps.CAUTIONS:
            verification.acknowledge(call, caution=caution, by=mara)
    with clock.pretend(minutes_ago(11)):
        for check in callsteps.CHECKS:
            safe = next(answer.value for answer in check.answers if answer.safe)
            verification.answer_check(call, check=check.name, answer=safe, by=mara)
    with clock.pretend(minutes_ago(6)):
        verification.note_readings(call, readings=READINGS, by=mara)
    with clock.pretend(minutes_ago(2)):
        verification.see(call, what="mid_open", by=mara)
    with clock.pretend(minutes_ago(1.5)):
        verification.see(call, what="utility_power", watts=4, by=mara)
    with clock.pretend(minutes_ago(1)):
        verification.note_balance(call, balance=Balance(410, 236, 0, 640), volts=241.6, hertz=60.02, by=mara)


def _message_that_may_have_been_sent() -> None:
    """Only a killed worker leaves one (tests/pages/test_killed.py)."""
    if not Message.objects.in_state(State.MAY_HAVE_BEEN_SENT).exists():
        message = d.one(d.messages(State.SENT)(), "message that was sent")
        reason = "The program was stopped while this message was being sent. Ask whether it arrived, or send it again."
        Message.objects.filter(pk=message.pk).update(state=State.MAY_HAVE_BEEN_SENT, reason=reason, sent_at=None, outcome="")


def _invoice_with_a_question() -> None:
    """A fact is withdrawn after the milestone that it earned was invoiced."""
    if d.questioned_invoices().exists():
        return
    invoiced = Invoice.objects.filter(state="released", milestone__position=1).values("job")
    facts = Fact.objects.standing().of_kind(k.SHEET_GIVEN).filter(job__in=invoiced, job__state=S.GRID_TIED)
    fact = d.one(facts, "invoiced home that is grid-tied complete")
    homefacts.correct(fact, withdraw=True, reason="the sheet lay still in the van", by=actors.person(d.user(MANAGER)))
