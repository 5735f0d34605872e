"""Pages of collars: where each one is and for how long, its moves, and the revisions that were withdrawn."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from jobs.core import clock, custody, lists
from jobs.core.actors import actor, member
from jobs.core.lists import as_query
from jobs.core.models import Collar, WithdrawnRevision
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.views import answer
from jobs.core.web import recorded, right
from utilities import collarlist, revisions
from utilities.collar_forms import FinishForm, LiftForm, MoveForm, ReceiveForm, WithdrawForm
from utilities.models import RevisionTask

SEE = ("core.see_jobs", "core.record_custody")
CUSTODY = "core.record_custody"
COLUMNS = (
    ("Since", "since", "m"), ("Serial", "serial", ""), ("Revision", "revision", ""), ("Where", "place", ""), ("Days there", "", "num"),
    ("Home", "", ""), ("Received", "", "day"), ("Next act", "", "act"),
)  # fmt: skip


def _narrowed(request: HttpRequest) -> collarlist.CollarFilter:
    return collarlist.CollarFilter(as_query(request.GET), queryset=Collar.objects.seen_by(member(request)))


@right(*SEE)
@require_safe
def collar_list(request: HttpRequest) -> HttpResponseBase:
    narrowing, today = _narrowed(request), clock.office_today()
    sheet = lists.sheet_of(request.GET, collarlist.with_parts(narrowing.rows), sort=narrowing.sort, columns=COLUMNS)
    rows = [(collar, collarlist.days_there(collar, today=today)) for collar in sheet["page"].object_list]
    context = sheet | {"form": narrowing.form, "rows": rows, "withdrawn": WithdrawnRevision.objects.exists()}
    return render(request, "utilities/collars.html", context, status=422 if narrowing.refused else 200)


@right(*SEE)
@require_safe
def collar_export(request: HttpRequest, ending: str) -> HttpResponseBase:
    narrowing = _narrowed(request)
    if narrowing.refused:
        return lists.back_to_the_list(request, "collars")
    return lists.table_file("collars", ending, collarlist.HEADINGS, collarlist.lines(narrowing.rows), given=request.GET)


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
    found = get_object_or_404(collarlist.with_parts(Collar.objects.seen_by(user)), uid=uid)
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
        "days": collarlist.days_there(found, today=clock.office_today()),
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
