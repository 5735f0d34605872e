"""Saving what pages show: a list with the columns that a person chooses, and all of one job."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import resolve, reverse
from django.views.decorators.http import require_safe

from jobs.core import lists
from jobs.core.actors import member
from jobs.core.forms import OfficeForm
from jobs.core.models import Job, User
from jobs.core.refusals import NotAllowed
from jobs.core.web import download, right, signed_in
from jobs.pages import exports, homesheet, jobarchive
from jobs.pages.joblist import headings

# By address of a list's files: the kind of export with the same columns, and the address of the list.
LISTS = {
    "jobs_export": ("jobs", "jobs"),
    "homes_export": ("homes", "jobs"),
    "requests_export": ("requests", "requests"),
    "utilities_export": ("utilities", "utilities"),
    "payments_export": ("payments", "payments"),
    "invoices_export": ("invoices", "invoices"),
    "notices_export": ("notices", "notices"),
    "calls_export": ("appointments", "calls"),
    "collars_export": ("collars", "collars"),
    "papers_export": ("papers", "papers"),
    "report_milestones_export": ("milestone_report", "report_milestones"),
    "scores_export": ("forecasts_judged", "scores"),
}


class ColumnChoice(OfficeForm):
    columns = forms.MultipleChoiceField(label="Columns", widget=forms.CheckboxSelectMultiple)
    ending = forms.ChoiceField(label="File", widget=forms.RadioSelect, choices=[("csv", "CSV"), ("xlsx", "XLSX")], initial="csv")

    def __init__(self, *args: Any, names: tuple[str, ...], chosen: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        known = [name for name in chosen if name in names]
        choices = [(name, name.replace("_", " ")) for name in names]
        self.fields["columns"] = forms.MultipleChoiceField(
            label="Columns", widget=forms.CheckboxSelectMultiple, choices=choices, initial=known or list(names)
        )


@signed_in
def columns(request: HttpRequest, export: str) -> HttpResponseBase:
    """Choose the columns of a list's file; the filter of the list stands in the address and goes on to the file."""
    if export not in LISTS:
        raise Http404("There is no such list.")
    kind, page = LISTS[export]
    address = reverse(export, kwargs={"ending": "csv"})
    if not any(member(request).has_perm(name) for name in resolve(address).func.rights):  # type: ignore[attr-defined]  # web.right
        raise NotAllowed("You may not open this page; your role has not the right.")
    title = exports.kinds()[kind].title
    kept = f"columns of {export}"
    names = _names(kind, member(request))
    form = ColumnChoice(request.POST or None, names=names, chosen=request.session.get(kept, []))
    if request.method == "POST" and form.is_valid():
        chosen = [name for name in names if name in form.cleaned_data["columns"]]
        request.session[kept] = chosen
        query = QueryDict(request.GET.urlencode(), mutable=True)
        query.setlist(lists.COLUMN, chosen)
        return HttpResponseRedirect(f"{reverse(export, kwargs={'ending': form.cleaned_data['ending']})}?{query.urlencode()}")
    back = f"{reverse(page)}?{request.GET.urlencode()}" if request.GET else reverse(page)
    context = {"form": form, "title": title, "count": len(names), "back": back}
    return render(request, "pages/columns.html", context, status=422 if form.errors else 200)


def _names(kind: str, user: User) -> tuple[str, ...]:
    of_user = {"jobs": headings, "homes": homesheet.headings}  # not every role sees all of their columns
    return of_user[kind](user) if kind in of_user else exports.kinds()[kind].headings


@right("core.see_jobs", "core.see_own_jobs")
@require_safe
def whole_job(request: HttpRequest, code: str) -> HttpResponse | HttpResponseBase:
    """All of a job that this person may see, as one ZIP file."""
    user = member(request)
    job = get_object_or_404(Job.objects.seen_by(user).select_related("site"), code=code)
    return download(jobarchive.archive(job, user=user), f"job-{job.code}.zip", "application/zip")
