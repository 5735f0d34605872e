"""Invoices: drafted, released under the next number, sent; from release on never changed."""

from __future__ import annotations

import dataclasses

from billing import earning, notices, paper, terms, waivers
from billing.milestones import terms_of
from billing.models import Invoice, InvoiceState, Milestone, Series
from billing.pdf.invoice import invoice as invoice_pdf
from jobs.core import clock, files, homefacts, money, rules, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.notices import outbox
from jobs.notices.models import Message, State

SERIES, FIRST = "invoices", "first_invoice_number"


@act(right="core.bill", on=Milestone)
def draft(milestone: Milestone, *, by: Actor) -> Invoice:
    """Draft the invoice of an earned milestone that has none: one that an import earned."""
    if milestone.opening:
        raise Refused(f"{milestone.name} was invoiced before, as {milestone.opening_ref or 'an opening balance'}; not again.")
    if milestone.earned_on is None:
        raise Refused(f"{milestone.name} is not earned yet, so it cannot be invoiced.")
    if (invoice := Invoice.objects.filter(bills=milestone).first()) is not None:
        raise Refused(f"{milestone.name} already has {'invoice ' + str(invoice.number) if invoice.released else 'a draft'}.")
    drafted = earning.draft_for(milestone)
    if drafted is None:
        raise Refused(f"{milestone.name} has no amount, so there is nothing to invoice.")
    return drafted


@act(right="core.bill", on=Invoice)
def release(invoice: Invoice, *, by: Actor, seen_minor: int | None = None) -> Invoice:
    """Give the draft its number, make and freeze its paper, and release the message that carries it: all or nothing.

    seen_minor: the amount that was read; a tax that has begun since makes it another.
    """
    if invoice.released:
        assert invoice.released_at is not None
        raise Refused(f"Invoice {invoice.number} was already released by {invoice.released_by_name}; nothing was released again.")
    milestone, payer = invoice.milestone, invoice.payer
    if milestone.earned_on is None:
        raise Refused(f"{milestone.name} is not earned any more, so it cannot be invoiced.")
    refuse_on_hold(invoice.job)

    earning.figure(invoice)
    if seen_minor is not None and seen_minor != invoice.amount_minor:
        raise Refused(
            f"The invoice of {payer.name} comes to {money.shown(invoice.amount_minor)} now, not to the {money.shown(seen_minor)} you read. "
            "Read it again and then release it."
        )

    invoice.terms_days = terms_of(payer)
    invoice.issued_on = clock.office_today()
    invoice.due_on = terms.due_on(invoice.issued_on, net_days=invoice.terms_days)
    invoice.number = next_number(SERIES, FIRST)
    plain = paper.plain_of(invoice, number=invoice.number, issued_on=invoice.issued_on, due_on=invoice.due_on)
    invoice.contents = dataclasses.asdict(plain)
    invoice.pdf = files.store(invoice_pdf(plain))
    invoice.state = InvoiceState.RELEASED
    invoice.released_at, invoice.released_by, invoice.released_by_name = clock.now(), by.user, by.name
    invoice.save()
    waivers.conditional(invoice, by=by)
    _send(invoice, cause=notices.cause_of(invoice), by=by)
    return invoice


@act(right="core.bill", on=Invoice)
def send_again(invoice: Invoice, *, by: Actor) -> Invoice:
    """The same paper once more: the payer lost it, or its address was mended."""
    if not invoice.released:
        raise Refused("A draft is not sent; release it first.")
    refuse_on_hold(invoice.job)
    sent = messages_of(invoice)
    if any(message.state in (State.OWED, State.RELEASED) for message in sent):
        raise Refused(f"Invoice {invoice.number} has not left yet; it is not sent a second time before the first has gone.")
    _send(invoice, cause=f"{notices.cause_of(invoice)} again {len(sent)}", by=by)
    return invoice


def refuse_on_hold(job: Job) -> None:
    if "collection" in homefacts.stopped(job):
        hold = next(hold for hold in job.holds.standing(clock.office_today()) if "collection" in hold.stops)
        raise Refused(
            f"A hold on this home stops collection until it is looked at again on {words.day(hold.review_on)} ({hold.reason}); "
            "it must be lifted before an invoice is released."
        )


def next_number(name: str, rule: str) -> int:
    """The next number of a run, under the lock of its row until this transaction ends: a failure gives it back."""
    first = rules.number(rule)
    Series.objects.get_or_create(name=name, defaults={"first": first, "next": first})
    series = Series.objects.select_for_update().get(name=name)
    number = series.next
    series.next = number + 1
    series.save(update_fields=["next"])
    return number


def _send(invoice: Invoice, *, cause: str, by: Actor) -> None:
    owe_and_release(notices.kind_for(invoice), job=invoice.job, cause=cause, about={"invoice": str(invoice.uid)}, by=by)


def owe_and_release(kind: str, *, job: Job, cause: str, about: dict[str, str], by: Actor) -> None:
    """Owe the message and release it: who releases the paper has read what it says."""
    for message in outbox.owe(kind, job=job, cause=cause, about=dict(about), by=by):
        if message.state != State.OWED:
            continue
        try:
            outbox.let_go(message, by=by)
        except Refused as refusal:
            # The invoice stands all the same, and can be printed and posted; the message waits and says why.
            message.reason = str(refusal)
            message.save(update_fields=["reason"])


def messages_of(invoice: Invoice) -> list[Message]:
    return list(Message.objects.filter(job=invoice.job, cause__startswith=notices.cause_of(invoice)).order_by("pk"))


def release_words(invoice: Invoice) -> str:
    """What was done, for the "Recorded" box."""
    assert invoice.due_on is not None
    said = f"Invoice {invoice.number} over {money.shown(invoice.amount_minor)}, due {words.day(invoice.due_on)}"
    waiting = [message for message in messages_of(invoice) if message.state in (State.OWED, State.NO_RECIPIENT)]
    if waiting:
        return f"{said}, is released and was not sent: {waiting[0].reason or 'there is nobody to send it to.'} Print it and post it."
    return f"{said}, is released and goes to {invoice.payer.name}."
