"""One payer: what is open, what is unapplied, and the statement on paper."""

from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from billing import statement
from billing.models import Payer
from billing.pdf.statement import statement as statement_pdf
from jobs.core import clock
from jobs.core.actors import member
from jobs.core.forms import DayField, OfficeForm
from jobs.core.web import download, right


class StatementForm(OfficeForm):
    from_on = DayField(label="From")
    to_on = DayField(label="To")

    def clean(self) -> dict[str, object]:
        told: dict[str, object] = super().clean() or {}
        first, last = self.cleaned_data.get("from_on"), self.cleaned_data.get("to_on")
        if first and last and first > last:
            self.add_error("to_on", "The last day comes before the first. A later day is wanted.")
        return told


def _form(request: HttpRequest) -> StatementForm:
    today = clock.office_today()
    data = request.GET if "from_on" in request.GET or "to_on" in request.GET else None
    return StatementForm(data, initial={"from_on": today.replace(month=1, day=1), "to_on": today})


def _statement(request: HttpRequest, payer: Payer, form: StatementForm) -> statement.Statement:
    told = form.cleaned_data if form.is_bound and form.is_valid() else form.initial
    return statement.of(payer, from_on=told["from_on"], to_on=told["to_on"])


@right("core.see_money")
@require_safe
def payer(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    one = get_object_or_404(Payer.objects.seen_by(member(request)).select_related("person"), uid=uid)
    form = _form(request)
    told = _statement(request, one, form)
    balance, rows = told.before_minor, []
    for entry in told.entries:
        balance += entry.amount_minor
        rows.append((entry, balance))
    query = request.GET.urlencode()
    context = {
        "payer": one,
        "form": form,
        "statement": told,
        "rows": rows,
        "open": sum(row.left_minor for row in told.open_items),
        "pdf_url": reverse("statement_pdf", kwargs={"uid": uid}) + (f"?{query}" if query else ""),
        "may_bill": request.user.has_perm("core.bill"),
        "today": clock.office_today(),
    }
    return render(request, "billing/payer.html", context, status=422 if form.errors else 200)


@right("core.see_money")
@require_safe
def statement_paper(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    one = get_object_or_404(Payer.objects.seen_by(member(request)), uid=uid)
    told = _statement(request, one, _form(request))
    name = "".join(c if c.isalnum() and c.isascii() else "-" for c in one.name.lower()).strip("-")
    return download(statement_pdf(statement.paper(told)), f"statement-{name}-{told.to_on}.pdf", "application/pdf")
