"""Payments on pages: the list, one payment and its rest, and a new one put to the payer's open invoices."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import Q, Sum
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from billing import exports, payments
from billing.filters import PaymentFilter
from billing.forms import ChoosePayerForm, PartsForm, PaymentForm
from billing.models import BankLine, Payer, Payment, PaymentQuerySet
from jobs.core import clock, lists, money
from jobs.core.actors import actor, member
from jobs.core.refusals import Refused
from jobs.core.web import recorded, right

MOST_PAYERS = 20
COLUMNS = (
    ("Received", "received", "m"), ("Payer", "payer", ""), ("Reference", "", ""), ("Put to", "", ""), ("Amount", "amount", "num"),
    ("Unapplied", "", "num"), ("Next act", "", "act"),
)  # fmt: skip


def seen_by(request: HttpRequest) -> PaymentQuerySet:
    return Payment.objects.seen_by(member(request)).with_left().select_related("payer__person")


@right("core.see_money")
@require_safe
def payment_list(request: HttpRequest) -> HttpResponse:
    found = PaymentFilter(request.GET or None, queryset=seen_by(request))
    rows = found.rows.prefetch_related("allocations__invoice", "allocations__milestone")
    sheet = lists.sheet_of(request.GET, rows, sort=found.sort, columns=COLUMNS)
    page = sheet["page"]
    context = sheet | {
        "form": found.form,
        "heading": found.in_words,
        "today": clock.office_today(),
        "page_amount": sum(payment.amount_minor for payment in page),
        "page_left": sum(payment.left_minor for payment in page),
        "totals": _totals(found.rows) if lists.totals_told(page, request.GET, "received_from") else None,
        "may_bill": request.user.has_perm("core.bill"),
        "lines": BankLine.objects.open().count() if request.user.has_perm("core.bill") else 0,
    }
    return render(request, "billing/payments.html", context, status=422 if found.refused else 200)


def _totals(rows: PaymentQuerySet) -> dict[str, int]:
    """Over all pages."""
    sums = rows.order_by().aggregate(amount=Sum("amount_minor"), left=Sum("left_minor"))
    return {name: minor or 0 for name, minor in sums.items()}


@right("core.see_money")
@require_safe
def payments_export(request: HttpRequest, ending: str) -> HttpResponseBase:
    found = PaymentFilter(request.GET or None, queryset=seen_by(request))
    if found.refused:
        return lists.back_to_the_list(request, "payments")
    return lists.table_file("payments", ending, exports.PAYMENTS, exports.payment_lines(found.rows), given=request.GET)


@right("core.see_money")
@require_safe
def payment(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    return _page(request, get_object_or_404(seen_by(request), uid=uid))


def _page(request: HttpRequest, one: Payment, *, form: PartsForm | None = None) -> HttpResponse:
    may_apply = request.user.has_perm("core.bill") and one.left_minor > 0
    context = {
        "payment": one,
        "allocations": one.allocations.select_related("invoice", "milestone__job"),
        "sent_back": one.sent_back.all(),
        "put": sum(row.amount_minor for row in one.allocations.all()),
        "may_bill": request.user.has_perm("core.bill"),
        "form": form or (PartsForm(debts=payments.open_debts(one.payer), money_only=True) if may_apply else None),
        "may_apply": may_apply,
        "today": clock.office_today(),
    }
    return render(request, "billing/payment.html", context, status=422 if form is not None else 200)


@right("core.bill")
@require_http_methods(["POST"])
def payment_apply(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    """Put the rest of a payment to open invoices."""
    one = get_object_or_404(seen_by(request), uid=uid)
    form = PartsForm(request.POST, debts=payments.open_debts(one.payer), money_only=True)
    if form.is_valid():
        try:
            payments.apply_rest(one.payer, payment=one, parts=form.portions(), by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, "Recorded. The rest is put to what it paid.", "payment", uid=uid)
    return _page(request, one, form=form)


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def payment_new(request: HttpRequest) -> HttpResponse:
    """First the payer, found by name, home or invoice number; then what came in and what it is put to."""
    chosen = request.GET.get("payer", "")
    if not chosen:
        return _choose(request)
    payer = get_object_or_404(Payer.objects.seen_by(member(request)).select_related("person"), uid=_uid(chosen))
    debts = payments.open_debts(payer)
    form = PaymentForm(request.POST or None, debts=debts, initial={"received_on": clock.office_today()})
    if request.method == "POST" and form.is_valid():
        try:
            done = payments.record_payment(payer, **form.cleaned_data, parts=form.parts.portions(), by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Recorded. {_done(done)}", "payment", uid=done.uid)
    context = {"payer": payer, "form": form, "debts": debts, "today": clock.office_today(), "total": sum(debt.left_minor for debt in debts)}
    refused = request.method == "POST"
    return render(request, "billing/payment_new.html", context, status=422 if refused else 200)


def _uid(text: str) -> uuid.UUID:
    try:
        return uuid.UUID(text)
    except ValueError:
        raise Http404("There is no such payer.") from None


def _done(done: Payment) -> str:
    left = Payment.objects.with_left().get(pk=done.pk).left_minor
    rest = f"; {money.shown(left)} of it is unapplied" if left else ""
    return f"{money.shown(done.amount_minor)} of {done.payer.name}{rest}."


def _choose(request: HttpRequest) -> HttpResponse:
    form = ChoosePayerForm(request.GET if "q" in request.GET else None)
    found: list[Payer] = []
    asked = form.is_bound and form.is_valid()
    if asked:
        found = _payers(form.cleaned_data["q"].strip())
    context: dict[str, Any] = {
        "form": form,
        "asked": asked,
        "found": [(payer, payments.open_debts(payer), f"{reverse('payment_new')}?payer={payer.uid}") for payer in found],
    }
    return render(request, "billing/payment_payer.html", context, status=422 if form.errors else 200)


def _payers(text: str) -> list[Payer]:
    named = Q(name__icontains=text) | Q(invoices__job__code__iexact=text) | Q(milestones__job__site__street__icontains=text)
    if text.isdecimal() and len(text) < 19:
        named |= Q(invoices__number=int(text))
    pks = Payer.objects.filter(named).order_by().values("pk").distinct()
    return list(Payer.objects.filter(pk__in=pks).order_by("name", "pk")[:MOST_PAYERS])
