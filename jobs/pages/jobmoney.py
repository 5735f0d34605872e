"""What is owed for one job: its milestones, what was billed of each, what is still to be paid."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.urls import reverse

from billing.models import Invoice, Milestone
from jobs.core import money, words
from jobs.core.models import Contract, Job
from jobs.core.states import S


@dataclass(frozen=True)
class MilestoneLine:
    name: str
    amount_minor: int
    says: str  # "invoice 2391, due 27 Jun 2026, $8,640.00 still to pay"
    url: str
    left_minor: int  # billed and not yet paid
    earned: bool
    billed: bool


@dataclass(frozen=True)
class Owed:
    """All amounts in minor units. `contract_minor` None: no plan is set yet."""

    contract_minor: int | None
    lines: tuple[MilestoneLine, ...]

    @property
    def left_minor(self) -> int:
        return sum(line.left_minor for line in self.lines)

    @property
    def final(self) -> MilestoneLine | None:
        return self.lines[-1] if self.lines else None

    @property
    def in_words(self) -> str:
        """For the sentence of a verified home."""
        if self.contract_minor is None:
            return "No plan of payment is set."
        if not all(line.billed for line in self.lines):
            return "Not all of it is invoiced yet."
        return f"{money.shown(self.left_minor)} is still to be paid." if self.left_minor else "Nothing is owed."


def owed(job: Job, contract: Contract | None, *, today: dt.date) -> Owed:
    """Three queries, however many milestones."""
    milestones = list(Milestone.objects.with_left().filter(job=job).select_related("payer", "job").order_by("position"))
    invoices = {invoice.bills_id: invoice for invoice in Invoice.objects.with_left().filter(job=job, bills__isnull=False)}
    lines = tuple(_line(milestone, invoices.get(milestone.pk), today) for milestone in milestones)
    return Owed(contract.amount_minor if contract else None, lines)


def _line(milestone: Milestone, invoice: Invoice | None, today: dt.date) -> MilestoneLine:
    says, url, left = _said(milestone, invoice, today)
    billed = milestone.opening or (invoice is not None and invoice.released)
    return MilestoneLine(milestone.name, milestone.amount_minor, says, url, left, milestone.earned_on is not None, billed)


def _said(milestone: Milestone, invoice: Invoice | None, today: dt.date) -> tuple[str, str, int]:
    if milestone.opening:
        reference = f"billed before as {milestone.opening_ref}" if milestone.opening_ref else "billed before"
        return f"{reference}, {_paid(milestone.left_minor)}", reverse("receivables"), milestone.left_minor
    if invoice is not None:
        url = reverse("invoice", kwargs={"uid": invoice.uid})
        if not invoice.released:
            return "earned, invoice drafted", url, 0
        assert invoice.due_on is not None  # a released invoice is whole
        due = f"due {words.day_short(invoice.due_on, today=today)}" if invoice.left_minor else ""
        return ", ".join(part for part in (f"invoice {invoice.number}", due, _paid(invoice.left_minor)) if part), url, invoice.left_minor
    if milestone.earned_on:
        return f"earned {words.day_short(milestone.earned_on, today=today)}, not invoiced", "", 0
    return ("not earned; the contract is cancelled" if milestone.job.state == S.CANCELLED else "not earned yet"), "", 0


def _paid(left_minor: int) -> str:
    return f"{money.shown(left_minor)} still to pay" if left_minor else "paid"
