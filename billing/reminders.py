"""Reminding a payer of an invoice that is past its day. Finance reads the text and sends it; nothing reminds by itself."""

from __future__ import annotations

import datetime as dt

from billing import notices, terms
from billing.disputes import open_dispute
from billing.invoices import refuse_on_hold
from billing.models import Invoice
from jobs.core import clock, rules, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.refusals import Refused
from jobs.notices import consent, outbox, rendering
from jobs.notices.models import Channel, Message, Scope, State
from jobs.notices.rendering import Rendered
from jobs.notices.shown import day_at

GAP_DAYS = 7  # common practice, no source: a payer reminded more often reads nothing


@act(right="core.bill", on=Invoice)
def remind(invoice: Invoice, *, by: Actor, seen: str = "") -> list[Message]:
    """Owe the reminder and release it. seen: the digest of the text that was read."""
    refuse_unless_late(invoice)
    if seen and seen != digest(preview(invoice)):
        raise Refused("The text has changed since you opened this page. Read it again and then send it.")
    owed = outbox.owe(
        notices.reminder_kind_for(invoice), job=invoice.job, cause=_cause(invoice), about={"invoice": str(invoice.uid)}, by=by
    )
    for message in owed:
        if message.state == State.OWED:
            outbox.let_go(message, by=by)
    return owed


def refuse_unless_late(invoice: Invoice) -> None:
    """Raises Refused where there is nothing to remind of, or it is too soon after the last time."""
    left = Invoice.objects.with_left().get(pk=invoice.pk).left_minor
    if not invoice.released or invoice.due_on is None or left <= 0:
        raise Refused("Only an invoice that was sent and is not paid is reminded of.")
    today = clock.office_today()
    if terms.days_past_due(invoice.due_on, as_of=today) <= 0:
        raise Refused(f"Invoice {invoice.number} is due by {words.day(invoice.due_on)}; a reminder comes after that day.")
    refuse_on_hold(invoice.job)
    if (dispute := open_dispute(invoice)) is not None:
        raise Refused(f"Invoice {invoice.number} is disputed since {words.day(dispute.since_on)}; settle that first.")
    last = last_reminded_on(invoice)
    if last is not None and (today - last).days < GAP_DAYS:
        raise Refused(
            f"{invoice.payer.name} was reminded on {words.day(last)}; the next reminder comes {GAP_DAYS} days later at the soonest."
        )


def last_reminded_on(invoice: Invoice) -> dt.date | None:
    """The office's day of the last reminder that was not withdrawn."""
    kinds_ = (notices.REMINDER, notices.REMINDER_TO_LENDER)
    found = Message.objects.filter(job=invoice.job, kind__in=kinds_, about__invoice=str(invoice.uid)).exclude(state=State.WITHDRAWN)
    newest = found.order_by("-pk").first()
    return day_at(newest.created_at, rules.text("office_zone")) if newest else None


def preview(invoice: Invoice) -> list[Rendered]:
    """What the payer will read: the mail, and the text beside it where they agreed to texts about invoices."""
    payer, kind = invoice.payer, notices.reminder_kind_for(invoice)
    phone = payer.person.phone if payer.person else ""
    texts = kind == notices.REMINDER and consent.may_text(payer.person, phone, scope=Scope.BILLING)
    ways = [(Channel.EMAIL, payer.mail_to)] if payer.mail_to or not texts else []
    if texts:
        ways.append((Channel.TEXT, phone))
    return [rendering.made(_unsaved(invoice, kind=kind, channel=channel, address=address)) for channel, address in ways]


def digest(shown: list[Rendered]) -> str:
    return "-".join(one.digest for one in shown)


def _unsaved(invoice: Invoice, *, kind: str, channel: str, address: str) -> Message:
    payer = invoice.payer
    return Message(
        kind=kind,
        about={"invoice": str(invoice.uid)},
        job=invoice.job,
        person=payer.person,
        to_name=payer.name,
        channel=channel,
        address=address,
        language=payer.language,
    )


def _cause(invoice: Invoice) -> str:
    return f"reminder {invoice.uid} {clock.office_today()}"
