"""Which invoices and payments a list shows, and in what order: the same for page and export."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import F

from billing.models import Invoice, Payment
from jobs.core import clock
from jobs.core.forms import OfficeForm
from jobs.core.lists import DayFilter, ListFilter, Sort, empty_last, sorts

INVOICE_SORTS = sorts(
    Sort("-number", "Invoice, drafts and newest first", (F("number").desc(nulls_first=True), "-pk")),
    Sort("number", "Invoice, oldest first", (empty_last("number"), "pk")),
    Sort("due", "Due, longest due first", (empty_last("due_on"), "number", "pk")),
    Sort("-due", "Due, latest first", (empty_last("-due_on"), "-number", "-pk")),
    Sort("-amount", "Amount, largest first", ("-amount_minor", "-pk")),
    Sort("amount", "Amount, smallest first", ("amount_minor", "pk")),
    Sort("payer", "Payer, by name", ("payer__name", "number", "pk")),
    Sort("-payer", "Payer, by name backward", ("-payer__name", "number", "pk")),
)
PAYMENT_SORTS = sorts(
    Sort("-received", "Received, newest first", ("-received_on", "-pk")),
    Sort("received", "Received, oldest first", ("received_on", "pk")),
    Sort("-amount", "Amount, largest first", ("-amount_minor", "-pk")),
    Sort("amount", "Amount, smallest first", ("amount_minor", "pk")),
    Sort("payer", "Payer, by name", ("payer__name", "-received_on", "-pk")),
    Sort("-payer", "Payer, by name backward", ("-payer__name", "-received_on", "-pk")),
)
STATES = {
    "draft": "draft",
    "open": "open",
    "overdue": "overdue",
    "disputed": "disputed",
    "part": "paid in part",
    "paid": "paid",
    "credited": "credited",
}


class InvoiceFilter(ListFilter):
    sorts = INVOICE_SORTS

    state = django_filters.ChoiceFilter(label="State", choices=list(STATES.items()), empty_label="all", method="in_state")
    payer = django_filters.CharFilter(label="Payer", field_name="payer__name", lookup_expr="icontains")
    job = django_filters.CharFilter(label="Job", field_name="job__code", lookup_expr="iexact")
    issued_from = DayFilter(label="Issued from", field_name="issued_on", lookup_expr="gte")
    issued_to = DayFilter(label="to", field_name="issued_on", lookup_expr="lte")

    class Meta:
        model = Invoice
        form = OfficeForm
        fields: list[str] = []

    def in_state(self, rows: Any, name: str, value: str) -> Any:
        if value == "draft":
            return rows.drafts()
        if value == "paid":
            return rows.paid().filter(bills__isnull=False)
        if value == "credited":
            return rows.released().filter(bills__isnull=True)
        if value == "disputed":
            return rows.disputed()
        if value == "overdue":
            return rows.open().filter(due_on__lt=clock.office_today())
        if value == "part":
            return rows.part_paid()
        return rows.open()

    @property
    def in_words(self) -> str:
        """For the heading: "Invoices, overdue, payer Sunlit"."""
        told = self.told
        parts = ["Invoices"]
        if told.get("state"):
            parts.append(STATES[told["state"]])
        if told.get("payer"):
            parts.append(f"payer {told['payer']}")
        if told.get("job"):
            parts.append(f"job {told['job'].upper()}")
        if told.get("issued_from") or told.get("issued_to"):
            parts.append("issued in the days chosen")
        return ", ".join(parts)


class PaymentFilter(ListFilter):
    sorts = PAYMENT_SORTS

    payer = django_filters.CharFilter(label="Payer", field_name="payer__name", lookup_expr="icontains")
    reference = django_filters.CharFilter(label="Reference", lookup_expr="icontains")
    received_from = DayFilter(label="Received from", field_name="received_on", lookup_expr="gte")
    received_to = DayFilter(label="to", field_name="received_on", lookup_expr="lte")
    unapplied = django_filters.ChoiceFilter(label="Rest", choices=[("yes", "something unapplied")], empty_label="all", method="with_rest")

    class Meta:
        model = Payment
        form = OfficeForm
        fields: list[str] = []

    def with_rest(self, rows: Any, name: str, value: str) -> Any:
        return rows.unapplied()

    @property
    def in_words(self) -> str:
        told = self.told
        parts = ["Payments"]
        if told.get("unapplied"):
            parts.append("something unapplied")
        if told.get("payer"):
            parts.append(f"payer {told['payer']}")
        if told.get("reference"):
            parts.append(f"reference {told['reference']}")
        return ", ".join(parts)
