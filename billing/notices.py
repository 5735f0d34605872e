"""Messages to a payer: the one that carries an invoice, and the reminder of one that is past its day."""

from __future__ import annotations

from typing import Any

from billing import terms
from billing.models import CreditNote, Invoice, Payer, PayerKind
from billing.paper import day as day_on_paper
from jobs.core import clock, files, money, words
from jobs.notices import kinds
from jobs.notices.kinds import Attachment, NoticeKind, Owing, Recipient
from jobs.notices.models import Message

INVOICE = "invoice"  # to a homeowner: "no backup yet" stands in it, and it keeps quiet hours
INVOICE_TO_LENDER = "invoice_to_lender"
CREDIT, CREDIT_TO_LENDER = "credit_note", "credit_note_to_lender"
REMINDER, REMINDER_TO_LENDER = "payment_reminder", "payment_reminder_to_lender"


def kind_for(invoice: Invoice) -> str:
    return INVOICE if invoice.payer.kind == PayerKind.HOMEOWNER else INVOICE_TO_LENDER


def reminder_kind_for(invoice: Invoice) -> str:
    return REMINDER if invoice.payer.kind == PayerKind.HOMEOWNER else REMINDER_TO_LENDER


def credit_kind_for(note: CreditNote) -> str:
    return CREDIT if note.payer.kind == PayerKind.HOMEOWNER else CREDIT_TO_LENDER


def credit_cause_of(note: CreditNote) -> str:
    return f"credit note {note.uid}"


def cause_of(invoice: Invoice) -> str:
    return f"invoice {invoice.uid}"


def invoice_of(message: Message) -> Invoice:
    return Invoice.objects.select_related("payer__person", "milestone", "job", "pdf").get(uid=message.about["invoice"])


def register() -> None:
    for name, said, to_home in ((INVOICE, "invoice", True), (INVOICE_TO_LENDER, "invoice to a lender", False)):
        kinds.register(
            NoticeKind(
                name=name,
                words=said,
                to=_to,
                context=_context,
                still_due=_still_due,
                attachments=_attachments,
                stopped_by="collection",
                to_home=to_home,
                money=True,
                scope="billing",
            )
        )
    for name, said, to_home in ((CREDIT, "credit note", True), (CREDIT_TO_LENDER, "credit note to a lender", False)):
        kinds.register(
            NoticeKind(
                name=name,
                words=said,
                to=_credited,
                context=_credit_context,
                # Not stopped with collection: what lessens a debt is told even where asking for the rest is.
                attachments=_credit_attachments,
                to_home=to_home,
                money=True,
                scope="billing",
            )
        )
    for name, said, to_home in ((REMINDER, "payment reminder", True), (REMINDER_TO_LENDER, "payment reminder to a lender", False)):
        kinds.register(
            NoticeKind(
                name=name,
                words=said,
                to=_to,
                context=_context,
                still_due=_reminder_due,
                attachments=_attachments,
                stopped_by="collection",
                to_home=to_home,
                money=True,
                by_text=to_home,
                scope="billing",
            )
        )


def _to(owing: Owing) -> list[Recipient]:
    return _payer(Invoice.objects.select_related("payer__person").get(uid=owing.about["invoice"]).payer)


def _credited(owing: Owing) -> list[Recipient]:
    return _payer(CreditNote.objects.select_related("payer__person").get(uid=owing.about["credit"]).payer)


def _payer(payer: Payer) -> list[Recipient]:
    phone = payer.person.phone if payer.person else ""
    return [Recipient(f"payer {payer.pk}", payer.name, payer.mail_to, payer.language, payer.person, phone)]


def _context(message: Message) -> dict[str, Any]:
    invoice = invoice_of(message)
    assert invoice.due_on is not None
    return {
        "number": invoice.number,
        "amount": money.shown(invoice.amount_minor),
        "left": money.shown(Invoice.objects.with_left().get(pk=invoice.pk).left_minor),
        "due": _day_es(invoice) if message.language == "es" else day_on_paper(invoice.due_on),
        "milestone": invoice.milestone.name,
    }


def _day_es(invoice: Invoice) -> str:
    assert invoice.due_on is not None
    return f"{words.day_long_home(invoice.due_on, lang='es')} de {invoice.due_on.year}"


def _credit_of(message: Message) -> CreditNote:
    return CreditNote.objects.select_related("invoice__milestone", "job", "pdf").get(uid=message.about["credit"])


def _credit_context(message: Message) -> dict[str, Any]:
    note = _credit_of(message)
    return {
        "number": note.number,
        "invoice": note.invoice.number,
        "amount": money.shown(note.amount_minor),
        "left": money.shown(max(0, Invoice.objects.with_left().get(pk=note.invoice_id).left_minor)),
    }


def _credit_attachments(message: Message) -> list[Attachment]:
    note = _credit_of(message)
    return [Attachment(f"credit-note-{note.number}.pdf", "application/pdf", files.read(note.pdf))]


def _still_due(message: Message) -> str | None:
    invoice = Invoice.objects.with_left().get(uid=message.about["invoice"])
    if invoice.left_minor <= 0:
        return f"Invoice {invoice.number} is paid." if invoice.bills_id else f"Invoice {invoice.number} is credited."
    return None


def _reminder_due(message: Message) -> str | None:
    if paid := _still_due(message):
        return paid
    invoice = invoice_of(message)
    if invoice.disputes.filter(ended_on__isnull=True).exists():
        return f"Invoice {invoice.number} is disputed."
    if invoice.due_on is None or terms.days_past_due(invoice.due_on, as_of=clock.office_today()) <= 0:
        return f"Invoice {invoice.number} is not past its day."
    return None


def _attachments(message: Message) -> list[Attachment]:
    invoice = invoice_of(message)
    assert invoice.pdf is not None
    paper = Attachment(f"invoice-{invoice.number}.pdf", "application/pdf", files.read(invoice.pdf))
    waivers = invoice.waivers.filter(kind__startswith="conditional").select_related("pdf")
    return [paper, *(Attachment(f"waiver-{invoice.number}.pdf", "application/pdf", files.read(waiver.pdf)) for waiver in waivers)]
