"""How lists of requests and utilities are narrowed and sorted: by page, by file and by command alike."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import django_filters
from django.db.models import Count, Min, Q, QuerySet

from jobs.core import codes
from jobs.core.forms import OfficeForm
from jobs.core.lists import DayFilter, ListFilter, Sort, as_query, between, empty_last, sorts
from jobs.core.models import Party, User
from utilities import said
from utilities.models import FitRequest, Outcome, Sending, Utility, UtilityKind
from utilities.models.requests import FitRequestQuerySet
from utilities.models.utility import UtilityQuerySet

ALL = "all"
OUTCOMES = [
    (Outcome.OPEN.value, "open"),
    (Outcome.FITTED.value, "fitted"),
    (Outcome.CANCELLED.value, "ended without fitting"),
    (ALL, "all"),
]
OF = [("jobs", "of our jobs"), ("history", "history without a job")]


REQUEST_SORTS = sorts(
    Sort("sent", "Sent, oldest first", ("filed_on", "code")),
    Sort("-sent", "Sent, newest first", ("-filed_on", "code")),
    Sort("half", "Half by, soonest first", said.SOONEST_HALF),
    Sort("-half", "Half by, latest first", (empty_last("-half_on"), "filed_on", "code")),
    Sort("utility", "Utility, by name", ("utility__name", "filed_on", "code")),
    Sort("-utility", "Utility, by name backward", ("-utility__name", "filed_on", "code")),
    Sort("ended", "Ended, oldest first", (empty_last("ended_on"), "code")),
    Sort("-ended", "Ended, newest first", (empty_last("-ended_on"), "code")),
    Sort("request", "Request, by code", ("code",)),
    Sort("-request", "Request, by code backward", ("-code",)),
)
UTILITY_SORTS = sorts(
    Sort("name", "Utility, by name", ("name",)),
    Sort("-name", "Utility, by name backward", ("-name",)),
    Sort("-open", "Open, most first", ("-open_now", "name")),
    Sort("open", "Open, fewest first", ("open_now", "name")),
    Sort("oldest", "Oldest sent, oldest first", (empty_last("oldest_on"), "name")),
    Sort("-oldest", "Oldest sent, newest first", (empty_last("-oldest_on"), "name")),
)


class RequestFilter(ListFilter):
    sorts = REQUEST_SORTS

    outcome = django_filters.ChoiceFilter(
        label="Outcome", choices=OUTCOMES, method="by_outcome", empty_label=None, initial=Outcome.OPEN.value
    )
    utility = django_filters.ModelChoiceFilter(
        label="Utility", queryset=Utility.objects.order_by("name"), to_field_name="uid", empty_label="any"
    )
    of = django_filters.ChoiceFilter(label="Which", choices=OF, method="by_of", empty_label="any")
    sent_from = DayFilter(label="Sent, from", field_name="filed_on", lookup_expr="gte")
    sent_to = DayFilter(label="to", field_name="filed_on", lookup_expr="lte")
    text = django_filters.CharFilter(label="Name, street, meter or number", method="by_text")

    class Meta:
        model = FitRequest
        fields: list[str] = []
        form = OfficeForm

    def sortable(self, rows: FitRequestQuerySet) -> FitRequestQuerySet:
        return said.with_half(rows) if self.sort.column == "half" else rows

    def by_outcome(self, rows: FitRequestQuerySet, name: str, value: str) -> FitRequestQuerySet:
        return rows if value == ALL else rows.filter(outcome=value)

    def by_of(self, rows: FitRequestQuerySet, name: str, value: str) -> FitRequestQuerySet:
        return rows.filter(job__isnull=value == "history")

    def by_text(self, rows: FitRequestQuerySet, name: str, value: str) -> FitRequestQuerySet:
        typed, code = value.strip(), codes.normal(value)
        return rows.filter(
            Q(code=code)
            | Q(job__code=code)
            | Q(job__contractor_number__iexact=typed)
            | Q(utility_reference__iexact=typed)
            | Q(own_reference__iexact=typed)
            | Q(service__meter_number__icontains=typed)
            | Q(job__site__street__icontains=typed)
            | Q(job__in=Party.objects.filter(person__name__icontains=typed).values("job"))
            | Q(pk__in=Sending.objects.filter(reference__iexact=typed).values("request"))
        )


class UtilityFilter(ListFilter):
    """Each utility with `open_now`, how many requests are open there, and `oldest_on`, the day of the oldest one."""

    sorts = UTILITY_SORTS

    text = django_filters.CharFilter(label="Name", field_name="name", lookup_expr="icontains")
    kind = django_filters.ChoiceFilter(label="Kind", choices=UtilityKind.choices, empty_label="any")
    lacks = django_filters.ChoiceFilter(label="Missing", choices=[("emergency", "emergency line"), ("clerk", "somebody who asks")],
                                        method="by_lack", empty_label="-")  # fmt: skip

    class Meta:
        model = Utility
        fields: list[str] = []
        form = OfficeForm

    def by_lack(self, rows: UtilityQuerySet, name: str, value: str) -> UtilityQuerySet:
        return rows.filter(emergency_phone="") if value == "emergency" else rows.filter(clerk__isnull=True, stand_in__isnull=True)

    def sortable(self, rows: UtilityQuerySet) -> QuerySet[Utility]:
        still = Q(requests__outcome=Outcome.OPEN)
        return rows.annotate(open_now=Count("requests", filter=still), oldest_on=Min("requests__filed_on", filter=still))


def requests(user: User | None, given: Mapping[str, Any]) -> RequestFilter:
    """Of the requests that the person sees; user None: a command's. Without a word about the outcome the open ones are meant."""
    rows = (FitRequest.objects.all() if user is None else FitRequest.objects.seen_by(user)).waits()
    data = as_query(given)
    data.setdefault("outcome", Outcome.OPEN.value)
    return RequestFilter(data, queryset=rows)


def utilities(user: User | None, given: Mapping[str, Any]) -> UtilityFilter:
    return UtilityFilter(as_query(given), queryset=Utility.objects.all() if user is None else Utility.objects.seen_by(user))


def in_words(narrowing: RequestFilter) -> str:
    """The list's heading: "Open requests at Ottermere Municipal Light, sent 3 June 2026 or later"."""
    if narrowing.refused:
        return "Requests"
    told = narrowing.told
    outcome = told.get("outcome") or Outcome.OPEN
    said = {Outcome.OPEN: "Open requests", Outcome.FITTED: "Fitted requests", Outcome.CANCELLED: "Requests ended without fitting"}
    parts = [said.get(outcome, "All requests")]
    if told.get("utility"):
        parts[0] += f" at {told['utility']}"
    if told.get("of"):
        parts.append(dict(OF)[told["of"]])
    if days := between(told.get("sent_from"), told.get("sent_to")):
        parts.append(f"sent {days}")
    if told.get("text"):
        parts.append(f"with “{told['text']}”")
    return ", ".join(parts)
