"""Pages around the bag: its tag and hand-over sheet one as papers, and what was told at the bag, to be judged by the office."""

from __future__ import annotations

import uuid

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from jobs.core import codes, facts, files, tags
from jobs.core.actors import actor, member
from jobs.core.models import BagReport, BagTag
from jobs.core.papers.bagtag import TooLong
from jobs.core.refusals import Refused
from jobs.core.views import answer, seen_job
from jobs.core.web import download, recorded, right
from utilities import bagpapers
from utilities.collar_forms import ReportForm, SheetForm, TagForm
from utilities.models import Outcome

PDF = "application/pdf"


@right("core.record_custody")
@require_http_methods(["GET", "HEAD", "POST"])
def tag(request: HttpRequest, code: str) -> HttpResponseBase:
    """Print a tag: each print has a code of its own, which is on the paper and nowhere else."""
    job = seen_job(request, codes.normal(code))
    form = TagForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        try:
            made = tags.make_tag(job, end_older=told["older"] == "end", by=actor(request))
            data = bagpapers.printed(made, two=told["size"] == "two")
        except Refused as refusal:
            form.refuse(refusal)
        except TooLong as fault:
            form.add_error(None, str(fault))
        else:
            return download(data, f"bag-tag-{job.code}.pdf", PDF)
    living = BagTag.objects.filter(job=job, ended_at__isnull=True).order_by("-pk")
    return answer(request, "utilities/bag_tag.html", form, job=job, serial=facts.of(job).serial, living=living)


@right("core.record_day_one")
@require_http_methods(["GET", "HEAD", "POST"])
def sheet(request: HttpRequest, code: str) -> HttpResponseBase:
    """Print hand-over sheet one from the home's facts; the copy is kept with its documents."""
    job = seen_job(request, codes.normal(code))
    owner = job.parties.filter(role="owner", to_on__isnull=True).select_related("person").first()
    form = SheetForm(request.POST or None, initial={"language": owner.person.language if owner else "en"})
    if request.method == "POST" and form.is_valid():
        try:
            kept = bagpapers.keep_sheet(job, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return download(files.read(kept.file), kept.name, PDF)
    return answer(request, "utilities/handover_sheet.html", form, job=job)


@right("core.record_requests")
@require_http_methods(["GET", "HEAD", "POST"])
def report(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """What somebody at the bag told us: record what it says on the request, or set it aside; then it is settled."""
    found = get_object_or_404(BagReport.objects.seen_by(member(request)).select_related("job__site", "tag"), uid=uid)
    form = ReportForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            tags.settle_report(found, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, "The report is settled.", "job", code=found.job.code)
    fit = found.job.fit_requests.filter(outcome=Outcome.OPEN).order_by("filed_on", "pk").first()
    ways = []
    if fit is not None and found.what == BagReport.What.FITTED:
        about = {"uid": fit.uid}
        ways = [
            ("Record it as reported, to be confirmed", reverse("request_reported", kwargs=about)),
            ("Confirm the fitting", reverse("request_fitted", kwargs=about)),
        ]
    elif fit is not None and found.told_by == BagReport.From.TAG:
        ways = [("Record visit", reverse("request_visit", kwargs={"uid": fit.uid}))]
    if found.what == BagReport.What.NOT_FOUND:
        ways.append(("Record collar missing or damaged", reverse("record", kwargs={"code": found.job.code, "what": "collar-lost"})))
        ways.append(("Ask for a photo of the bag", reverse("ask_photo", kwargs={"code": found.job.code})))
    return answer(request, "utilities/bag_report.html", form, report=found, job=found.job, ways=ways, fit=fit)
