"""Pages on which the office asks the people of a home for something; the text is read on the message's own page, and released there."""

from __future__ import annotations

from django import forms
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from jobs.core import codes
from jobs.core.actors import actor, member
from jobs.core.forms import DayField, OfficeForm
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.core.web import recorded, right
from jobs.notices import asking
from jobs.notices.models import Message


class PhotoForm(OfficeForm):
    pass


class PaperForm(OfficeForm):
    paper = forms.ChoiceField(label="What we need", choices=[(name, english) for name, (english, _) in asking.PAPERS.items()])
    by_on = DayField(label="By when", required=False)


def _home(request: HttpRequest, code: str) -> Job:
    return get_object_or_404(Job.objects.seen_by(member(request)).select_related("site"), code=codes.normal(code))


@right("core.release_notices")
@require_http_methods(["GET", "HEAD", "POST"])
def ask_photo(request: HttpRequest, code: str) -> HttpResponseBase:
    job, form = _home(request, code), PhotoForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            owed = asking.ask_for_photo(job, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return _to_read(request, owed)
    happens = [
        "The person at home is asked for one picture of the bag, taken from where they stand, by day and in dry weather.",
        "Nothing leaves yet: you read the text first, and then release it.",
    ]
    return _asked(request, job, form, heading="Ask for a photo of the bag", happens=happens)


@right("core.release_notices")
@require_http_methods(["GET", "HEAD", "POST"])
def ask_paper(request: HttpRequest, code: str) -> HttpResponseBase:
    job, form = _home(request, code), PaperForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            owed = asking.ask_for_paper(job, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return _to_read(request, owed)
    happens = ["The account holder is asked for it.", "Nothing leaves yet: you read the text first, and then release it."]
    return _asked(request, job, form, heading="Ask for a paper", happens=happens)


def _to_read(request: HttpRequest, owed: list[Message]) -> HttpResponseBase:
    first = owed[0]
    more = f" {len(owed)} messages wait for release." if len(owed) > 1 else ""
    return recorded(request, f"Owed: {first.kind_words}. Read it, and then release it.{more}", "notice", uid=first.uid)


def _asked(request: HttpRequest, job: Job, form: OfficeForm, *, heading: str, happens: list[str]) -> HttpResponseBase:
    context = {
        "title": heading,
        "heading": heading,
        "margin": job.code,
        "happens": happens,
        "whom": job.site.line,
        "form": form,
        "act": "Write the message",
        "keep": "Back to the job",
        "back": reverse("job", kwargs={"code": job.code}),
    }
    return render(request, "confirm.html", context, status=422 if form.errors else 200)
