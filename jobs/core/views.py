"""Pages of one home's record: what can be recorded, corrected, held, shown."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_POST, require_safe

from jobs.core import clock, ctpage, facts, files, fittedpage, homefacts, kinds, secrets
from jobs.core.actors import actor, member
from jobs.core.dayone_forms import SealForm, VisitForm
from jobs.core.facts import KINDS
from jobs.core.forms import OfficeForm
from jobs.core.intake import NewHome, NewPerson, add_job
from jobs.core.job_form import JobForm
from jobs.core.models import Document, Fact, Hold, Job
from jobs.core.record_forms import CorrectForm, RevealForm
from jobs.core.recordings import RECORDINGS, Recording
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.waiting import unreported_seal
from jobs.core.web import download, recorded, right


def seen_job(request: HttpRequest, code: str) -> Job:
    """The job of this code, if the person may know of it; else 404."""
    return get_object_or_404(Job.objects.seen_by(request.user).select_related("site", "crew"), code=code)


def answer(request: HttpRequest, template: str, form: OfficeForm, **context: Any) -> HttpResponse:
    """The page with its form; 422 when what was typed is refused."""
    return render(request, template, {"form": form, **context}, status=422 if form.errors else 200)


@right("core.see_jobs", "core.see_own_jobs")
def record(request: HttpRequest, code: str, what: str) -> HttpResponseBase:
    """Record one thing about a home."""
    job = seen_job(request, code)
    spec = _recording(request, job, what)
    form = spec.form(request.POST or None, request.FILES or None, job=job, initial={"key": uuid.uuid4()})
    if request.method == "POST" and form.is_valid():
        try:
            made = spec.act(job, **form.given(), by=actor(request), key=str(form.cleaned_data["key"] or "") or None)
        except Refused as refusal:
            form.refuse(refusal)
        except ValueError as fault:  # a pure module's sentence about what was typed
            form.add_error(None, str(fault))
        else:
            said = f"{spec.title}: on record for job {job.code}.{_of_the_seal(job, form)}"
            if spec.result:
                return recorded(request, said, spec.result, uid=made.uid)
            return recorded(request, said, "job", code=job.code)
    return answer(request, "core/record.html", form, job=job, spec=spec)


def _of_the_seal(job: Job, form: OfficeForm) -> str:
    """What follows at once from a seal that is not as the utility left it."""
    seal = unreported_seal(facts.of(job)) if isinstance(form, VisitForm | SealForm) else None
    return f" The seal at the meter is {seal.value['state']}: do not touch it; the utility is to be told today." if seal else ""


@right("core.see_jobs", "core.see_own_jobs")
@require_safe
def ct_check(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    """One check of the consumption CTs: its verdict, its numbers, and the band in which each step was expected."""
    found = Fact.objects.filter(job__in=Job.objects.seen_by(request.user), kind=kinds.CT_CHECK).select_related("job__site")
    fact = get_object_or_404(found, uid=uid)
    fitted = fact.job.facts.standing().of_kind(kinds.CTS_FITTED).filter(day__lte=fact.day).order_by("day", "pk").last()
    return render(request, "core/ct_check.html", {"fact": fact, "job": fact.job, "shown": ctpage.shown(fact, fitted=fitted)})


@right("core.see_jobs")
@require_safe
def fitted_collar(request: HttpRequest, code: str) -> HttpResponse:
    """The gateway's report against what is registered, the metering, and the limits entered: what is looked at before a call."""
    job = seen_job(request, code)
    return render(request, "core/fitted_collar.html", {"job": job, **fittedpage.page_of(job, today=clock.office_today())})


@right("core.see_jobs")
@require_safe
def cut_over(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    """One cut-over of the metering: its pairs, bias and limits of agreement."""
    found = Fact.objects.filter(job__in=Job.objects.seen_by(request.user), kind=kinds.METER_CUT_OVER).select_related("job__site")
    fact = get_object_or_404(found, uid=uid)
    return render(request, "core/cut_over.html", {"fact": fact, "job": fact.job, "found": fittedpage.cut_over_of(fact)})


def _recording(request: HttpRequest, job: Job, what: str) -> Recording:
    spec = RECORDINGS.get(what)
    if spec is None:
        raise Http404("There is nothing of that name to record.")
    if not request.user.has_perm(spec.right):
        raise NotAllowed("You may not record this; your role has not the right.")
    if spec.battery_only and not job.has_battery:
        raise Http404("This home has no battery, so it has no consumption CTs.")
    if spec.pv_only and not job.has_pv:
        raise Http404("This home has no PV that could come on.")
    return spec


@right("core.correct_facts")
def correct(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """Correct a fact, or say that it did not happen."""
    fact = get_object_or_404(Fact.objects.correctable_by(member(request)).select_related("job__site"), uid=uid)
    form = CorrectForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            when = form.when(fact.happened_at, fact.job.site.zone)
            withdraw = form.cleaned_data["withdraw"] == "yes"
            if when is None and not withdraw:
                raise Refused("Say which day is right, or that it did not happen.", field="on")
            homefacts.correct(fact, when=when, withdraw=withdraw, reason=form.cleaned_data["reason"], by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        except ValueError as fault:
            form.add_error("on", str(fault))
        else:
            return recorded(request, "Corrected. The older entry is kept, struck through.", "job", code=fact.job.code)
    return answer(request, "core/correct.html", form, fact=fact, job=fact.job, words=KINDS[fact.kind].words)


@right("core.hold")
@require_POST
def lift(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """Lift a hold; what it stopped goes on."""
    hold = get_object_or_404(Hold.objects.seen_by(member(request)), uid=uid)
    try:
        homefacts.lift(hold, by=actor(request))
    except Refused as refusal:
        return recorded(request, str(refusal), "job", code=hold.job.code)
    return recorded(request, "The hold is lifted.", "job", code=hold.job.code)


@right("core.reveal_codes")
def reveal(request: HttpRequest, code: str) -> HttpResponseBase:
    """Show a gate code for a purpose; who, when and why are on record. The answer is never kept by a browser."""
    job = seen_job(request, code)
    form, shown = RevealForm(request.POST or None, job=job), ""
    if request.method == "POST" and form.is_valid():
        try:
            shown = secrets.reveal_code(job, **form.given(), by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
    return answer(request, "core/reveal.html", form, job=job, shown=shown, kept=secrets.is_kept(job, name="gate"))


@right("core.see_jobs", "core.see_own_jobs")
@require_safe
def document(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """A photo or paper, as a download."""
    found = get_object_or_404(Document.objects.filter(job__in=Job.objects.seen_by(request.user)).select_related("file"), uid=uid)
    return download(files.read(found.file), found.name, found.content_type)


@right("core.add_jobs")
def job_new(request: HttpRequest) -> HttpResponseBase:
    """Enter a new job."""
    form = JobForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            job = add_job(_home(form.cleaned_data), by=actor(request), crew=form.cleaned_data["crew"], looked_after_by=actor(request).user)
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Job {job.code} is entered.", "job", code=job.code)
    return answer(request, "core/job_new.html", form)


def _home(data: dict[str, Any]) -> NewHome:
    phone, extension = data["phone"] or ("", "")
    owner = NewPerson(
        name=data["owner"],
        language=data["language"],
        phone=phone,
        phone_ext=extension,
        email=data["email"],
        needs_relay=data["needs_relay"],
    )
    names = (
        "street", "unit", "city", "region", "postal_code", "zone", "access_note", "contractor_number", "has_battery", "has_pv",
        "service", "install_on", "request_planned_on",
    )  # fmt: skip
    others = (("at_home", NewPerson(name=data["at_home"], language=data["language"])),) if data["at_home"] else ()
    return NewHome(owner=owner, others=others, **{name: data[name] for name in names})
