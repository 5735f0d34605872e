"""Payments, and what they are put to. Everything that lessens a debt is done under the lock of its payer's row."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from billing.models import Allocation, AllocationKind, Invoice, Milestone, Payer, Payment, PaymentMethod
from jobs.core import clock, money, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.refusals import Refused

Debt = Invoice | Milestone  # a released invoice, or an opening balance


@dataclass(frozen=True)
class Portion:
    """Part of a debt that is settled: by the money received, or with it by a lender's fee, a tax withheld or a write-off."""

    to: Debt
    amount_minor: int
    kind: str = AllocationKind.PAYMENT.value
    reason: str = ""


@act(right="core.bill", on=Payer)
def record_payment(
    payer: Payer,
    *,
    amount_minor: int,
    received_on: dt.date,
    reference: str,
    parts: Sequence[Portion],
    by: Actor,
    method: str = PaymentMethod.BANK,
    difference: str = "",
) -> Payment:
    """Money came in. What of it is put to nothing stays unapplied and stands on finance's Today.

    difference: what it was about where a remittance for several invoices does not settle all of them, or leaves a rest.
    """
    return enter(
        payer,
        amount_minor=amount_minor,
        received_on=received_on,
        reference=reference,
        parts=parts,
        method=method,
        difference=difference,
        by=by,
    )


def enter(
    payer: Payer,
    *,
    amount_minor: int,
    received_on: dt.date,
    reference: str,
    parts: Sequence[Portion],
    method: str,
    by: Actor,
    difference: str = "",
) -> Payment:
    """The rule behind record_payment, shared with the lines of a bank's file. The caller holds the payer's lock."""
    reference = " ".join(reference.split())
    if amount_minor <= 0:
        raise Refused("A payment must be more than zero.", field="amount_minor")
    if received_on > clock.office_today():
        raise Refused(f"{words.day(received_on)} has not come yet; wanted the day on which the money came in.", field="received_on")
    if method not in PaymentMethod.values:
        raise Refused(f"“{method}” is not a way to pay; wanted one of: {', '.join(PaymentMethod.values)}.", field="method")
    if find(payer, amount_minor=amount_minor, received_on=received_on, reference=reference) is not None:
        named = f" with the reference {reference}" if reference else ""
        raise Refused(
            f"{money.shown(amount_minor)} of {payer.name} on {words.day(received_on)}{named} is already on record. "
            "If it came a second time, give the second its own reference.",
            field="reference",
        )
    payment = Payment.objects.create(
        payer=payer,
        amount_minor=amount_minor,
        received_on=received_on,
        reference=reference,
        method=method,
        difference=" ".join(difference.split()),
        recorded_at=clock.now(),
        recorded_by_name=by.name,
    )
    _put(payer, payment, parts, by=by)
    _refuse_unexplained(payment, parts)
    return payment


def _refuse_unexplained(payment: Payment, parts: Sequence[Portion]) -> None:
    """A remittance for several invoices that does not come out even is explained while the letter is at hand."""
    debts = {(type(part.to), part.to.pk): part.to for part in parts}
    if len(debts) < 2 or payment.difference:
        return
    rest = Payment.objects.with_left().get(pk=payment.pk).left_minor
    short = {name_of(debt): left for debt in debts.values() if (left := left_of(debt))}
    if rest:
        raise Refused(f"{money.shown(rest)} of this remittance is put to nothing: say what the difference is about.", field="difference")
    if short:
        open_ = words.listed([f"{money.shown(left)} of {name}" for name, left in short.items()])
        raise Refused(f"{open_} stays open after this remittance: say what the difference is about.", field="difference")


def find(payer: Payer, *, amount_minor: int, received_on: dt.date, reference: str) -> Payment | None:
    """The payment of this natural key."""
    rows = Payment.objects.filter(payer=payer, amount_minor=amount_minor, received_on=received_on)
    return rows.filter(reference=" ".join(reference.split())).first()


@act(right="core.bill", on=Payer)
def apply_rest(payer: Payer, *, payment: Payment, parts: Sequence[Portion], by: Actor) -> Payment:
    """Put what is left of an earlier payment to debts of the same payer."""
    if payment.payer_id != payer.pk:
        raise Refused(f"This payment is not one of {payer.name}'s.")
    if not parts:
        raise Refused("Say what the rest is put to; at least one invoice.", field="parts")
    _put(payer, payment, parts, by=by)
    return payment


@act(right="core.bill", on=Payer)
def write_off(payer: Payer, *, debt: Debt, amount_minor: int, reason: str, by: Actor) -> Allocation:
    """Give up part of a debt, without money."""
    [allocation] = _put(payer, None, [Portion(debt, amount_minor, AllocationKind.WRITE_OFF, reason)], by=by)
    return allocation


def take_back(debt: Debt, amount_minor: int, *, because: str, by: Actor) -> None:
    """Take back what was put to a debt: money first, the newest first, then fees, taxes and write-offs. Nothing for zero or less."""
    rows = list(debt.allocations.filter(reverses__isnull=True).exclude(kind=AllocationKind.CREDIT).prefetch_related("reversals"))
    rows.sort(key=lambda row: (row.kind != AllocationKind.PAYMENT, -row.pk))
    for row in rows:
        if amount_minor <= 0:
            return
        amount_minor -= reverse(row, most_minor=amount_minor, because=because, by=by)
    assert amount_minor <= 0, "more is taken back than was put to it"


def reverse(row: Allocation, *, because: str, by: Actor, most_minor: int | None = None) -> int:
    """Take back an allocation, or so much of it as still stands and is asked for; gives how much."""
    stands = row.amount_minor + sum(reversal.amount_minor for reversal in row.reversals.all())
    amount = stands if most_minor is None else min(stands, most_minor)
    if amount <= 0:
        return 0
    Allocation.objects.create(
        reverses=row,
        payment_id=row.payment_id,
        invoice_id=row.invoice_id,
        milestone_id=row.milestone_id,
        amount_minor=-amount,
        kind=row.kind,
        reason=because,
        at=clock.now(),
        by_name=by.name,
    )
    return amount


def _put(payer: Payer, payment: Payment | None, parts: Sequence[Portion], *, by: Actor) -> list[Allocation]:
    for part in parts:
        _refuse_odd(payer, payment, part)
    _refuse_more_than_came(payment, parts)
    _refuse_more_than_open(parts)
    return [
        Allocation.objects.create(
            payment=payment,
            invoice=part.to if isinstance(part.to, Invoice) else None,
            milestone=part.to if isinstance(part.to, Milestone) else None,
            amount_minor=part.amount_minor,
            kind=part.kind,
            reason=part.reason.strip(),
            at=clock.now(),
            by_name=by.name,
        )
        for part in parts
    ]


def _refuse_odd(payer: Payer, payment: Payment | None, part: Portion) -> None:
    named = name_of(part.to)
    if part.kind not in AllocationKind.values or part.kind == AllocationKind.CREDIT:
        raise Refused(f"“{part.kind}” is not a kind; wanted one of: {', '.join(AllocationKind.values)}.", field="parts")
    if part.amount_minor <= 0:
        raise Refused(f"{named}: an amount of more than zero is wanted.", field="parts")
    if part.to.payer_id != payer.pk:
        raise Refused(f"{named} is not billed to {payer.name} but to {part.to.payer.name}.", field="parts")
    if isinstance(part.to, Invoice) and not part.to.released:
        raise Refused(f"The {named} is not released yet, so nothing can be put to it.", field="parts")
    if isinstance(part.to, Milestone) and not part.to.opening:
        raise Refused(f"{named} is not an opening balance; payments go to its invoice.", field="parts")
    if part.kind == AllocationKind.WRITE_OFF and not part.reason.strip():
        raise Refused(f"{named}: give the reason for the write-off; it stands in the books.", field="reason")
    if payment is None and part.kind != AllocationKind.WRITE_OFF:
        raise Refused(f"{named}: without a payment only a write-off can be recorded.", field="parts")


def _refuse_more_than_came(payment: Payment | None, parts: Sequence[Portion]) -> None:
    if payment is None:
        return
    put = sum(part.amount_minor for part in parts if part.kind == AllocationKind.PAYMENT)
    left = Payment.objects.with_left().get(pk=payment.pk).left_minor
    if put > left:
        raise Refused(
            f"The parts add up to {money.shown(put)}, which is {money.shown(put - left)} more than the {money.shown(left)} of this payment "
            "that can be put to something. Correct a part or the amount.",
            field="parts",
        )


def _refuse_more_than_open(parts: Sequence[Portion]) -> None:
    wanted: dict[tuple[type, int], int] = {}
    for part in parts:
        key = (type(part.to), part.to.pk)
        wanted[key] = wanted.get(key, 0) + part.amount_minor
    for part in parts:
        together, left = wanted[(type(part.to), part.to.pk)], left_of(part.to)
        if together > left:
            raise Refused(
                f"{name_of(part.to)} has {money.shown(left)} open, and {money.shown(together)} would be put to it: "
                f"{money.shown(together - left)} too much. Leave the rest unapplied.",
                field="parts",
            )


def left_of(debt: Debt) -> int:
    """What is still to be paid of it now."""
    if isinstance(debt, Invoice):
        return Invoice.objects.with_left().get(pk=debt.pk).left_minor
    return Milestone.objects.with_left().get(pk=debt.pk).left_minor


def name_of(debt: Debt) -> str:
    if isinstance(debt, Invoice):
        return f"Invoice {debt.number}" if debt.number else f"draft for {debt.milestone.name}"
    return f"Opening balance {debt.opening_ref}".strip()


def number_of(debt: Debt) -> str:
    """As its payer writes it on a payment."""
    return str(debt.number or "") if isinstance(debt, Invoice) else debt.opening_ref


def open_debts(payer: Payer) -> list[Debt]:
    """What the payer owes, the longest due first."""
    invoices = Invoice.objects.open().filter(payer=payer).select_related("job__site", "milestone", "payer")
    openings = Milestone.objects.open().filter(payer=payer).select_related("job__site", "payer")
    debts: list[Debt] = [*invoices, *openings]
    return sorted(debts, key=lambda debt: (due_of(debt), name_of(debt)))


def due_of(debt: Debt) -> dt.date:
    day = debt.due_on if isinstance(debt, Invoice) else debt.opening_due_on
    assert day is not None, "a debt has a due day"
    return day
