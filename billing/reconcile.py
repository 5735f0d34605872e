"""What must hold among the records of money; each breach is a sentence."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from django.db.models import Count, F, Q, Sum

from billing import earning
from billing.invoices import SERIES
from billing.models import Allocation, AllocationKind, Earning, Invoice, Milestone, Payment, Series
from billing.shares import MILLION
from jobs.core import facts, files, money
from jobs.core.models import Contract, Job


def breaches() -> Iterator[str]:
    yield from _plans()
    yield from _earned()
    yield from _invoices()
    yield from _numbers()
    yield from _allocations()
    yield from _openings()


def _plans() -> Iterator[str]:
    sums = Job.objects.filter(milestones__isnull=False).annotate(
        shares=Sum("milestones__share_millionths"), amounts=Sum("milestones__amount_minor")
    )
    for code, shares, amounts, contract_minor in sums.order_by("pk").values_list("code", "shares", "amounts", "contract__amount_minor"):
        if shares != MILLION:
            yield f"Job {code}: its shares add up to {shares} millionths."
        if amounts != contract_minor:
            yield f"Job {code}: its milestones add up to {amounts} minor units, its contract is {contract_minor}."
    for contract in Contract.objects.filter(job__milestones__isnull=True).select_related("job"):
        yield f"Job {contract.job.code} has a contract and no milestones."


def _earned() -> Iterator[str]:
    """Milestones against the facts, and against what the period reports say was earned."""
    jobs = Job.objects.filter(milestones__isnull=False).distinct().prefetch_related("milestones__invoice")
    reported = {
        row["milestone"]: row["total"] for row in Earning.objects.order_by().values("milestone").annotate(total=Sum("amount_minor"))
    }
    for job in jobs.iterator(chunk_size=500):
        proof = earning.proof_of(job, facts.of(job))
        for milestone in job.milestones.all():
            if milestone.opening:
                continue
            day, invoice = proof.day(milestone), getattr(milestone, "invoice", None)
            released = invoice is not None and invoice.released
            if not released and milestone.earned_on != day:
                yield f"Job {job.code}: {milestone.name} is earned on {milestone.earned_on}, its facts say {day}."
            if released and milestone.earned_on != day and not (milestone.question or milestone.answered):
                yield f"Job {job.code}: what earned {milestone.name} changed after its invoice, and nobody was asked."
            stands = milestone.amount_minor if milestone.earned_on else 0
            if reported.get(milestone.pk, 0) != stands:
                yield f"Job {job.code}: the reports say {reported.get(milestone.pk, 0)} was earned for {milestone.name}, it is {stands}."

    # A plan set anew took its milestones away; what was reported of them was taken back before.
    gone = Earning.objects.filter(milestone__isnull=True).order_by().values("job__code", "name").annotate(total=Sum("amount_minor"))
    for row in gone.exclude(total=0):
        yield f"Job {row['job__code']}: the reports say {row['total']} was earned for {row['name']}, which is no milestone any more."


def _invoices() -> Iterator[str]:
    for invoice in Invoice.objects.select_related("milestone", "pdf", "job").order_by("pk"):
        named = f"Invoice {invoice.number}" if invoice.number else f"The draft for job {invoice.job.code}"
        milestone = invoice.milestone
        if milestone.earned_on is None:
            yield f"{named} is for a milestone that is not earned."
        if milestone.opening:
            yield f"{named} is for an opening balance."
        if invoice.job_id != milestone.job_id or invoice.amount_minor != milestone.amount_minor or invoice.payer_id != milestone.payer_id:
            yield f"{named} does not match its milestone in job, amount or payer."
        if invoice.pdf is not None:
            path = files.path_of(invoice.pdf.sha256)
            if not path.exists() or hashlib.sha256(path.read_bytes()).hexdigest() != invoice.pdf.sha256:
                yield f"{named}: its paper on disk is missing or is not the one that was released."
        if invoice.released and invoice.contents.get("number") != str(invoice.number):
            yield f"{named}: its contents name number {invoice.contents.get('number')}."
        if invoice.released and invoice.contents.get("total") != money.shown(invoice.amount_minor):
            yield f"{named} is over {money.shown(invoice.amount_minor)}, its paper says {invoice.contents.get('total')}."


def _numbers() -> Iterator[str]:
    series = Series.objects.filter(name=SERIES).first()
    numbers = list(Invoice.objects.released().order_by("number").values_list("number", flat=True))
    wanted = range(series.first, series.next) if series else range(0)
    if missing := sorted(set(wanted) - set(numbers)):
        yield f"Invoice numbers are missing: {', '.join(map(str, missing[:10]))}."
    if beyond := sorted({number for number in numbers if number is not None} - set(wanted)):
        yield f"Invoice numbers are outside the run: {', '.join(map(str, beyond[:10]))}."


def _allocations() -> Iterator[str]:
    for invoice in Invoice.objects.with_left().filter(allocations__isnull=False).distinct():
        if not invoice.released:
            yield f"The draft {invoice.uid} has money put to it."
        elif invoice.left_minor < 0:
            yield f"Invoice {invoice.number}: {money.shown(-invoice.left_minor)} more is put to it than it asks for."
    for payment in Payment.objects.with_left().select_related("payer"):
        if payment.left_minor < 0:
            yield f"The {payment}: {money.shown(-payment.left_minor)} more is put to debts than came in."
    others = Allocation.objects.filter(payment__isnull=False).exclude(
        Q(invoice__payer=F("payment__payer")) | Q(milestone__payer=F("payment__payer"))
    )
    for allocation in others.select_related("payment__payer"):
        yield f"The {allocation.payment} is put to somebody else's debt."
    for row in Payment.objects.annotate(
        put=Count("allocations", filter=Q(allocations__kind=AllocationKind.WRITE_OFF, allocations__reason=""))
    ).filter(put__gt=0):
        yield f"The {row} has a write-off without a reason."


def _openings() -> Iterator[str]:
    for milestone in Milestone.objects.openings().with_left().select_related("job"):
        named = f"Job {milestone.job.code}: the opening balance of {milestone.name}"
        if milestone.left_minor < 0:
            yield f"{named} is paid {money.shown(-milestone.left_minor)} too much."
        if milestone.opening_invoiced_minor > milestone.amount_minor:
            yield f"{named} is more than the milestone."
