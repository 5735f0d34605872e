"""What must hold among the records of money; each breach is a sentence."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from django.db.models import Count, F, Q, Sum

from billing import credits, earning
from billing.invoices import SERIES
from billing.models import (
    Agreement,
    Allocation,
    AllocationKind,
    BankLine,
    ChangeOrder,
    CreditNote,
    Earning,
    Invoice,
    Milestone,
    MilestoneKind,
    Payment,
    Series,
)
from billing.shares import MILLION
from jobs.core import facts, files, money
from jobs.core.models import Contract, Job, StoredFile


def breaches() -> Iterator[str]:
    yield from _plans()
    yield from _earned()
    yield from _invoices()
    yield from _credits()
    yield from _numbers()
    yield from _allocations()
    yield from _openings()


def _plans() -> Iterator[str]:
    sums = Job.objects.filter(milestones__isnull=False).annotate(
        # Where all parts are given as amounts there is no share.
        shares=Sum("milestones__share_millionths", filter=Q(milestones__fixed=False), default=MILLION),
        amounts=Sum("milestones__amount_minor"),
    )
    for code, shares, amounts, contract_minor in sums.order_by("pk").values_list("code", "shares", "amounts", "contract__amount_minor"):
        if shares != MILLION:
            yield f"Job {code}: its shares add up to {shares} millionths."
        if amounts != contract_minor:
            yield f"Job {code}: its milestones add up to {amounts} minor units, its contract is {contract_minor}."
    yield from _changes()
    for agreement in Agreement.objects.filter(retainage_millionths__gt=0, job__milestones__isnull=False).select_related("job").distinct():
        rows = list(agreement.job.milestones.all())
        kept = sum(row.retained_minor for row in rows)
        billed = [row.amount_minor for row in rows if row.kind == MilestoneKind.RETAINAGE]
        if billed and sum(billed) != kept:
            yield f"Job {agreement.job.code}: {kept} is kept back from its parts, its retainage bills {sum(billed)}."
    for contract in Contract.objects.filter(job__milestones__isnull=True).select_related("job"):
        yield f"Job {contract.job.code} has a contract and no milestones."


def _changes() -> Iterator[str]:
    """Each change order begins where the one before it ended, and the last ends at the contract's price."""
    last: dict[int, ChangeOrder] = {}
    for change in ChangeOrder.objects.select_related("job__contract").order_by("job", "number"):
        before = last.get(change.job_id)
        if before is not None and change.before_minor != before.after_minor:
            yield f"Job {change.job.code}: {change} begins at {change.before_minor}, the one before ended at {before.after_minor}."
        last[change.job_id] = change
    for change in last.values():
        price = change.job.contract.amount_minor
        if change.after_minor != price:
            yield f"Job {change.job.code}: after {str(change).lower()} the price is {change.after_minor}, its contract says {price}."


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
    rows = Invoice.objects.select_related("milestone", "pdf", "job").prefetch_related("credit_notes").order_by("pk")
    for invoice in rows:
        named = f"Invoice {invoice.number}" if invoice.number else f"The draft for job {invoice.job.code}"
        milestone = invoice.milestone
        credited = sum(note.amount_minor for note in invoice.credit_notes.all())
        if invoice.released and (invoice.bills_id is None) != (credited == invoice.amount_minor):
            bills = "bills" if invoice.bills_id else "does not bill"
            yield f"{named}: {money.shown(credited)} of it is credited, and it {bills} its milestone."
        if invoice.bills_id is None:
            yield from _paper(invoice, named)
            continue
        if invoice.bills_id != milestone.pk:
            yield f"{named} bills another milestone than the one it is for."
        if milestone.earned_on is None:
            yield f"{named} is for a milestone that is not earned."
        if milestone.opening:
            yield f"{named} is for an opening balance."
        if invoice.job_id != milestone.job_id or invoice.net_minor != milestone.amount_minor or invoice.payer_id != milestone.payer_id:
            yield f"{named} does not match its milestone in job, amount or payer."
        yield from _paper(invoice, named)


def _paper(invoice: Invoice, named: str) -> Iterator[str]:
    if not invoice.released:
        return
    assert invoice.pdf is not None
    yield from _kept(invoice.pdf, named)
    if invoice.contents.get("number") != str(invoice.number):
        yield f"{named}: its contents name number {invoice.contents.get('number')}."
    if invoice.contents.get("total") != money.shown(invoice.amount_minor):
        yield f"{named} is over {money.shown(invoice.amount_minor)}, its paper says {invoice.contents.get('total')}."


def _kept(file: StoredFile, named: str) -> Iterator[str]:
    path = files.path_of(file.sha256)
    if not path.exists() or hashlib.sha256(path.read_bytes()).hexdigest() != file.sha256:
        yield f"{named}: its paper on disk is missing or is not the one that was released."


def _credits() -> Iterator[str]:
    for note in CreditNote.objects.select_related("invoice", "pdf").prefetch_related("allocations").order_by("number"):
        named = f"Credit note {note.number}"
        yield from _kept(note.pdf, named)
        put = sum(row.amount_minor for row in note.allocations.all())
        if put != note.amount_minor:
            yield f"{named} is over {money.shown(note.amount_minor)}, and {money.shown(put)} of it lessens its invoice."
        if any(row.invoice_id != note.invoice_id for row in note.allocations.all()):
            yield f"{named} lessens another invoice than its own."
        said = (note.contents.get("number"), note.contents.get("total"))
        if said != (str(note.number), money.shown(-note.amount_minor)):
            yield f"{named} over {money.shown(note.amount_minor)}: its paper says number {said[0]} and {said[1]}."
    sums = Invoice.objects.annotate(credited=Sum("credit_notes__amount_minor"), untaxed=Sum("credit_notes__tax_minor"))
    beyond = sums.filter(Q(credited__gt=F("amount_minor")) | Q(untaxed__gt=F("tax_minor")))
    for number in beyond.values_list("number", flat=True):
        yield f"Invoice {number}: more is credited than it asks for."


def _numbers() -> Iterator[str]:
    invoices_ = Invoice.objects.released().order_by("number").values_list("number", flat=True)
    yield from _run("Invoice", SERIES, [number for number in invoices_ if number is not None])
    yield from _run("Credit note", credits.SERIES, list(CreditNote.objects.order_by("number").values_list("number", flat=True)))


def _run(what: str, name: str, numbers: list[int]) -> Iterator[str]:
    series = Series.objects.filter(name=name).first()
    wanted = range(series.first, series.next) if series else range(0)
    if missing := sorted(set(wanted) - set(numbers)):
        yield f"{what} numbers are missing: {', '.join(map(str, missing[:10]))}."
    if beyond := sorted(set(numbers) - set(wanted)):
        yield f"{what} numbers are outside the run: {', '.join(map(str, beyond[:10]))}."


def _allocations() -> Iterator[str]:
    for invoice in Invoice.objects.with_left().filter(allocations__isnull=False).distinct():
        if not invoice.released:
            yield f"The draft {invoice.uid} has money put to it."
        elif invoice.left_minor < 0:
            yield f"Invoice {invoice.number}: {money.shown(-invoice.left_minor)} more is put to it than it asks for."
    for payment in Payment.objects.with_left().select_related("payer"):
        if payment.left_minor < 0:
            yield f"The {payment}: {money.shown(-payment.left_minor)} more is put to debts or sent back than came in."
    yield from _reversals()
    others = Allocation.objects.filter(payment__isnull=False).exclude(
        Q(invoice__payer=F("payment__payer")) | Q(milestone__payer=F("payment__payer"))
    )
    for allocation in others.select_related("payment__payer"):
        yield f"The {allocation.payment} is put to somebody else's debt."
    for line in BankLine.objects.filter(payment__isnull=False).select_related("payment"):
        assert line.payment is not None
        if (line.payment.amount_minor, line.payment.received_on) != (line.amount_minor, line.received_on):
            yield f"The {line} and the payment made of it differ."
    for row in Payment.objects.annotate(
        put=Count("allocations", filter=Q(allocations__kind=AllocationKind.WRITE_OFF, allocations__reason=""))
    ).filter(put__gt=0):
        yield f"The {row} has a write-off without a reason."


def _reversals() -> Iterator[str]:
    """Nothing is taken back twice, and what is taken back is of the same money and the same debt."""
    rows = Allocation.objects.filter(reversals__isnull=False).annotate(back=Sum("reversals__amount_minor"))
    for row in rows.prefetch_related("reversals"):
        if row.amount_minor + row.back < 0:
            yield f"More of the {row} is taken back than was put to it."
        same = (row.payment_id, row.invoice_id, row.milestone_id, row.kind)
        if any((back.payment_id, back.invoice_id, back.milestone_id, back.kind) != same for back in row.reversals.all()):
            yield f"What is taken back of the {row} is of other money or another debt."


def _openings() -> Iterator[str]:
    for milestone in Milestone.objects.openings().with_left().select_related("job"):
        named = f"Job {milestone.job.code}: the opening balance of {milestone.name}"
        if milestone.left_minor < 0:
            yield f"{named} is paid {money.shown(-milestone.left_minor)} too much."
        if milestone.opening_invoiced_minor > milestone.amount_minor:
            yield f"{named} is more than the milestone."
