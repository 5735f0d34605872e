"""The page on which a payer is reminded of a late invoice: what they will read, then the button."""

from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from billing import reminders
from billing.invoice_views import seen_invoice
from billing.models import Invoice
from jobs.core.actors import actor
from jobs.core.refusals import Refused
from jobs.core.web import recorded, right


@right("core.bill")
@require_http_methods(["GET", "HEAD", "POST"])
def remind(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    one, refused = seen_invoice(request, uid), ""
    if request.method == "POST":
        try:
            reminders.remind(one, seen=request.POST.get("seen", ""), by=actor(request))
        except Refused as refusal:
            refused = str(refusal)
        else:
            return recorded(
                request, f"Recorded. {one.payer.name} is reminded of invoice {one.number}; it leaves in a minute.", "invoice", uid=uid
            )
    context = _what_leaves(one) | {"invoice": one, "refused": refused}
    return render(request, "billing/remind.html", context, status=422 if refused else 200)


def _what_leaves(one: Invoice) -> dict[str, object]:
    try:
        reminders.refuse_unless_late(one)
        shown = reminders.preview(one)
    except Refused as refusal:
        return {"fault": str(refusal)}
    return {"texts": shown, "seen": reminders.digest(shown)}
