"""Which calls a list shows, and in what order: the same for page and export."""

from __future__ import annotations

import datetime as dt
from typing import Any

import django_filters
from django.db.models import Case, F, Value, When

from jobs.appointments import times
from jobs.appointments.models import Appointment, AppointmentQuerySet, AppointmentState
from jobs.core import clock, rules, walltime
from jobs.core.forms import DayField

# What the address says, and how the heading reads when the list is sorted by it.
SORTS = {
    "next": "Time, the next first",
    "time": "Time, oldest first",
    "-time": "Time, newest first",
    "verifier": "Verifier, by name",
    "made": "Made, newest first",
}
DEFAULT_SORT = "next"
OPEN = "open"


class DayFilter(django_filters.Filter):  # type: ignore[misc]
    field_class = DayField


class CallFilter(django_filters.FilterSet):  # type: ignore[misc]
    state = django_filters.ChoiceFilter(
        label="State", choices=[(OPEN, "open"), *AppointmentState.choices], empty_label="all", method="in_state"
    )
    verifier = django_filters.ChoiceFilter(label="Verifier", choices=lambda: _verifier_choices(), empty_label="all", method="of_verifier")
    from_on = DayFilter(label="From", field_name="local_date", lookup_expr="gte")
    to_on = DayFilter(label="To", field_name="local_date", lookup_expr="lte")
    job = django_filters.CharFilter(label="Job", field_name="job__code", lookup_expr="iexact")
    sort = django_filters.ChoiceFilter(label="Order", choices=list(SORTS.items()), empty_label=None, method="sorted", initial=DEFAULT_SORT)

    class Meta:
        model = Appointment
        fields: list[str] = []

    def in_state(self, rows: AppointmentQuerySet, name: str, value: str) -> AppointmentQuerySet:
        return rows.taking() if value == OPEN else rows.filter(state=value)

    def of_verifier(self, rows: AppointmentQuerySet, name: str, value: str) -> AppointmentQuerySet:
        return rows.filter(verifier__uid=value)

    def sorted(self, rows: AppointmentQuerySet, name: str, value: str) -> AppointmentQuerySet:
        return in_order(rows, value)

    @property
    def in_words(self) -> str:
        """What is shown, for the heading: "Calls, booked, not confirmed, of Mara Quist"."""
        told: dict[str, Any] = self.form.cleaned_data if self.form.is_bound and self.form.is_valid() else {}
        parts = ["Calls"]
        if told.get("state"):
            parts.append(OPEN if told["state"] == OPEN else AppointmentState(told["state"]).label)
        if told.get("verifier"):
            parts.append(f"of {dict(_verifier_choices()).get(told['verifier'], '')}")
        if told.get("job"):
            parts.append(f"job {told['job'].upper()}")
        return ", ".join(parts)


def in_order(rows: AppointmentQuerySet, sort: str) -> AppointmentQuerySet:
    if sort == "time":
        return rows.order_by("starts_at", "pk")
    if sort == "-time":
        return rows.order_by("-starts_at", "-pk")
    if sort == "verifier":
        return rows.order_by("verifier__name", "starts_at", "pk")
    if sort == "made":
        return rows.order_by("-made_at", "-pk")
    # From today on, the next first; then what has been, the newest first.
    begins = dt.datetime.combine(clock.office_today(), dt.time(), walltime.zone_of(rules.text("office_zone")))
    return rows.annotate(
        past=Case(When(starts_at__gte=begins, then=Value(0)), default=Value(1)),
        ahead_at=Case(When(starts_at__gte=begins, then=F("starts_at"))),
    ).order_by("past", "ahead_at", "-starts_at", "pk")


def _verifier_choices() -> list[tuple[str, str]]:
    return [(str(verifier.uid), verifier.name) for verifier in times.verifiers()]
