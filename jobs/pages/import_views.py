"""Pages of imports: the file, its columns, what is wrong, applying with its progress, the result."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import get_object_or_404, render
from django.urls import NoReverseMatch, reverse
from django.utils.html import format_html
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRefresh

from jobs.core import clock, importing, lists, tasks, words
from jobs.core.actors import actor, member
from jobs.core.looking import CELLS, OPENED, ROWS, Looked
from jobs.core.models import ImportRun
from jobs.core.paging import Paging
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.sheets import errors_table
from jobs.core.web import recorded, right
from jobs.pages.import_forms import ColumnsForm, FileForm

RIGHTS = ("core.add_jobs", "core.bill")


@right(*RIGHTS)
def run_list(request: HttpRequest) -> HttpResponseBase:
    """The imports, and the form to bring in a file."""
    by = actor(request)
    kinds = importing.kinds_for(by)
    form = FileForm(request.POST or None, request.FILES or None, kinds=kinds)
    if request.method == "POST" and form.is_valid():
        upload = form.cleaned_data["file"]
        try:
            run = importing.prepare(form.cleaned_data["kind"], name=upload.name, data=upload.read(), columns={}, by=by)
        except Refused as refusal:
            form.refuse(refusal)
        else:
            _check_if_large(run)
            return HttpResponseRedirect(reverse("import_run", kwargs={"uid": run.uid}))
    rows = ImportRun.objects.seen_by(member(request)).filter(kind__in=[kind.name for kind in kinds])
    page = Paging(rows).get_page(request.GET.get("page"))
    lines = [(run, standing(run)) for run in page.object_list]
    context = {"form": form, "page": page, "lines": lines, "total": page.paginator.count}
    return render(request, "pages/imports.html", context, status=422 if form.errors else 200)


@right(*RIGHTS)
@require_safe
def run_page(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """One import, at whichever point it stands."""
    return _page(request, _run(request, uid))


@right(*RIGHTS)
@require_POST
def columns(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """Say which heading is which column."""
    run = _run(request, uid)
    by = actor(request)
    form = ColumnsForm(request.POST, looked=importing.opened(run, by=by), run=run)
    if form.is_valid():
        try:
            run = importing.match_columns(run, columns=form.columns(), by=by)
        except Refused as refusal:
            form.refuse(refusal)
        else:
            _check_if_large(run)
            return recorded(request, "The columns are matched; every row is checked anew.", "import_run", uid=run.uid)
    return _page(request, run, form=form, status=422)


@right(*RIGHTS)
@require_POST
def apply(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """Decide to apply, or go on with what stands still; the work is done by a task, and the row holds how far it came."""
    run = _run(request, uid)
    try:
        if run.started_at is None:
            run = importing.start(run, good_rows_only=request.POST.get("rows") == "good", by=actor(request))
    except Refused as refusal:
        return _page(request, run, refused=str(refusal), status=422)
    tasks.wake_import(run.pk)
    return HttpResponseRedirect(reverse("import_run", kwargs={"uid": run.uid}))


@right(*RIGHTS)
@require_POST
def drop(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    run = _run(request, uid)
    try:
        run = importing.drop(run, by=actor(request))
    except Refused as refusal:
        return _page(request, run, refused=str(refusal), status=422)
    done = (
        f"{words.count(run.rows_done, 'row').capitalize()} had been applied and stand." if run.rows_done else "Nothing of it was written."
    )
    return recorded(request, f"{run.name} is dropped. {done}", "imports")


@right(*RIGHTS)
def take_back(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """Ask whether all that an import wrote is to be undone, and do it."""
    run = _run(request, uid)
    refused = ""
    if request.method == "POST":
        try:
            run = importing.take_back(run, by=actor(request))
        except Refused as refusal:
            refused = str(refusal)
        else:
            return recorded(request, f"{run.name} is taken back; the records are as they were before it.", "import_run", uid=run.uid)
    counts = run.counts
    context = {
        "title": f"Take back {run.name}",
        "heading": f"Take back {run.name}",
        "margin": "import",
        "happens": [
            f"{words.count(counts.get('new', 0), 'new record').capitalize()} and all that came with them are removed, "
            f"{words.count(counts.get('changed', 0), 'changed record')} put back as before.",
            "It is refused if anything was recorded, changed or sent since on what the import wrote.",
        ],
        "final": "What is taken back can only be brought in again from its file.",
        "act": "Take it all back",
        "keep": "Keep the import",
        "back": reverse("import_run", kwargs={"uid": run.uid}),
        "refused": refused,
    }
    return render(request, "confirm.html", context, status=422 if refused else 200)


@right(*RIGHTS)
@require_safe
def progress(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """The part of the page that is asked for anew while rows are applied; once all are, the whole page."""
    run = _run(request, uid)
    if run.finished_at or run.dropped_at or (run.started_at is None and not _being_checked(run)):
        return HttpResponseClientRefresh()
    if run.started_at is None:
        return render(request, "pages/_import_checking.html", {"progress": checking_of(run), "run": run})
    return render(request, "pages/_import_progress.html", {"run": run, "progress": progress_of(run)})


@right(*RIGHTS)
@require_safe
def errors(request: HttpRequest, uid: uuid.UUID, ending: str) -> HttpResponseBase:
    """The rows to correct with what to correct, to mend and bring in again."""
    run = _run(request, uid)
    by = actor(request)
    looked = importing.opened(run, by=by) if run.checked else importing.look(run, by=by)
    rows = importing.rows_to_mend(run, looked)
    if not rows:
        raise Http404("No row of this file needs correcting.")
    return lists.table_file("to-correct", ending, *errors_table(looked.sheet, rows))


def _run(request: HttpRequest, uid: uuid.UUID) -> ImportRun:
    run = get_object_or_404(ImportRun.objects.seen_by(member(request)).select_related("by"), uid=uid)
    if run.kind not in {kind.name for kind in importing.kinds_for(actor(request))}:
        raise NotAllowed("You may not bring in rows of this kind; your role has not the right.")
    return run


def _page(request: HttpRequest, run: ImportRun, *, form: ColumnsForm | None = None, refused: str = "", status: int = 200) -> HttpResponse:
    context: dict[str, Any] = {"run": run, "kind": importing.kind_named(run.kind), "standing": standing(run), "refused": refused}
    if run.started_at and not run.finished_at and not run.dropped_at:
        return render(request, "pages/import_progress.html", context | {"progress": progress_of(run)}, status=status)
    if run.started_at or run.dropped_at:
        return render(request, "pages/import_result.html", context | _result(request, run), status=status)
    if _being_checked(run) and form is None:
        return render(request, "pages/import_checking.html", context | {"progress": checking_of(run)}, status=status)
    by = actor(request)
    looked = importing.opened(run, by=by) if run.rows_total > importing.LARGE else importing.look(run, by=by)
    form = form or ColumnsForm(looked=looked, run=run)
    to_show = _kept(run) if run.rows_total > importing.LARGE else _shown(looked)
    context |= {"looked": looked, "form": form, "headings": list(form.headings()), "to_show": to_show}
    return render(request, "pages/import.html", context, status=status)


def _check_if_large(run: ImportRun) -> None:
    if run.rows_total > importing.LARGE:
        tasks.wake_check(run.pk)


def _being_checked(run: ImportRun) -> bool:
    return run.rows_total > importing.LARGE and not run.checked


def _shown(looked: Looked) -> dict[str, Any]:
    errors = looked.errors
    more = max(0, len(errors) - importing.MOST_SHOWN)
    counted = {"good": len(looked.good), "wrong": len(looked.wrong), "preview": looked.preview}
    return counted | {"errors": errors[: importing.MOST_SHOWN], "more": more}


def _kept(run: ImportRun) -> dict[str, Any]:
    """What checking a long file found."""
    told = run.checked or {"good": 0, "wrong": 0, "preview": None}
    more = max(0, run.refusals.count() - importing.MOST_SHOWN)
    counted = {"good": told["good"], "wrong": told["wrong"], "preview": told["preview"]}
    return counted | {"errors": run.refusals.all()[: importing.MOST_SHOWN], "more": more}


def _result(request: HttpRequest, run: ImportRun) -> dict[str, Any]:
    refusals = run.refusals.all() if run.started_at else run.refusals.none()
    try:
        list_url = reverse(run.kind)  # the list of the same name: jobs, requests, payments
    except NoReverseMatch:
        list_url = ""
    return {
        "errors": refusals[: importing.MOST_SHOWN],
        "more": max(0, refusals.count() - importing.MOST_SHOWN),
        "left_out": run.counts.get("left_out", 0),
        "may_be_taken_back": bool(run.rows_done and not run.taken_back_at),
        "list_url": list_url,
    }


def standing(run: ImportRun) -> str:
    """Where an import stands, in words."""
    counts, left_out = run.counts, run.counts.get("left_out", 0)
    if run.taken_back_at:
        return f"taken back by {run.taken_back_by_name}"
    if run.dropped_at:
        return f"dropped after {words.number(run.rows_done)} of {words.number(run.rows_total)} rows" if run.rows_done else "dropped"
    if run.finished_at:
        told = f"applied: {counts['new']:,} new, {counts['changed']:,} changed, {counts['unchanged']:,} unchanged"
        return f"{told}, {left_out:,} left out" if left_out else told
    if run.started_at:
        return f"{words.number(run.rows_done)} of {words.number(run.rows_total)} rows applied"
    return "not applied"


@dataclass(frozen=True)
class Progress:
    tenths: int
    words: str
    still: bool  # nobody seems to work on it


_CHECKING = {
    0: "the file is being read",
    OPENED: "their cells are being read",
    CELLS: "each is held against the others and the records",
    ROWS: "what applying them would do is being worked out",
}


def checking_of(run: ImportRun) -> Progress:
    """How far the checking of a long file has come."""
    told = run.counts
    doing = _CHECKING[told["checking"]] if told else "they wait for their turn"
    last = dt.datetime.fromisoformat(told["at"]) if told else run.created_at
    sentence = format_html(
        "{} rows are being checked: <i>{}</i>. Nothing is written. You may leave this page; what was found will stand here.",
        words.number(run.rows_total),
        doing,
    )
    return Progress(told.get("checking", 0), sentence, clock.now() - last > tasks.CHECK_STILL)


def progress_of(run: ImportRun) -> Progress:
    told = f"{words.number(run.rows_done)} of {words.number(run.rows_total)} rows applied"
    last = dt.datetime.fromisoformat(run.counts["at"])
    still = clock.now() - last > tasks.STILL
    expected = ""
    if run.rows_done and run.started_at and not still:
        left = (last - run.started_at) / run.rows_done * (run.rows_total - run.rows_done)
        minutes = round(left.total_seconds() / 60)
        expected = f"about {words.count(minutes, 'minute')} left" if minutes else "less than a minute left"
    sentence = format_html(
        "{}{}<i>{}</i>. You may leave this page; the result will stand under Imports.", told, ", " if expected else "", expected
    )
    return Progress(run.rows_done * 10 // max(1, run.rows_total), sentence, still)
