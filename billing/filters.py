"""Which invoices and payments a list shows, and in what order: the same for page and export."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import F

from billing.models import Invoice, Payment
from jobs.core import clock
from jobs.core.forms import DayField, OfficeForm

# What the address says, the columns, and how the list says it is sorted.
Orders = dict[str, tuple[tuple[Any, ...], str]]
INVOICE_SORTS: Orders = {
    "-number": ((F("number").desc(nulls_first=True), "-pk"), "By number, drafts and newest first"),
    "number": ((F("number").asc(nulls_last=True), "pk"), "By number, oldest first"),
    "due": ((F("due_on").asc(nulls_last=True), "number", "pk"), "By due day, longest due first"),
    "-amount": (("-amount_minor", "-pk"), "By amount, largest first"),
    "payer": (("payer__name", "number", "pk"), "By payer"),
}
PAYMENT_SORTS: Orders = {
    "-received": (("-received_on", "-pk"), "By day received, newest first"),
    "received": (("received_on", "pk"), "By day received, oldest first"),
    "-amount": (("-amount_minor", "-pk"), "By amount, largest first"),
    "payer": (("payer__name", "-received_on", "-pk"), "By payer"),
}
STATES = {"draft": "draft", "open": "open", "overdue": "overdue", "part": "paid in part", "paid": "paid"}


class DayFilter(django_filters.Filter):  # type: ignore[misc]
    field_class = DayField


def _sort(sorts: Orders) -> Any:
    choices = [(name, words) for name, (_, words) in sorts.items()]
    return django_filters.ChoiceFilter(label="Order", choices=choices, empty_label=None, method="sorted", initial=next(iter(sorts)))


class _List(django_filters.FilterSet):  # type: ignore[misc]
    sorts: Orders = {}

    def sorted(self, rows: Any, name: str, value: str) -> Any:
        return rows.order_by(*self.sorts[value][0])

    @property
    def told(self) -> dict[str, Any]:
        return self.form.cleaned_data if self.form.is_bound and self.form.is_valid() else {}

    @property
    def sort_words(self) -> str:
        first = next(iter(self.sorts))
        return self.sorts[self.told.get("sort") or first][1]

    @property
    def rows(self) -> Any:
        """The rows in the order said; nothing where a word of the filter cannot be read."""
        if self.form.is_bound and not self.form.is_valid():
            return self.queryset.none()
        found = self.qs
        return found if self.told.get("sort") else found.order_by(*self.sorts[next(iter(self.sorts))][0])


class InvoiceFilter(_List):
    sorts = INVOICE_SORTS

    state = django_filters.ChoiceFilter(label="State", choices=list(STATES.items()), empty_label="all", method="in_state")
    payer = django_filters.CharFilter(label="Payer", field_name="payer__name", lookup_expr="icontains")
    job = django_filters.CharFilter(label="Job", field_name="job__code", lookup_expr="iexact")
    issued_from = DayFilter(label="Issued from", field_name="issued_on", lookup_expr="gte")
    issued_to = DayFilter(label="to", field_name="issued_on", lookup_expr="lte")
    sort = _sort(INVOICE_SORTS)

    class Meta:
        model = Invoice
        form = OfficeForm
        fields: list[str] = []

    def in_state(self, rows: Any, name: str, value: str) -> Any:
        if value == "draft":
            return rows.drafts()
        if value == "paid":
            return rows.paid()
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


class PaymentFilter(_List):
    sorts = PAYMENT_SORTS

    payer = django_filters.CharFilter(label="Payer", field_name="payer__name", lookup_expr="icontains")
    reference = django_filters.CharFilter(label="Reference", lookup_expr="icontains")
    received_from = DayFilter(label="Received from", field_name="received_on", lookup_expr="gte")
    received_to = DayFilter(label="to", field_name="received_on", lookup_expr="lte")
    unapplied = django_filters.ChoiceFilter(label="Rest", choices=[("yes", "something unapplied")], empty_label="all", method="with_rest")
    sort = _sort(PAYMENT_SORTS)

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
