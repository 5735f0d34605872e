"""Which calls a list shows, and in what order: the same for page and export."""

from __future__ import annotations

import datetime as dt

import django_filters
from django.db.models import Case, F, Value, When

from jobs.appointments import times
from jobs.appointments.models import Appointment, AppointmentQuerySet, AppointmentState
from jobs.core import clock, rules, walltime
from jobs.core.forms import OfficeForm
from jobs.core.lists import DayFilter, ListFilter, Sort, sorts

SORTS = sorts(
    Sort("next", "Time, the next first", ("past", "ahead_at", "-starts_at", "pk"), of="time"),
    Sort("time", "Time, oldest first", ("starts_at", "pk")),
    Sort("-time", "Time, newest first", ("-starts_at", "-pk")),
    Sort("verifier", "Verifier, by name", ("verifier__name", "starts_at", "pk")),
    Sort("-verifier", "Verifier, by name backward", ("-verifier__name", "starts_at", "pk")),
    Sort("made", "Made, newest first", ("-made_at", "-pk")),
)
OPEN = "open"


class CallFilter(ListFilter):
    sorts = SORTS

    state = django_filters.ChoiceFilter(
        label="State", choices=[(OPEN, "open"), *AppointmentState.choices], empty_label="all", method="in_state"
    )
    verifier = django_filters.ChoiceFilter(label="Verifier", choices=lambda: _verifier_choices(), empty_label="all", method="of_verifier")
    from_on = DayFilter(label="From", field_name="local_date", lookup_expr="gte")
    to_on = DayFilter(label="To", field_name="local_date", lookup_expr="lte")
    job = django_filters.CharFilter(label="Job", field_name="job__code", lookup_expr="iexact")

    class Meta:
        model = Appointment
        form = OfficeForm
        fields: list[str] = []

    def in_state(self, rows: AppointmentQuerySet, name: str, value: str) -> AppointmentQuerySet:
        return rows.taking() if value == OPEN else rows.filter(state=value)

    def of_verifier(self, rows: AppointmentQuerySet, name: str, value: str) -> AppointmentQuerySet:
        return rows.filter(verifier__uid=value)

    def sortable(self, rows: AppointmentQuerySet) -> AppointmentQuerySet:
        if self.sort.key != "next":
            return rows
        # From today on, the next first; then what has been, the newest first.
        begins = dt.datetime.combine(clock.office_today(), dt.time(), walltime.zone_of(rules.text("office_zone")))
        return rows.annotate(
            past=Case(When(starts_at__gte=begins, then=Value(0)), default=Value(1)),
            ahead_at=Case(When(starts_at__gte=begins, then=F("starts_at"))),
        )

    @property
    def in_words(self) -> str:
        """What is shown, for the heading: "Calls, booked, not confirmed, of Mara Quist"."""
        told = self.told
        parts = ["Calls"]
        if told.get("state"):
            parts.append(OPEN if told["state"] == OPEN else AppointmentState(told["state"]).label)
        if told.get("verifier"):
            parts.append(f"of {dict(_verifier_choices()).get(told['verifier'], '')}")
        if told.get("job"):
            parts.append(f"job {told['job'].upper()}")
        return ", ".join(parts)


def _verifier_choices() -> list[tuple[str, str]]:
    return [(str(verifier.uid), verifier.name) for verifier in times.verifiers()]
