"""Milestones, invoices and payments as tables, for the pages and the command."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from django.db.models import QuerySet

from billing import figures
from billing.figures import Period
from billing.models import Earning, Invoice, Milestone, Payment
from billing.triggers import words_of
from jobs.core import money, words
from jobs.core.exports import Export
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.core.sheets.parsers import day as read_day

INVOICES = ("number", "state", "job", "home", "payer", "milestone", "issued_on", "due_on", "amount", "open")
PAYMENTS = ("received_on", "payer", "reference", "how", "amount", "unapplied", "put_to")
MILESTONES = (
    "job",
    "utility",
    "payer",
    "milestone",
    "position",
    "share_per_cent",
    "amount",
    "earned_by",
    "earned_on",
    "recorded_on",
    "payer_pays_on",
    "payer_met_on",
    "invoice",
    "opening_balance",
)
REPORT = ("recorded_on", "earned_on", "job", "home", "utility", "payer", "milestone", "amount", "invoice", "remark")


def amount(minor: int) -> Decimal:
    return Decimal(money.decimal_text(minor))


def invoice_lines(invoices: QuerySet[Invoice]) -> Iterator[Sequence[object]]:
    """Of invoices that carry `left_minor`."""
    for invoice in invoices.select_related("job__site", "payer", "milestone").iterator(chunk_size=500):
        yield (
            invoice.number,
            invoice.get_state_display(),
            invoice.job.code,
            invoice.job.site.line,
            invoice.payer.name,
            invoice.milestone.name,
            invoice.issued_on,
            invoice.due_on,
            amount(invoice.amount_minor),
            amount(invoice.left_minor),
        )


def payment_lines(payments: QuerySet[Payment]) -> Iterator[Sequence[object]]:
    """Of payments that carry `left_minor`."""
    rows = payments.select_related("payer").prefetch_related("allocations__invoice", "allocations__milestone")
    for payment in rows.iterator(chunk_size=500):
        yield (
            payment.received_on,
            payment.payer.name,
            payment.reference,
            payment.get_method_display(),
            amount(payment.amount_minor),
            amount(payment.left_minor),
            words.listed([f"{part} {money.decimal_text(part.amount_minor)}" for part in payment.allocations.all()], last=","),
        )


def report_lines(earnings: QuerySet[Earning]) -> Iterator[Sequence[object]]:
    for row in earnings:
        yield (
            row.recorded_on,
            row.earned_on,
            row.job.code,
            row.job.site.line,
            getattr(row, "utility_name", None) or "",
            row.payer.name,
            row.name,
            amount(row.amount_minor),
            number_of(row.milestone),
            row.because,
        )


def number_of(milestone: Milestone | None) -> int | None:
    invoice = getattr(milestone, "invoice", None)
    return invoice.number if isinstance(invoice, Invoice) else None


def _invoices(filters: Mapping[str, str]) -> Iterable[Sequence[object]]:
    return invoice_lines(_of_job(_within(Invoice.objects.with_left().order_by("number", "pk"), "issued_on", filters), filters))


def _payments(filters: Mapping[str, str]) -> Iterable[Sequence[object]]:
    return payment_lines(_within(Payment.objects.with_left().order_by("received_on", "pk"), "received_on", filters))


def _milestones(filters: Mapping[str, str]) -> Iterator[Sequence[object]]:
    rows = figures.with_utility(Milestone.objects.order_by("job", "position"))
    rows = _of_job(_within(rows, "recorded_on", filters), filters)
    for milestone in rows.select_related("job", "payer", "invoice").iterator(chunk_size=500):
        yield (
            milestone.job.code,
            milestone.utility_name or "",
            milestone.payer.name,
            milestone.name,
            milestone.position,
            Decimal(milestone.share_millionths) / 10_000,
            amount(milestone.amount_minor),
            words_of(milestone.triggers),
            milestone.earned_on,
            milestone.recorded_on,
            words_of(milestone.payer_triggers),
            milestone.payer_met_on,
            number_of(milestone),
            milestone.opening_ref if milestone.opening else "",
        )


def _within(rows: Any, field: str, filters: Mapping[str, str]) -> Any:
    """Narrowed to the days `from` and `to`, both counted."""
    for name, lookup in (("from", "gte"), ("to", "lte")):
        if filters.get(name):
            rows = rows.filter(**{f"{field}__{lookup}": _day(filters[name], name)})
    return rows


def _of_job(rows: Any, filters: Mapping[str, str]) -> Any:
    if not filters.get("job"):
        return rows
    job = Job.objects.filter(code=filters["job"].upper()).first()
    if job is None:
        raise Refused(f"There is no job {filters['job']}.", field="job")
    return rows.filter(job=job)


def _day(text: str, name: str) -> dt.date:
    try:
        return read_day(text)
    except ValueError as fault:
        raise Refused(str(fault), field=name) from fault


def _report(filters: Mapping[str, str]) -> Iterator[Sequence[object]]:
    if not (filters.get("from") and filters.get("to")):
        raise Refused("The report covers a period: give from and to.", field="from")
    period = Period(_day(filters["from"], "from"), _day(filters["to"], "to"))
    return report_lines(figures.earnings(period))


EXPORTS = (
    Export("milestones", "Milestones", MILESTONES, _milestones, filters=("from", "to", "job")),
    Export("invoices", "Invoices", INVOICES, _invoices, filters=("from", "to", "job")),
    Export("payments", "Payments", PAYMENTS, _payments, filters=("from", "to")),
    Export("milestone_report", "Milestones earned in a period, by the day they were recorded", REPORT, _report, filters=("from", "to")),
)
