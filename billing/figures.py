"""The one query behind each number of money on a screen: the page's rows come from the same, and add up to it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Min, OuterRef, Q, QuerySet, Subquery, Sum

from billing import terms
from billing.models import (
    Earning,
    Invoice,
    InvoiceQuerySet,
    InvoiceState,
    Milestone,
    MilestoneQuerySet,
    Payment,
    PaymentQuerySet,
)
from billing.payments import Debt, due_of, name_of
from billing.terms import Bucket
from jobs.core.models import Job
from jobs.core.states import S
from utilities.models import Service


def earned_not_invoiced() -> MilestoneQuerySet:
    """Earned here and above nothing, without a released invoice; the longest earned first."""
    earned = Milestone.objects.ours().filter(earned_on__isnull=False, amount_minor__gt=0)
    return earned.exclude(invoice__state=InvoiceState.RELEASED).order_by("earned_on", "pk")


def drafts() -> InvoiceQuerySet:
    """To be released; the longest drafted first."""
    return Invoice.objects.drafts().order_by("drafted_at", "pk")


def questions() -> MilestoneQuerySet:
    """Milestones whose facts changed after their invoice left, not yet answered."""
    return Milestone.objects.exclude(question="").order_by("question_on", "pk")


def to_close() -> QuerySet[Job, Any]:
    """Cancelled jobs with `to_close_minor`: what of their price will never be earned; the longest cancelled first."""
    left = Sum("milestones__amount_minor", filter=Q(milestones__opening=False, milestones__earned_on__isnull=True), default=0)
    rows = Job.objects.filter(state=S.CANCELLED).annotate(to_close_minor=left).filter(to_close_minor__gt=0)
    return rows.select_related("site").prefetch_related("parties__person").order_by("state_since", "pk")


def unapplied() -> PaymentQuerySet:
    """Payments of which something is put to nothing yet; the oldest first."""
    return Payment.objects.unapplied().order_by("received_on", "pk")


def short_paid() -> InvoiceQuerySet:
    """Released invoices of which something was paid, and not all; the longest due first."""
    return Invoice.objects.part_paid().order_by("due_on", "pk")


def unbilled_waiting_on_utility() -> MilestoneQuerySet:
    """Not earned, because the utility has not fitted the collar it was asked to fit. No receivable: it has no due day yet."""
    waiting = Milestone.objects.ours().filter(earned_on__isnull=True, needs_utility=True, amount_minor__gt=0)
    return waiting.filter(job__state=S.AWAITING_UTILITY).order_by("job__state_since", "pk")


def total_minor(rows: MilestoneQuerySet | InvoiceQuerySet) -> int:
    return int(rows.order_by().aggregate(total=Sum("amount_minor"))["total"] or 0)


def left_minor(rows: QuerySet[Invoice] | QuerySet[Milestone] | QuerySet[Payment]) -> int:
    """What is left of rows that carry `left_minor`."""
    return sum(row.left_minor for row in rows)


def final_milestone_minor(job: Job) -> int:
    """What hangs on the last milestone of the plan while it is not earned; 0 without a plan or once it is earned."""
    return final_milestones_minor([job])[job.pk]


def final_milestones_minor(jobs: Iterable[Job]) -> dict[int, int]:
    """The same for many jobs, in one query: key to amount."""
    keys = [job.pk for job in jobs]
    rows = Milestone.objects.filter(job__in=keys).order_by("position").values_list("job_id", "amount_minor", "earned_on")
    last = {
        job: amount if earned_on is None else 0 for job, amount, earned_on in rows
    }  # a later position takes the place of an earlier one
    return {key: last.get(key, 0) for key in keys}


def contracts_minor(jobs: Iterable[Job]) -> dict[int, int]:
    """The contract of each of these, which its plan adds up to; 0 without a plan."""
    keys = [job.pk for job in jobs]
    rows = Milestone.objects.filter(job__in=keys).order_by().values_list("job_id").annotate(total=Sum("amount_minor"))
    found = dict(rows)
    return {key: int(found.get(key, 0)) for key in keys}


# Receivables: released invoices, and what the books before ours had billed.


@dataclass(frozen=True)
class Receivable:
    """One debt and what is left of it."""

    debt: Debt
    left_minor: int

    @property
    def name(self) -> str:
        return name_of(self.debt)

    @property
    def job(self) -> Job:
        return self.debt.job

    @property
    def payer_name(self) -> str:
        return self.debt.payer.name

    @property
    def due_on(self) -> dt.date:
        return due_of(self.debt)

    @property
    def invoice(self) -> Invoice | None:
        return self.debt if isinstance(self.debt, Invoice) else None

    @property
    def amount_minor(self) -> int:
        return self.debt.amount_minor if isinstance(self.debt, Invoice) else self.debt.opening_invoiced_minor

    def days_past_due(self, today: dt.date) -> int:
        return terms.days_past_due(self.due_on, as_of=today)


def receivables() -> list[Receivable]:
    """All that is invoiced and not paid; the longest due first."""
    invoices = Invoice.objects.open().select_related("job__site", "payer", "milestone").prefetch_related("job__parties__person")
    openings = Milestone.objects.open().select_related("job__site", "payer").prefetch_related("job__parties__person")
    rows = [Receivable(debt, debt.left_minor) for debt in (*invoices, *openings)]
    return sorted(rows, key=lambda row: (row.due_on, row.name))


def overdue(today: dt.date) -> list[Receivable]:
    """Those whose due day has passed; on the due day itself nothing is late."""
    return [row for row in receivables() if row.days_past_due(today) > 0]


def by_bucket(rows: Iterable[Receivable], *, today: dt.date) -> dict[Bucket, int]:
    """What is left, by days past due; every bucket, also the empty ones."""
    sums = dict.fromkeys(Bucket, 0)
    for row in rows:
        sums[terms.bucket(row.due_on, as_of=today)] += row.left_minor
    return sums


# By utility.


@dataclass(frozen=True)
class AtUtility:
    """What waits at one utility. uid is None where the home's utility is not known."""

    name: str
    uid: str | None
    homes: int
    minor: int
    since: dt.date | None  # the longest wait


_FIRST_SERVICE = Service.objects.filter(job=OuterRef("job")).order_by("pk")
_NAME = Subquery(_FIRST_SERVICE.values("utility__name")[:1])
_UID = Subquery(_FIRST_SERVICE.values("utility__uid")[:1])


def with_utility(rows: MilestoneQuerySet) -> MilestoneQuerySet:
    """`utility_name`, `utility_uid`: those of the home's first service."""
    return rows.annotate(utility_name=_NAME, utility_uid=_UID)


def at_utility(rows: MilestoneQuerySet, uid: str) -> MilestoneQuerySet:
    """Of homes whose first service is at this utility."""
    return rows.annotate(utility_uid=_UID).filter(utility_uid=uid)


def unbilled_by_utility() -> list[AtUtility]:
    """The same money, summed; the most first."""
    waiting = unbilled_waiting_on_utility().order_by().annotate(utility_name=_NAME, utility_uid=_UID)
    rows = waiting.values("utility_name", "utility_uid")
    sums = rows.annotate(homes=Count("job", distinct=True), minor=Sum("amount_minor"), since=Min("job__state_since"))
    found = [
        AtUtility(row["utility_name"] or "utility not known", row["utility_uid"], row["homes"], row["minor"], row["since"]) for row in sums
    ]
    return sorted(found, key=lambda row: (-row.minor, row.name))


# The milestone report.


@dataclass(frozen=True)
class Period:
    """Both days count."""

    from_on: dt.date
    to_on: dt.date


def earnings(period: Period, *, utility: str = "") -> QuerySet[Earning]:
    """What was earned or taken back, by the day on which we learned it: so a closed period never changes.

    utility: its uid, or nothing for all. Opening balances were earned before our books began and are not among them.
    """
    within = Earning.objects.filter(recorded_on__gte=period.from_on, recorded_on__lte=period.to_on)
    rows = within.annotate(utility_name=_NAME, utility_uid=_UID)
    if utility:
        rows = rows.filter(utility_uid=utility)
    return rows.select_related("job__site", "payer", "milestone__invoice").prefetch_related("job__parties__person")


def by_utility(rows: QuerySet[Earning]) -> Sequence[tuple[str, int, int]]:
    """Name, milestones (earned less taken back) and amount; by name."""
    sums: dict[str, tuple[int, int]] = {}
    for row in rows:
        name = getattr(row, "utility_name", None) or "utility not known"
        count, minor = sums.get(name, (0, 0))
        sums[name] = (count + (-1 if row.because else 1), minor + row.amount_minor)
    return [(name, *sums[name]) for name in sorted(sums)]
