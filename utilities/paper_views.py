"""Pages of papers that run out: one list by date, each paper, what is done with it; authorities, design papers, warranty terms."""

from __future__ import annotations

import uuid

from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from jobs.core import clock, codes, designs, expiring, lists, warrantyterms, words
from jobs.core.actors import actor, member
from jobs.core.lists import as_query
from jobs.core.models import Authority, ExpiringPaper, PaperKind, WarrantyTerm
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.views import answer, seen_job
from jobs.core.web import recorded, right
from utilities import extension, paperlines, paperlist
from utilities.paper_forms import ACTS, AuthorityForm, DesignForm, LetterForm, OwnerForm, PaperForm, TermForm

PAPERS = "core.record_papers"
COLUMNS = (
    ("Holds until", "until", "m"), ("Paper", "kind", ""), ("Home", "", ""), ("Renew by", "", "day"), ("What renewing takes", "", ""),
    ("Who", "", ""), ("The collar is in by then", "", "expected"), ("Next act", "", "act"),
)  # fmt: skip


def _narrowed(request: HttpRequest) -> paperlist.PaperFilter:
    return paperlist.PaperFilter(as_query(request.GET), queryset=ExpiringPaper.objects.seen_by(member(request)).standing())


@right(PAPERS)
@require_safe
def paper_list(request: HttpRequest) -> HttpResponseBase:
    narrowing, today = _narrowed(request), clock.office_today()
    rows: QuerySet[ExpiringPaper] = paperlines.with_parts(narrowing.rows)
    sheet = lists.sheet_of(request.GET, rows, sort=narrowing.sort, columns=COLUMNS)
    context = sheet | {"form": narrowing.form, "lines": paperlines.lines(sheet["page"].object_list, today=today)}
    return render(request, "utilities/papers.html", context, status=422 if narrowing.refused else 200)


@right(PAPERS)
@require_safe
def paper_export(request: HttpRequest, ending: str) -> HttpResponseBase:
    narrowing = _narrowed(request)
    if narrowing.refused:
        return lists.back_to_the_list(request, "papers")
    return lists.table_file("papers", ending, paperlist.HEADINGS, paperlist.lines(narrowing.rows), given=request.GET)


def _seen(request: HttpRequest, uid: uuid.UUID) -> ExpiringPaper:
    return get_object_or_404(paperlines.with_parts(ExpiringPaper.objects.seen_by(member(request))), uid=uid)


@right(PAPERS)
@require_safe
def paper(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    found, today = _seen(request, uid), clock.office_today()
    (line,) = paperlines.lines([found], today=today)
    fit = extension.request_of(found)
    context = {
        "paper": found,
        "job": found.job,
        "line": line,
        "deadlock": paperlines.is_deadlock(found),
        "fit": fit,
        "extensions": found.extensions.all(),
        "may_ask": found.ended_at is None and found.kind == PaperKind.PERMIT and fit is not None,
        "late": line.act_by < today,
        "cells": [
            ("Home", found.job.homeowner or found.job.code, found.job.site.line),
            ("Number", found.number or "none"),
            ("Given by", found.authority.name if found.authority else "not entered"),
            ("Issued", words.day_short(found.issued_on, today=today)),
            ("Holds until", words.day_short(found.expires_on, today=today)),
            ("Who renews it", found.owner.name if found.owner else "nobody yet"),
        ],
    }
    return render(request, "utilities/paper.html", context)


@right(PAPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def paper_new(request: HttpRequest, code: str) -> HttpResponseBase:
    job = seen_job(request, codes.normal(code))
    form = PaperForm(request.POST or None, job=job)
    if request.method == "POST" and form.is_valid():
        try:
            made = expiring.add_paper(job, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"On record: {made}, until {words.day(made.expires_on)}.", "paper", uid=made.uid)
    context = {"title": "Enter a paper that runs out", "button": "Enter the paper", "job": job}
    return answer(request, "utilities/record.html", form, **context, back=reverse("job", kwargs={"code": job.code}))


@right(PAPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def paper_do(request: HttpRequest, uid: uuid.UUID, what: str) -> HttpResponseBase:
    """Extend, hand over or close a paper."""
    found = _seen(request, uid)
    if what == "letter":
        return _letter(request, found)
    if what not in ACTS:
        raise Http404("Nothing of that name is done with a paper.")
    title, button, kind, act = ACTS[what]
    initial = OwnerForm.initial_of(found) if what == "owner" else {}
    form = kind(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            act(found, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"{title}: on record.", "paper", uid=found.uid)
    context = {"title": f"{title}: {found}", "button": button, "job": found.job, "back": reverse("paper", kwargs={"uid": found.uid})}
    return answer(request, "utilities/record.html", form, **context)


def _letter(request: HttpRequest, found: ExpiringPaper) -> HttpResponseBase:
    form = LetterForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            message = extension.write_for_extension(found, until=form.cleaned_data["until"], by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, "The letter is written. Read it, and then release it.", "notice", uid=message.uid)
    authority = found.authority
    context = {
        "heading": f"Ask for an extension of {found}",
        "margin": found.job.code,
        "happens": [
            f"The permit holds until {words.day(found.expires_on)}.",
            "The letter gives the request to fit as its cause, with its own days, and names nobody of the home.",
            "Nothing leaves yet: you read the letter first, and then release it.",
        ],
        "whom": f"{authority.name}, {authority.email}"
        if authority and authority.email
        else "no authority with an e-mail address is on record",
        "act": "Write the letter",
        "keep": "Back to the paper",
        "back": reverse("paper", kwargs={"uid": found.uid}),
    }
    return answer(request, "confirm.html", form, **context)


@right(PAPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def authorities(request: HttpRequest) -> HttpResponseBase:
    """The authorities on record, and a new one."""
    form = AuthorityForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        told = dict(form.cleaned_data)
        try:
            made = expiring.add_authority(told.pop("name"), **told, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"{made.name} is on record.", "authorities")
    return answer(request, "utilities/authorities.html", form, authorities=Authority.objects.all())


@right(PAPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def authority(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    found = get_object_or_404(Authority, uid=uid)
    names = ("email", "finals_before_collar", "note")
    form = AuthorityForm(request.POST or None, initial={name: getattr(found, name) for name in names})
    del form.fields["name"]
    if request.method == "POST" and form.is_valid():
        try:
            expiring.change_authority(found, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"{found.name}: on record.", "authorities")
    return answer(request, "utilities/authority.html", form, authority=found)


@right(PAPERS)
@require_http_methods(["GET", "HEAD", "POST"])
def design_papers(request: HttpRequest, code: str) -> HttpResponseBase:
    """The design papers of a home, revision by revision, and a new one."""
    job = seen_job(request, codes.normal(code))
    form = DesignForm(request.POST or None, request.FILES or None, initial=DesignForm.initial_of(job))
    if request.method == "POST" and form.is_valid():
        told, upload = form.cleaned_data, form.cleaned_data["file"]
        given = {name: told[name] for name in ("kind", "revision", "dated_on")}
        try:
            made = designs.add_design(job, **given, name=upload.name, data=upload.read(), shows=form.shows(), by=actor(request))
        except Refused as refusal:
            form.refuse(Refused(str(refusal), field="file" if refusal.field == "photo" else refusal.field))
        else:
            return recorded(request, f"On record: {made}.", "designs", code=job.code)
    rows = [
        (design, designs.differing(design)) for design in job.designs.select_related("document", "job").order_by("kind", "-dated_on", "-pk")
    ]
    return answer(request, "utilities/designs.html", form, job=job, designs=rows, current={one.pk for one in designs.current(job)})


@right("core.see_jobs")
@require_http_methods(["GET", "HEAD", "POST"])
def warranty_terms(request: HttpRequest) -> HttpResponseBase:
    """Terms of warranties; the manager sets new ones."""
    may_set = member(request).has_perm("core.run_office")
    form = TermForm(request.POST or None) if may_set else None
    if request.method == "POST":
        if form is None:
            raise NotAllowed("Only those who run the office set terms of warranties.")
        if form.is_valid():
            told = dict(form.cleaned_data)
            try:
                warrantyterms.set_term(told.pop("part"), **told, by=actor(request))
            except Refused as refusal:
                form.refuse(refusal)
            else:
                return recorded(request, "The terms are on record.", "warranty_terms")
    status = 422 if form is not None and form.errors else 200
    return render(
        request,
        "utilities/warranties.html",
        {"form": form, "terms": WarrantyTerm.objects.order_by("part", "-valid_from", "-pk")},
        status=status,
    )
