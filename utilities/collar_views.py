"""Pages of collars: where each one is and for how long, its moves, and the revisions that were withdrawn."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator, Sequence
from typing import Any

import django_filters
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from jobs.core import clock, codes, custody, lists
from jobs.core.actors import actor, member
from jobs.core.forms import OfficeForm
from jobs.core.lists import ListFilter, Sort, as_query, empty_last, sorts
from jobs.core.models import Collar, Place, WithdrawnRevision
from jobs.core.models.custody import CollarQuerySet
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.views import answer
from jobs.core.web import recorded, right
from utilities import revisions
from utilities.collar_forms import FinishForm, LiftForm, MoveForm, ReceiveForm, WithdrawForm
from utilities.models import RevisionTask

SEE = ("core.see_jobs", "core.record_custody")
CUSTODY = "core.record_custody"
COLUMNS = (
    ("Since", "since", "m"), ("Serial", "serial", ""), ("Revision", "revision", ""), ("Where", "place", ""), ("Days there", "", "num"),
    ("Home", "", ""), ("Received", "", "day"), ("Next act", "", "act"),
)  # fmt: skip
COLLAR_SORTS = sorts(
    Sort("since", "Since, longest there first", (empty_last("place_since"), "serial")),
    Sort("-since", "Since, newest there first", (empty_last("-place_since"), "serial")),
    Sort("serial", "Serial", ("serial",)),
    Sort("-serial", "Serial, backward", ("-serial",)),
    Sort("revision", "Revision", ("revision", "serial")),
    Sort("-revision", "Revision, backward", ("-revision", "serial")),
    Sort("place", "Where", ("place", "place_since", "serial")),
    Sort("-place", "Where, backward", ("-place", "place_since", "serial")),
)


class CollarFilter(ListFilter):
    sorts = COLLAR_SORTS

    place = django_filters.ChoiceFilter(label="Where", choices=Place.choices, empty_label="anywhere")
    revision = django_filters.CharFilter(label="Revision", lookup_expr="iexact")
    only = django_filters.ChoiceFilter(
        label="Which",
        choices=[("barred", "barred"), ("fetch", "of cancelled homes, to fetch back"), ("free", "of no home")],
        method="by_only",
        empty_label="all",
    )
    text = django_filters.CharFilter(label="Serial, job or street", method="by_text")

    class Meta:
        model = Collar
        fields: list[str] = []
        form = OfficeForm

    def by_only(self, rows: CollarQuerySet, name: str, value: str) -> CollarQuerySet:
        if value == "barred":
            return rows.filter(barred_on__isnull=False)
        if value == "fetch":
            return rows.filter(job__state="cancelled", place=Place.SITE)
        return rows.filter(job__isnull=True)

    def by_text(self, rows: CollarQuerySet, name: str, value: str) -> CollarQuerySet:
        typed = value.strip()
        return rows.filter(Q(serial__icontains=typed.upper()) | Q(job__code=codes.normal(value)) | Q(job__site__street__icontains=typed))


def _narrowed(request: HttpRequest) -> CollarFilter:
    return CollarFilter(as_query(request.GET), queryset=Collar.objects.seen_by(member(request)))


def _with_parts(rows: QuerySet[Collar]) -> QuerySet[Collar]:
    return rows.select_related("job__site").prefetch_related("job__parties__person")


def days_there(collar: Collar, *, today: dt.date) -> int | None:
    return (today - collar.place_since).days if collar.place_since else None


@right(*SEE)
@require_safe
def collar_list(request: HttpRequest) -> HttpResponseBase:
    narrowing, today = _narrowed(request), clock.office_today()
    sheet = lists.sheet_of(request.GET, _with_parts(narrowing.rows), sort=narrowing.sort, columns=COLUMNS)
    rows = [(collar, days_there(collar, today=today)) for collar in sheet["page"].object_list]
    context = sheet | {"form": narrowing.form, "rows": rows, "withdrawn": WithdrawnRevision.objects.exists()}
    return render(request, "utilities/collars.html", context, status=422 if narrowing.refused else 200)


HEADINGS = (
    "serial",
    "revision",
    "place",
    "where",
    "since",
    "days_there",
    "job",
    "home",
    "received_on",
    "order_number",
    "barred_on",
    "barred_why",
)


@right(*SEE)
@require_safe
def collar_export(request: HttpRequest, ending: str) -> HttpResponseBase:
    narrowing = _narrowed(request)
    if narrowing.refused:
        return lists.back_to_the_list(request, "collars")
    return lists.table_file("collars", ending, HEADINGS, _rows(narrowing.rows))


def _rows(found: QuerySet[Collar]) -> Iterator[Sequence[object]]:
    today = clock.office_today()
    for one in _with_parts(found):
        yield (
            one.serial, one.revision, one.get_place_display(), one.where, one.place_since, days_there(one, today=today),
            one.job.code if one.job else "", one.job.site.line if one.job else "", one.received_on, one.order_number, one.barred_on,
            one.barred_why,
        )  # fmt: skip


@right(CUSTODY)
@require_http_methods(["GET", "HEAD", "POST"])
def collar_new(request: HttpRequest) -> HttpResponseBase:
    """A collar came into the store."""
    form = ReceiveForm(request.POST or None, initial={"on": clock.office_today()})
    if request.method == "POST" and form.is_valid():
        told = dict(form.cleaned_data)
        try:
            made = custody.receive(told.pop("serial"), **told, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Collar {made.serial} is in the store.", "collar", uid=made.uid)
    return answer(request, "utilities/collar_new.html", form)


@right(*SEE)
@require_http_methods(["GET", "HEAD", "POST"])
def collar(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """One collar: its chain of custody, and where it is now."""
    user = member(request)
    found = get_object_or_404(_with_parts(Collar.objects.seen_by(user)), uid=uid)
    form = MoveForm(request.POST or None, initial={"on": clock.office_today()}) if user.has_perm(CUSTODY) else None
    if request.method == "POST":
        if form is None:
            raise NotAllowed("You may not record where a collar is; your role has not the right.")
        if form.is_valid():
            try:
                custody.move(found, **form.cleaned_data, by=actor(request))
            except Refused as refusal:
                form.refuse(refusal)
            else:
                return recorded(request, f"On record: {found.serial} is somewhere else now.", "collar", uid=found.uid)
    context = {
        "collar": found,
        "form": form,
        "moves": found.moves.select_related("home").order_by("-pk"),
        "days": days_there(found, today=clock.office_today()),
        "withdrawn": WithdrawnRevision.objects.filter(revision__iexact=found.revision).first() if found.revision else None,
    }
    return render(request, "utilities/collar.html", context, status=422 if form is not None and form.errors else 200)


@right("core.correct_any_fact")
@require_http_methods(["GET", "HEAD", "POST"])
def collar_lift(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """Let a barred collar be used again."""
    found = get_object_or_404(Collar.objects.seen_by(member(request)), uid=uid)
    form = LiftForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            custody.lift_bar(found, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Collar {found.serial} may be registered again.", "collar", uid=found.uid)
    context = {
        "heading": f"Let collar {found.serial} be used again",
        "margin": "collar",
        "happens": [
            f"It is barred: {found.barred_why}." if found.barred_on else "It is not barred.",
            "Afterwards any home may register it.",
        ],
        "act": "Lift the bar",
        "keep": "Keep it barred",
        "back": reverse("collar", kwargs={"uid": found.uid}),
    }
    return answer(request, "confirm.html", form, **context)


@right("core.see_utilities")
@require_http_methods(["GET", "HEAD", "POST"])
def withdrawn(request: HttpRequest) -> HttpResponseBase:
    """Revisions that were withdrawn, what is to be done at each utility; and the homes that hold a revision asked for."""
    user = member(request)
    form = WithdrawForm(request.POST or None) if user.has_perm("core.run_office") else None
    if request.method == "POST":
        if form is None:
            raise NotAllowed("Only those who run the office withdraw a revision.")
        if form.is_valid():
            told = dict(form.cleaned_data)
            try:
                made = revisions.withdraw_revision(told.pop("revision"), **told, by=actor(request))
            except Refused as refusal:
                form.refuse(refusal)
            else:
                tasks = made.tasks.count()
                said = f"Revision {made.revision} is withdrawn; {tasks} {'task' if tasks == 1 else 'tasks'}, one for each utility."
                return recorded(request, said, "revisions")
    asked = request.GET.get("revision", "").strip()
    context: dict[str, Any] = {
        "form": form,
        "asked": asked,
        "holders": revisions.holders_by_utility(asked) if asked else [],
        "withdrawn": [
            (gone, [(task, revisions.homes_of(task)) for task in gone.tasks.select_related("utility", "withdrawn")])
            for gone in WithdrawnRevision.objects.prefetch_related("tasks")
        ],
    }
    return render(request, "utilities/revisions.html", context, status=422 if form is not None and form.errors else 200)


@right("core.record_requests")
@require_http_methods(["GET", "HEAD", "POST"])
def revision_task(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """The homes of one utility that hold a withdrawn revision."""
    task = get_object_or_404(RevisionTask.objects.seen_by(member(request)).select_related("utility", "withdrawn"), uid=uid)
    form = FinishForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            revisions.finish_task(task, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Finished: {task}.", "revisions")
    return answer(request, "utilities/revision_task.html", form, task=task, homes=revisions.homes_of(task))
