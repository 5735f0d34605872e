"""A payer's statement: what was billed and credited, what came and went back, with a balance after each; and what is open."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from billing import figures, payments, terms
from billing.models import Allocation, AllocationKind, CreditNote, Invoice, Milestone, Payer, Payment, SentBack
from billing.paper import company, day
from billing.pdf.statement import Movement, OpenItem, Stated
from billing.terms import Bucket
from jobs.core import clock, money, rules, words
from jobs.notices.shown import day_at


@dataclass(frozen=True)
class Entry:
    """One movement. amount_minor: above zero, the payer owes more; below, less."""

    on: dt.date
    order: int  # of movements of one day: what is billed stands before what is paid
    what: str
    under: str
    amount_minor: int


@dataclass(frozen=True)
class Statement:
    payer: Payer
    from_on: dt.date
    to_on: dt.date
    before_minor: int
    entries: tuple[Entry, ...]
    open_items: tuple[figures.Receivable, ...]  # as of today
    unapplied_minor: int

    to_date: bool  # nothing happened after the period, so that its balance is what stands today

    @property
    def balance_minor(self) -> int:
        return self.before_minor + sum(entry.amount_minor for entry in self.entries)

    @property
    def balance_under(self) -> str:
        """What the balance is: of a period that is past it is not what is open today."""
        return "what is open, less what is not yet set against an invoice" if self.to_date else f"at the end of {day(self.to_on)}"


def of(payer: Payer, *, from_on: dt.date, to_on: dt.date) -> Statement:
    """Both days count. What is open and unapplied is as of today."""
    entries = sorted(_entries(payer), key=lambda entry: (entry.on, entry.order))
    before = sum(entry.amount_minor for entry in entries if entry.on < from_on)
    within = tuple(entry for entry in entries if from_on <= entry.on <= to_on)
    open_items = tuple(row for row in figures.receivables() if row.debt.payer_id == payer.pk)
    unapplied = figures.left_minor(Payment.objects.unapplied().filter(payer=payer))
    to_date = all(entry.on <= to_on for entry in entries)
    return Statement(payer, from_on, to_on, before, within, open_items, unapplied, to_date)


def _entries(payer: Payer) -> list[Entry]:
    zone = rules.text("office_zone")
    found = []
    for invoice in Invoice.objects.released().filter(payer=payer).select_related("milestone", "job"):
        assert invoice.issued_on is not None
        found.append(Entry(invoice.issued_on, 0, str(invoice), f"{invoice.milestone.name}, job {invoice.job.code}", invoice.amount_minor))
    for opening in Milestone.objects.openings().filter(payer=payer).select_related("job"):
        assert opening.earned_on is not None
        owed = opening.opening_invoiced_minor - opening.opening_paid_minor
        found.append(Entry(opening.earned_on, 0, payments.name_of(opening), f"{opening.name}, job {opening.job.code}", owed))
    for note in CreditNote.objects.filter(payer=payer).select_related("invoice"):
        found.append(Entry(note.issued_on, 1, str(note), f"of invoice {note.invoice.number}: {note.reason}", -note.amount_minor))
    for payment in Payment.objects.filter(payer=payer):
        found.append(Entry(payment.received_on, 2, "Payment", payment.reference, -payment.amount_minor))
    for back in SentBack.objects.filter(payment__payer=payer):
        found.append(Entry(back.on, 3, back.get_kind_display().capitalize(), back.reference or back.reason, back.amount_minor))
    for row in _given_up(payer):
        debt = row.invoice or row.milestone
        assert debt is not None, "an allocation is to one thing"
        what = row.get_kind_display().capitalize() + ("" if row.amount_minor > 0 else " taken back")
        found.append(Entry(day_at(row.at, zone), 2, what, f"on {payments.name_of(debt)}", -row.amount_minor))
    return found


def _given_up(payer: Payer) -> list[Allocation]:
    """Fees, taxes withheld and write-offs: what lessens a debt without money that came."""
    rows = Allocation.objects.exclude(kind__in=[AllocationKind.PAYMENT, AllocationKind.CREDIT]).select_related("invoice", "milestone")
    return [*rows.filter(invoice__payer=payer), *rows.filter(milestone__payer=payer)]


def paper(statement: Statement) -> Stated:
    """The statement as it is printed."""
    today, ours = clock.office_today(), company()
    open_minor = sum(row.left_minor for row in statement.open_items)
    movements, balance = [], statement.before_minor
    for entry in statement.entries:
        balance += entry.amount_minor
        movements.append(Movement(day(entry.on), entry.what, entry.under, money.shown(entry.amount_minor), money.shown(balance)))
    buckets = figures.by_bucket(statement.open_items, today=today)
    late = sum(minor for bucket, minor in buckets.items() if bucket != Bucket.CURRENT)
    asked = f"{money.shown(open_minor)} is open" if open_minor else "Nothing is open"
    said = (
        f"{asked}, {money.shown(late)} of it past its day." if late else f"{asked}; nothing is past its day." if open_minor else f"{asked}."
    )
    rest = (
        f"{money.shown(statement.unapplied_minor)} that you have paid is not yet set against an invoice."
        if statement.unapplied_minor
        else ""
    )
    return Stated(
        company=ours,
        to=statement.payer.name,
        to_address=statement.payer.address,
        as_of=day(today),
        period=f"{day(statement.from_on)} to {day(statement.to_on)}",
        asked=said,
        later=rest,
        before=money.shown(statement.before_minor),
        movements=tuple(movements),
        balance=money.shown(statement.balance_minor),
        balance_under=statement.balance_under,
        items=tuple(_item(row, today) for row in statement.open_items),
        buckets=tuple(
            (f"{bucket.value} days" if bucket != Bucket.CURRENT else "not past due", money.shown(minor))
            for bucket, minor in buckets.items()
        ),
        open_total=money.shown(open_minor),
        how_to_pay=rules.text("payment_instructions"),
        foot=f"{ours.name}, statement of {statement.payer.name}, as of {day(today)}",
    )


def _item(row: figures.Receivable, today: dt.date) -> OpenItem:
    past = terms.days_past_due(row.due_on, as_of=today)
    disputed = row.invoice is not None and row.invoice.disputes.filter(ended_on__isnull=True).exists()
    under = ", ".join(
        part
        for part in (row.job.site.line, f"{words.count(past, 'day')} past due" if past > 0 else "", "disputed" if disputed else "")
        if part
    )
    return OpenItem(day(row.due_on), row.name, under, money.shown(row.left_minor))
