"""Money of a payment that goes back, and a payment taken off what it was put to."""

from __future__ import annotations

import uuid

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from billing import moneyback
from billing.asking import ask
from billing.models import Payment
from billing.payment_views import seen_by
from jobs.core import clock, money
from jobs.core.actors import actor
from jobs.core.forms import DayField, MoneyField, OfficeForm
from jobs.core.web import right


class RefundForm(OfficeForm):
    amount_minor = MoneyField(label="Amount sent back", least_minor=1)
    on = DayField(label="Sent back on")
    reference = forms.CharField(label="Reference", max_length=120, required=False, help_text="Of the check or the transfer.")
    reason = forms.CharField(label="Why", max_length=240)


class ReturnedForm(OfficeForm):
    on = DayField(label="Returned on")
    reason = forms.CharField(label="What the bank says", max_length=240)


class TakeOffForm(OfficeForm):
    reason = forms.CharField(label="Why", max_length=240)


def _back(one: Payment) -> str:
    return reverse("payment", kwargs={"uid": one.uid})


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def refund(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    one = get_object_or_404(seen_by(request), uid=uid)

    def do(told: dict[str, object]) -> str:
        back = moneyback.refund(one.payer, payment=one, **told, by=actor(request))  # type: ignore[arg-type]
        return f"Recorded. {money.shown(back.amount_minor)} went back to {one.payer.name}."

    return ask(
        request,
        RefundForm(request.POST or None, initial={"amount_minor": one.left_minor or None, "on": clock.office_today()}),
        do,
        heading=f"Refund to {one.payer.name}",
        margin="Refund",
        happens=[
            f"{money.shown(one.left_minor)} of this payment is put to nothing and can be sent back. "
            "The money is sent by your bank; here it is recorded that it was."
        ],
        act="Record the refund",
        keep="Leave it unapplied",
        back=_back(one),
    )


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def returned(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    one = get_object_or_404(seen_by(request), uid=uid)

    def do(told: dict[str, object]) -> str:
        moneyback.record_returned(one.payer, payment=one, **told, by=actor(request))  # type: ignore[arg-type]
        return (
            f"Recorded. {money.shown(one.amount_minor)} of {one.payer.name} was returned; what it had settled is open again.{_waived(one)}"
        )

    return ask(
        request,
        ReturnedForm(request.POST or None, initial={"on": clock.office_today()}),
        do,
        heading=f"The bank returned this payment of {one.payer.name}",
        margin="Returned",
        happens=[
            f"All {money.shown(one.amount_minor)} is gone. What it had settled is open again as of its old due day.",
            _waived(one).strip(),
        ],
        act="Record that it was returned",
        keep="It was not returned",
        back=_back(one),
    )


def _waived(one: Payment) -> str:
    """Said plainly: what was signed for this money cannot be taken back here."""
    numbers = sorted(
        {
            row.invoice.number or 0
            for row in one.allocations.select_related("invoice").prefetch_related("invoice__waivers")
            if row.invoice is not None and any(waiver.kind.startswith("unconditional") for waiver in row.invoice.waivers.all())
        }
    )
    return f" An unconditional waiver was made for invoice {', '.join(map(str, numbers))}: ask counsel." if numbers else ""


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def take_off(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    one = get_object_or_404(seen_by(request), uid=uid)

    def do(told: dict[str, object]) -> str:
        moneyback.take_off(one.payer, payment=one, reason=str(told["reason"]), by=actor(request))
        return "Recorded. The payment is unapplied again."

    return ask(
        request,
        TakeOffForm(request.POST or None),
        do,
        heading=f"Take this payment of {one.payer.name} off what it was put to",
        margin="Take off",
        happens=["All of it becomes unapplied, its fees with it, and what it had settled is open again. Then put it to what it paid."],
        act="Take it off",
        keep="Leave it where it is",
        back=_back(one),
    )
