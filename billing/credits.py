"""Credit notes: what is taken back of a released invoice, under numbers of their own. The invoice itself never changes."""

from __future__ import annotations

import dataclasses

from billing import earning, notices, paper, shares
from billing.invoices import next_number, owe_and_release
from billing.models import Allocation, AllocationKind, CreditNote, Invoice, Payer
from billing.payments import left_of, take_back
from billing.pdf.invoice import invoice as invoice_pdf
from jobs.core import clock, facts, files, money
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.refusals import Refused

SERIES, FIRST = "credit notes", "first_credit_number"


@act(right="core.bill", on=Invoice)
def credit(invoice: Invoice, *, amount_minor: int, reason: str, by: Actor) -> CreditNote:
    """Take back part of an invoice or all of it. What was paid beyond the rest becomes unapplied, to be put elsewhere or refunded.

    Credited in full, its milestone is billed anew while its facts stand, and is not earned any more where they do not.
    """
    reason = " ".join(reason.split())
    if not invoice.released:
        raise Refused("A draft is not credited: it can still be changed, or left a draft.")
    # Money is put to debts under the payer's lock; the job's is held already.
    Payer.objects.select_for_update().get(pk=invoice.payer_id)
    can = creditable(invoice)
    if amount_minor <= 0:
        raise Refused("A credit must be more than zero.", field="amount_minor")
    if amount_minor > can:
        raise Refused(
            f"{money.shown(amount_minor)} is more than the {money.shown(can)} of invoice {invoice.number} that can still be credited.",
            field="amount_minor",
        )
    if not reason:
        raise Refused("Say why it is credited; it is printed on the credit note.", field="reason")

    note = CreditNote(
        job=invoice.job,
        invoice=invoice,
        payer=invoice.payer,
        amount_minor=amount_minor,
        tax_minor=tax_of(invoice, amount_minor, last=amount_minor == can),
        reason=reason,
        number=next_number(SERIES, FIRST),
        issued_on=clock.office_today(),
        released_at=clock.now(),
        released_by=by.user,
        released_by_name=by.name,
    )
    take_back(invoice, amount_minor - left_of(invoice), because=f"credit note {note.number}", by=by)
    plain = paper.credit_of(note)
    note.contents = dataclasses.asdict(plain)
    note.pdf = files.store(invoice_pdf(plain))
    note.save()
    Allocation.objects.create(
        credit_note=note, invoice=invoice, amount_minor=amount_minor, kind=AllocationKind.CREDIT, at=clock.now(), by_name=by.name
    )
    if amount_minor == can:
        _set_free(invoice, by=by)
    owe_and_release(
        notices.credit_kind_for(note), job=note.job, cause=notices.credit_cause_of(note), about={"credit": str(note.uid)}, by=by
    )
    return note


def creditable(invoice: Invoice) -> int:
    """What of it no credit note has taken back yet."""
    return invoice.amount_minor - sum(note.amount_minor for note in invoice.credit_notes.all())


def tax_of(invoice: Invoice, amount_minor: int, *, last: bool) -> int:
    """The tax in a credit: in the invoice's own proportion, and with the last credit exactly what is left of it."""
    if last:
        return invoice.tax_minor - sum(note.tax_minor for note in invoice.credit_notes.all())
    if not invoice.tax_minor:
        return 0
    return shares.apportion(amount_minor, [invoice.net_minor, invoice.tax_minor])[1]


def _set_free(invoice: Invoice, *, by: Actor) -> None:
    """The milestone is no longer billed; its question, if there was one, is answered by this."""
    milestone = invoice.milestone
    invoice.bills = None
    invoice.save(update_fields=["bills"])
    if milestone.question:
        milestone.answered, milestone.answer = milestone.question, f"invoice {invoice.number} was credited in full ({by.name})"
        milestone.question, milestone.question_on = "", None
        milestone.save(update_fields=["question", "question_on", "answered", "answer"])
    earning.bring_up_to_date(invoice.job, facts.of(invoice.job), by=by)
