"""Invoices: drafted, released under the next number, sent; from release on never changed."""

from __future__ import annotations

import dataclasses

from billing import earning, notices, paper, terms
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

SERIES = "invoices"


@act(right="core.bill", on=Milestone)
def draft(milestone: Milestone, *, by: Actor) -> Invoice:
    """Draft the invoice of an earned milestone that has none: one that an import earned."""
    if milestone.opening:
        raise Refused(f"{milestone.name} was invoiced before, as {milestone.opening_ref or 'an opening balance'}; not again.")
    if milestone.earned_on is None:
        raise Refused(f"{milestone.name} is not earned yet, so it cannot be invoiced.")
    if (invoice := Invoice.objects.filter(milestone=milestone).first()) is not None:
        raise Refused(f"{milestone.name} already has {'invoice ' + str(invoice.number) if invoice.released else 'a draft'}.")
    drafted = earning.draft_for(milestone)
    if drafted is None:
        raise Refused(f"{milestone.name} has no amount, so there is nothing to invoice.")
    return drafted


@act(right="core.bill", on=Invoice)
def release(invoice: Invoice, *, by: Actor) -> Invoice:
    """Give the draft its number, make and freeze its paper, and release the message that carries it: all or nothing."""
    if invoice.released:
        assert invoice.released_at is not None
        raise Refused(f"Invoice {invoice.number} was already released by {invoice.released_by_name}; nothing was released again.")
    milestone, payer = invoice.milestone, invoice.payer
    if milestone.earned_on is None:
        raise Refused(f"{milestone.name} is not earned any more, so it cannot be invoiced.")
    refuse_on_hold(invoice.job)

    invoice.terms_days = terms_of(payer)
    invoice.issued_on = clock.office_today()
    invoice.due_on = terms.due_on(invoice.issued_on, net_days=invoice.terms_days)
    invoice.number = _next_number()
    plain = paper.plain_of(invoice, number=invoice.number, issued_on=invoice.issued_on, due_on=invoice.due_on)
    invoice.contents = dataclasses.asdict(plain)
    invoice.pdf = files.store(invoice_pdf(plain))
    invoice.state = InvoiceState.RELEASED
    invoice.released_at, invoice.released_by, invoice.released_by_name = clock.now(), by.user, by.name
    invoice.save()
    _send(invoice, by=by)
    return invoice


def refuse_on_hold(job: Job) -> None:
    if "collection" in homefacts.stopped(job):
        hold = next(hold for hold in job.holds.standing(clock.office_today()) if "collection" in hold.stops)
        raise Refused(
            f"A hold on this home stops collection until it is looked at again on {words.day(hold.review_on)} ({hold.reason}); "
            "it must be lifted before an invoice is released."
        )


def _next_number() -> int:
    """The next number, under the lock of the run's row until this transaction ends: a failure gives it back."""
    first = rules.number("first_invoice_number")
    Series.objects.get_or_create(name=SERIES, defaults={"first": first, "next": first})
    series = Series.objects.select_for_update().get(name=SERIES)
    number = series.next
    series.next = number + 1
    series.save(update_fields=["next"])
    return number


def _send(invoice: Invoice, *, by: Actor) -> None:
    """Owe the message and release it: who releases the invoice has read what it says."""
    owed = outbox.owe(
        notices.kind_for(invoice), job=invoice.job, cause=notices.cause_of(invoice), about={"invoice": str(invoice.uid)}, by=by
    )
    for message in owed:
        if message.state != State.OWED:
            continue
        try:
            outbox.let_go(message, by=by)
        except Refused as refusal:
            # The invoice stands all the same, and can be printed and posted; the message waits and says why.
            message.reason = str(refusal)
            message.save(update_fields=["reason"])


def messages_of(invoice: Invoice) -> list[Message]:
    return list(Message.objects.filter(job=invoice.job, cause=notices.cause_of(invoice)).order_by("pk"))


def release_words(invoice: Invoice) -> str:
    """What was done, for the "Recorded" box."""
    assert invoice.due_on is not None
    said = f"Invoice {invoice.number} over {money.shown(invoice.amount_minor)}, due {words.day(invoice.due_on)}"
    waiting = [message for message in messages_of(invoice) if message.state in (State.OWED, State.NO_RECIPIENT)]
    if waiting:
        return f"{said}, is released and was not sent: {waiting[0].reason or 'there is nobody to send it to.'} Print it and post it."
    return f"{said}, is released and goes to {invoice.payer.name}."
