"""How a list of jobs is narrowed and sorted: by page, by file and by command alike."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import django_filters
from django.db.models import OuterRef, Q, Subquery

from jobs.core import clock, words
from jobs.core.forms import OfficeForm
from jobs.core.lists import DayFilter, ListFilter, Sort, as_query, between, empty_last, sorts
from jobs.core.models import Crew, Hold, Job, Party, User
from jobs.core.models.job import STATE_CHOICES, JobQuerySet
from jobs.core.models.people import PartyRole
from jobs.core.rights import CREW, SCHEDULER, VERIFIER
from jobs.core.states import S
from jobs.core.waiting import HOMEOWNER, US, UTILITY
from utilities.models import Service, Utility

OPEN = "open"
NO_ACT = "none"
NOT_IN_THE_FORM = ("act", "held", "install_on")  # what links from Today narrow by
WAITING_ON = [(US, "us"), (UTILITY, "the utility"), (HOMEOWNER, "the homeowner")]


SORTS = sorts(
    Sort("since", "Since, oldest first", ("waiting_since", "code")),
    Sort("-since", "Since, newest first", ("-waiting_since", "code")),
    Sort("due", "Due, earliest first", (empty_last("next_due_on"), "code")),
    Sort("-due", "Due, latest first", (empty_last("-next_due_on"), "code")),
    Sort("job", "Job, by code", ("code",)),
    Sort("-job", "Job, by code backward", ("-code",)),
    Sort("street", "Street, by name", ("site__street", "code")),
    Sort("-street", "Street, by name backward", ("-site__street", "code")),
    Sort("person", "Person, by name", (empty_last("owner_name"), "code")),
    Sort("-person", "Person, by name backward", (empty_last("-owner_name"), "code")),
)


class JobFilter(ListFilter):
    sorts = SORTS

    state = django_filters.ChoiceFilter(label="State", choices=[(OPEN, "all open"), *STATE_CHOICES], method="by_state", empty_label="any")
    utility = django_filters.ModelChoiceFilter(
        label="Utility", queryset=Utility.objects.order_by("name"), to_field_name="uid", method="by_utility", empty_label="any"
    )
    waiting_on = django_filters.ChoiceFilter(label="Waiting on", choices=WAITING_ON, empty_label="any")
    role = django_filters.ChoiceFilter(
        label="Next act by", field_name="next_role", choices=[(role, role) for role in (SCHEDULER, CREW, VERIFIER)], empty_label="any"
    )
    crew = django_filters.ModelChoiceFilter(label="Crew", queryset=Crew.objects.order_by("name"), to_field_name="name", empty_label="any")
    since_from = DayFilter(label="Since, from", field_name="waiting_since", lookup_expr="gte")
    since_to = DayFilter(label="Since, to", field_name="waiting_since", lookup_expr="lte")
    due_to = DayFilter(label="Due by", field_name="next_due_on", lookup_expr="lte")
    text = django_filters.CharFilter(label="Name, street or number", method="by_text")
    act = django_filters.CharFilter(method="by_act")
    held = django_filters.ChoiceFilter(choices=[("standing", "standing"), ("review", "review")], method="by_hold")
    install_on = DayFilter(field_name="install_on")

    class Meta:
        model = Job
        fields: list[str] = []
        form = OfficeForm

    def by_state(self, jobs: JobQuerySet, name: str, value: str) -> JobQuerySet:
        return jobs.open() if value == OPEN else jobs.filter(state=value)

    def by_utility(self, jobs: JobQuerySet, name: str, value: Utility) -> JobQuerySet:
        return jobs.filter(pk__in=Service.objects.filter(utility=value).values("job"))

    def by_text(self, jobs: JobQuerySet, name: str, value: str) -> JobQuerySet:
        return jobs.filter(
            Q(code__iexact=value.strip())
            | Q(contractor_number__iexact=value.strip())
            | Q(site__street__icontains=value)
            | Q(pk__in=Party.objects.filter(person__name__icontains=value).values("job"))
        )

    def by_act(self, jobs: JobQuerySet, name: str, value: str) -> JobQuerySet:
        return jobs.open().filter(Q(next_act="") | Q(next_due_on__isnull=True)) if value == NO_ACT else jobs.filter(next_act=value)

    def by_hold(self, jobs: JobQuerySet, name: str, value: str) -> JobQuerySet:
        standing = Hold.objects.standing(clock.office_today())
        if value == "review":
            standing = standing.filter(review_on__lte=clock.office_today())
        return jobs.filter(pk__in=standing.values("job"))

    def sortable(self, rows: JobQuerySet) -> JobQuerySet:
        if self.sort.column != "person":
            return rows
        owner = Party.objects.filter(job=OuterRef("pk"), role=PartyRole.OWNER, to_on__isnull=True).order_by("pk")
        return rows.annotate(owner_name=Subquery(owner.values("person__name")[:1]))


def narrowed(user: User | None, given: Mapping[str, Any]) -> JobFilter:
    """Of the jobs that the person sees; user None: a command's."""
    narrowing = JobFilter(as_query(given), queryset=Job.objects.all() if user is None else Job.objects.seen_by(user))
    if user is not None:
        _leave_out(narrowing, user)
    return narrowing


def _leave_out(narrowing: JobFilter, user: User) -> None:
    """A crew sees its own jobs: what tells of others' does not stand in its form."""
    if not user.has_perm("core.see_utilities"):
        del narrowing.form.fields["utility"]
    if not user.has_perm("core.see_jobs"):
        del narrowing.form.fields["crew"]


def in_words(narrowing: JobFilter, *, today: dt.date) -> str:
    """The list's heading: "Jobs awaiting utility at Ottermere Municipal Light, waiting on us, since 3 June 2026 or later"."""
    if narrowing.refused:
        return "Jobs"
    given = narrowing.told
    state = given.get("state") or ""
    said = [{"": "Jobs", OPEN: "Open jobs"}.get(state) or f"Jobs {_in_state(state)}"]
    if utility := given.get("utility"):
        said[0] += f" at {utility}"
    if crew := given.get("crew"):
        said[0] += f" of {crew}"
    if on := given.get("waiting_on"):
        said.append(f"waiting on {dict(WAITING_ON)[on]}")
    if role := given.get("role"):
        said.append(f"next act by the {role}")
    if act := given.get("act"):
        said.append("without a next act" if act == NO_ACT else f"next “{act}”")
    if since := between(given.get("since_from"), given.get("since_to")):
        said.append(f"since {since}")
    if due := given.get("due_to"):
        said.append("due today or earlier" if due == today else f"due by {words.day(due)}")
    if on_day := given.get("install_on"):
        said.append("installed today" if on_day == today else f"installed on {words.day(on_day)}")
    if held := given.get("held"):
        said.append("on a hold to review" if held == "review" else "on hold")
    if text := given.get("text"):
        said.append(f"with “{text}”")
    return ", ".join(said)


def _in_state(state: str) -> str:
    name = S(state).words
    return name if state == S.AWAITING_UTILITY or state == S.CANCELLED else f"in state {name}" if state != S.IN_BUILD else name
