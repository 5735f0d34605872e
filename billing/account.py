"""The money of one job on one page: how the price adds up, what became of what was invoiced, and what remains."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Q, Sum

from billing.models import Allocation, AllocationKind, ChangeOrder, CreditNote, Invoice, Milestone
from jobs.core.models import Contract, Job
from jobs.core.states import S


@dataclass(frozen=True)
class Account:
    """All in minor units. The price is before tax; what is invoiced is with it."""

    price_minor: int
    billed_net_minor: int  # of the price: invoiced now, opening balances among it
    earned_minor: int  # of the price: earned and not invoiced
    to_come_minor: int  # of the price: not earned
    invoiced_minor: int
    credited_minor: int
    received_minor: int
    given_up_minor: int  # fees, taxes withheld, write-offs
    open_minor: int
    changes: tuple[ChangeOrder, ...]
    notes: tuple[CreditNote, ...]
    to_close_minor: int  # will never be earned: the contract is cancelled and the price still holds it

    @property
    def remains_minor(self) -> int:
        """What may still come in: open, and of the price not invoiced yet; tax on it comes besides."""
        return self.open_minor + self.earned_minor + self.to_come_minor - self.to_close_minor


def of(job: Job) -> Account | None:
    contract = Contract.objects.filter(job=job).first()
    if contract is None:
        return None
    milestones = list(Milestone.objects.with_left().filter(job=job).select_related("invoice"))
    invoices = list(Invoice.objects.released().with_left().filter(job=job))
    put = (
        Allocation.objects.filter(Q(invoice__job=job) | Q(milestone__job=job)).values("kind").order_by().annotate(total=Sum("amount_minor"))
    )
    by_kind = {row["kind"]: row["total"] for row in put}
    openings = [m for m in milestones if m.opening]
    ours = [m for m in milestones if not m.opening]
    billed = {m.pk for m in ours if (invoice := getattr(m, "invoice", None)) is not None and invoice.released}
    to_come = sum(m.amount_minor for m in ours if m.pk not in billed and m.earned_on is None)
    return Account(
        price_minor=contract.amount_minor,
        billed_net_minor=sum(m.amount_minor for m in milestones if m.opening or m.pk in billed),
        earned_minor=sum(m.amount_minor for m in ours if m.pk not in billed and m.earned_on is not None),
        to_come_minor=to_come,
        invoiced_minor=sum(i.amount_minor for i in invoices) + sum(m.opening_invoiced_minor for m in openings),
        credited_minor=by_kind.get(AllocationKind.CREDIT, 0),
        received_minor=by_kind.get(AllocationKind.PAYMENT, 0) + sum(m.opening_paid_minor for m in openings),
        given_up_minor=sum(minor for kind, minor in by_kind.items() if kind not in (AllocationKind.CREDIT, AllocationKind.PAYMENT)),
        open_minor=sum(i.left_minor for i in invoices) + sum(m.left_minor for m in openings),
        changes=tuple(ChangeOrder.objects.filter(job=job).order_by("number")),
        notes=tuple(CreditNote.objects.filter(job=job).select_related("invoice")),
        to_close_minor=to_come if job.state == S.CANCELLED else 0,
    )
