"""Pages of site visits and of the on-call list."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from typing import TypeVar

from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.appointments import oncall, shown, sitevisits
from jobs.appointments.models import VerificationRecord
from jobs.appointments.visitforms import CostForm, EndVisitForm, OnCallForm, OnSiteForm, PlanForm
from jobs.appointments.visitmodels import OnCall, SiteVisit, VisitReason
from jobs.core import clock, rules
from jobs.core.actors import actor
from jobs.core.forms import KeyedForm
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.core.web import recorded, right

T = TypeVar("T")
forms_allowed = require_http_methods(["GET", "HEAD", "POST"])
WEEK = dt.timedelta(days=7)
MOST_ENDED = 50


def _do(act: Callable[..., T], thing: object, form: KeyedForm, request: HttpRequest) -> T:
    """One act with what was typed; pressed twice it is done once."""
    return act(thing, **form.told, by=actor(request), key=form.given_key)


@right("core.see_calls")
@require_safe
def visits(request: HttpRequest) -> HttpResponseBase:
    """Visits to come, those that were, and what they are counted as."""
    rows = SiteVisit.objects.seen_by(request.user).with_names()
    ended = list(rows.filter(ended_at__isnull=False).order_by("-ended_on", "-pk"))
    found = VerificationRecord.objects.seen_by(request.user).prefetch_related("additions")
    context = {
        "open": list(rows.open()),
        "ended": ended[:MOST_ENDED],
        "ended_total": len(ended),
        "counted": sitevisits.counted(found, ended),
        "today": clock.office_today(),
    }
    return render(request, "appointments/visits.html", context)


@right("core.assign_crew")
@forms_allowed
def plan(request: HttpRequest, code: str) -> HttpResponseBase:
    job = get_object_or_404(Job.objects.seen_by(request.user).select_related("site"), code=code)
    why, person = request.GET.get("why", ""), shown.default_person(job)
    initial = {"reason": why if why in VisitReason.values else None, "person": person}
    form = PlanForm(request.POST or None, job=job, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            visit = _do(sitevisits.plan_visit, job, form, request)
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"A site visit is planned. {visit.person.name} is to be told.", "site_visit", uid=visit.uid)
    return render(request, "appointments/visit_plan.html", {"job": job, "form": form}, status=422 if form.errors else 200)


def _seen(request: HttpRequest, uid: uuid.UUID) -> SiteVisit:
    found = SiteVisit.objects.seen_by(request.user).with_names().select_related("after__appointment")
    return get_object_or_404(found, uid=uid)


@right("core.see_calls")
@require_safe
def visit(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    found = _seen(request, uid)
    additions = Prefetch("additions")
    record = VerificationRecord.objects.filter(visit=found).prefetch_related(additions).first()
    user = request.user
    context = {
        "visit": found,
        "job": found.job,
        "record": record,
        "cells": _cells(found),
        "may_end": found.is_open and user.has_perm("core.assign_crew"),
        "may_test": found.is_open and user.has_perm("core.verify"),
        "may_cost": not found.is_open
        and found.how != sitevisits.CALLED_OFF
        and found.cost_minor is None
        and user.has_perm("core.run_office"),
        "sees_money": user.has_perm("core.see_money"),
        "may_void": record is not None and user.has_perm("core.void_verification"),
        "may_book": found.how == sitevisits.MENDED and user.has_perm("core.book_calls") and found.job.state == S.COLLAR_ENERGIZED,
    }
    return render(request, "appointments/visit.html", context)


def _cells(visit: SiteVisit) -> list[tuple[str, ...]]:
    after = visit.after
    return [
        ("Day at the home", shown.day_of(visit.planned_on)),
        ("Why", str(visit.get_reason_display()), visit.words),
        ("Instead of or after", "after a test that was not passed" if after else "instead of a call", after.reason if after else ""),
        ("Licensed person", visit.licensed_name, f"license {visit.license_number}"),
        ("Who will be at home", visit.person.name),
        ("Parts to bring", visit.parts or "none named"),
    ]


@right("core.assign_crew")
@forms_allowed
def end(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """How a visit ended without a test."""
    found = _seen(request, uid)
    form = EndVisitForm(request.POST or None, job=found.job)
    if request.method == "POST" and form.is_valid():
        try:
            _do(sitevisits.end_visit, found, form, request)
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Recorded: {form.cleaned_data['how']}.", "site_visit", uid=uid)
    context = {
        "visit": found,
        "job": found.job,
        "form": form,
        "heading": "How the visit ended",
        "act": "Record how it ended",
        "cautions": ("seals",),
    }
    return render(request, "appointments/visit_form.html", context, status=422 if form.errors else 200)


@right("core.run_office")
@forms_allowed
def cost(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    found = _seen(request, uid)
    form = CostForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            _do(sitevisits.note_cost, found, form, request)
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, "The cost is recorded.", "site_visit", uid=uid)
    context = {"visit": found, "job": found.job, "form": form, "heading": "What the visit cost", "act": "Record the cost", "cautions": ()}
    return render(request, "appointments/visit_form.html", context, status=422 if form.errors else 200)


@right("core.verify")
@forms_allowed
def on_site(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """The island test that was held on site."""
    found = _seen(request, uid)
    form = OnSiteForm(request.POST or None, job=found.job)
    if request.method == "POST" and form.is_valid():
        try:
            record = _do(sitevisits.record_on_site, found, form, request)
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Recorded: {record.result}.", "site_visit", uid=uid)
    context = {
        "visit": found,
        "job": found.job,
        "form": form,
        "heading": "Test held on site",
        "act": "Record the test",
        "cautions": ("abort", "generator", "no_commands"),
    }
    return render(request, "appointments/visit_form.html", context, status=422 if form.errors else 200)


@right("core.set_hours")
@forms_allowed
def on_call(request: HttpRequest) -> HttpResponseBase:
    """The list of licensed persons on call, and a form for the next entry."""
    form = OnCallForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            entry = _do(oncall.put_on_call, form.cleaned_data["name"], form, request)
        except Refused as refusal:
            form.refuse(refusal)
        except ValueError as fault:
            form.add_error("from_time", str(fault))
        else:
            return recorded(request, f"{entry.name} is on the list.", "on_call")
    now = clock.now()
    rows = list(OnCall.objects.standing().filter(ends_at__gt=now))
    zone = rules.text("office_zone")
    gaps = oncall.gaps(rows, begins=now, ends=now + WEEK)
    context = {
        "form": form,
        "now": oncall.now_on_call(now),
        "always": rules.text("emergency_on_call"),
        "rows": [(entry, shown.instant(entry.starts_at, zone), shown.instant(entry.ends_at, zone)) for entry in rows],
        "gaps": [(shown.instant(begins, zone), shown.instant(ends, zone)) for begins, ends in gaps],
    }
    return render(request, "appointments/on_call.html", context, status=422 if form.errors else 200)


@right("core.set_hours")
@require_POST
def withdraw(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    entry = get_object_or_404(OnCall.objects.seen_by(request.user), uid=uid)
    try:
        oncall.withdraw_on_call(entry, by=actor(request))
    except Refused as refusal:
        return recorded(request, str(refusal), "on_call")
    return recorded(request, f"{entry.name} is off the list.", "on_call")


def refused(request: HttpRequest, record: VerificationRecord, sentence: str) -> HttpResponseBase:
    """Back to the page on which a record stands, its call's or its visit's, with why nothing was made."""
    return recorded(request, sentence, "call" if record.appointment_id else "site_visit", uid=record.test.uid)
