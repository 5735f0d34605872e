"""Money that goes back: refunded by us, or returned by the bank; and what was put to the wrong debt, taken off it again."""

from __future__ import annotations

import datetime as dt

from billing.models import Payer, Payment, SentBack, SentBackKind
from billing.payments import reverse
from jobs.core import clock, money, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.refusals import Refused


@act(right="core.bill", on=Payer)
def refund(payer: Payer, *, payment: Payment, amount_minor: int, on: dt.date, reference: str, reason: str, by: Actor) -> SentBack:
    """We sent back what of a payment is put to nothing: after a credit, or where too much came."""
    _refuse_other(payer, payment)
    left = Payment.objects.with_left().get(pk=payment.pk).left_minor
    if amount_minor <= 0:
        raise Refused("A refund must be more than zero.", field="amount_minor")
    if amount_minor > left:
        raise Refused(
            f"{money.shown(left)} of this payment is put to nothing, and {money.shown(amount_minor)} would be sent back. "
            "Credit the invoice first, or take the payment off it.",
            field="amount_minor",
        )
    return _send_back(payment, SentBackKind.REFUND, amount_minor, on=on, reference=reference, reason=reason, by=by)


@act(right="core.bill", on=Payer)
def record_returned(payer: Payer, *, payment: Payment, on: dt.date, reason: str, by: Actor) -> SentBack:
    """The bank took the payment back: what it had settled is open again, as of its old due day."""
    _refuse_other(payer, payment)
    gone = payment.sent_back.first()
    if gone is not None:
        raise Refused(
            f"{money.shown(gone.amount_minor)} of this payment went back on {words.day(gone.on)} already, "
            "so it cannot be returned whole; settle the rest with the payer."
        )
    for row in payment.allocations.filter(reverses__isnull=True).prefetch_related("reversals"):
        reverse(row, because=f"payment returned: {' '.join(reason.split())}"[:240], by=by)
    return _send_back(payment, SentBackKind.RETURNED, payment.amount_minor, on=on, reference="", reason=reason, by=by)


@act(right="core.bill", on=Payer)
def take_off(payer: Payer, *, payment: Payment, reason: str, by: Actor) -> Payment:
    """It was put to the wrong debt: all of it is unapplied again, and can be put to the right one."""
    _refuse_other(payer, payment)
    if not reason.strip():
        raise Refused("Say why; it stands with the payment.", field="reason")
    rows = payment.allocations.filter(reverses__isnull=True).prefetch_related("reversals")
    if not sum(reverse(row, because=" ".join(reason.split())[:240], by=by) for row in rows):
        raise Refused("Nothing of this payment is put to anything, so there is nothing to take off.")
    return payment


def _refuse_other(payer: Payer, payment: Payment) -> None:
    if payment.payer_id != payer.pk:
        raise Refused(f"This payment is not one of {payer.name}'s.")


def _send_back(payment: Payment, kind: str, amount_minor: int, *, on: dt.date, reference: str, reason: str, by: Actor) -> SentBack:
    if on > clock.office_today():
        raise Refused(f"{words.day(on)} has not come yet; wanted the day on which the money went.", field="on")
    if on < payment.received_on:
        raise Refused(f"It came on {words.day(payment.received_on)}; it cannot have gone back before.", field="on")
    if not reason.strip():
        raise Refused("Say why the money went back; it stands in the books.", field="reason")
    return SentBack.objects.create(
        payment=payment,
        kind=kind,
        amount_minor=amount_minor,
        on=on,
        reference=" ".join(reference.split()),
        reason=" ".join(reason.split()),
        at=clock.now(),
        by_name=by.name,
    )
