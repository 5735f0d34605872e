"""The message that carries an invoice to its payer."""

from __future__ import annotations

from typing import Any

from billing.models import Invoice, PayerKind
from billing.paper import day as day_on_paper
from jobs.core import files, money, words
from jobs.notices import kinds
from jobs.notices.kinds import Attachment, NoticeKind, Owing, Recipient
from jobs.notices.models import Message

INVOICE = "invoice"  # to a homeowner: "no backup yet" stands in it, and it keeps quiet hours
INVOICE_TO_LENDER = "invoice_to_lender"


def kind_for(invoice: Invoice) -> str:
    return INVOICE if invoice.payer.kind == PayerKind.HOMEOWNER else INVOICE_TO_LENDER


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
            )
        )


def _to(owing: Owing) -> list[Recipient]:
    payer = Invoice.objects.select_related("payer__person").get(uid=owing.about["invoice"]).payer
    return [Recipient(f"payer {payer.pk}", payer.name, payer.mail_to, payer.language, payer.person)]


def _context(message: Message) -> dict[str, Any]:
    invoice = invoice_of(message)
    assert invoice.due_on is not None
    return {
        "number": invoice.number,
        "amount": money.shown(invoice.amount_minor),
        "due": _day_es(invoice) if message.language == "es" else day_on_paper(invoice.due_on),
        "milestone": invoice.milestone.name,
    }


def _day_es(invoice: Invoice) -> str:
    assert invoice.due_on is not None
    return f"{words.day_long_home(invoice.due_on, lang='es')} de {invoice.due_on.year}"


def _still_due(message: Message) -> str | None:
    invoice = Invoice.objects.with_left().get(uid=message.about["invoice"])
    if invoice.left_minor <= 0:
        return f"Invoice {invoice.number} is paid."
    return None


def _attachments(message: Message) -> list[Attachment]:
    invoice = invoice_of(message)
    assert invoice.pdf is not None
    return [Attachment(f"invoice-{invoice.number}.pdf", "application/pdf", files.read(invoice.pdf))]
