"""Office pages of calls: the list, homes to book, one call, booking, moving, giving up, answers by telephone."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from jobs.appointments import booking, callviews, exports, likely, readiness, shown, times, verification, worklists
from jobs.appointments.filters import CallFilter
from jobs.appointments.forms import AnswerForm, BookForm, CancelForm, MoveForm
from jobs.appointments.models import PROMISED, Appointment, AppointmentState, CallRecord, Tentative
from jobs.core import clock, lists, walltime, words
from jobs.core.actors import Actor, actor
from jobs.core.models import Job, Person
from jobs.core.refusals import Refused
from jobs.core.web import recorded, right
from utilities import said

COLUMNS = (
    ("Time at the site", "time", "m"), ("Who will be at home", "", ""), ("Home", "", ""), ("Language", "", ""),
    ("Verifier", "verifier", ""), ("State", "", ""), ("Next act", "", "act"),
)  # fmt: skip
forms_allowed = require_http_methods(["GET", "HEAD", "POST"])


def seen_call(request: HttpRequest, uid: uuid.UUID) -> Appointment:
    """The call, if the person may know of it; else 404."""
    return get_object_or_404(Appointment.objects.seen_by(request.user).with_names(), uid=uid)


def workable_call(request: HttpRequest, uid: uuid.UUID) -> Appointment:
    """A call that this person may book, move and cancel; another verifier's is 404."""
    return get_object_or_404(Appointment.objects.workable_by(request.user).with_names(), uid=uid)


def _listed(request: HttpRequest) -> CallFilter:
    return CallFilter(request.GET or None, queryset=Appointment.objects.seen_by(request.user).with_names())


@right("core.see_calls")
@require_safe
def calls(request: HttpRequest) -> HttpResponseBase:
    found = _listed(request)
    sheet = lists.sheet_of(request.GET, found.rows, sort=found.sort, columns=COLUMNS)
    today = clock.office_today()
    open_calls = Appointment.objects.seen_by(request.user).taking()
    context = sheet | {
        "form": found.form,
        "heading": found.in_words,
        "lines": [_line(request, call) for call in sheet["page"]],
        "by_made": f"{lists.query(request.GET, 'page', 'sort')}&sort=made".lstrip("&"),
        "sort": found.sort,
        "todays": open_calls.filter(local_date=today).count(),
        "tomorrows": open_calls.filter(local_date=today + dt.timedelta(days=1)).count(),
    }
    return render(request, "appointments/calls.html", context, status=422 if found.refused else 200)


def _line(request: HttpRequest, call: Appointment) -> dict[str, Any]:
    own = call.verifier_id == request.user.pk and request.user.has_perm("core.verify")
    act = "Hold the call" if own and call.state in PROMISED else "Open"
    return {
        "call": call,
        "day": shown.day_of(call.local_date),
        "office": shown.office_time(call.starts_at, site_zone=call.zone),
        "act": act,
    }


@right("core.see_calls")
@require_safe
def export(request: HttpRequest, ending: str) -> HttpResponseBase:
    """What the list shows, as a file."""
    found = _listed(request)
    if found.refused:
        return lists.back_to_the_list(request, "calls")
    return lists.table_file("calls", ending, exports.HEADINGS, exports.lines(found.rows), given=request.GET)


@right("core.book_calls")
@require_safe
def ready(request: HttpRequest) -> HttpResponseBase:
    """Homes that want a call: ready by worth of a day, likely ready, not ready with what is missing, and site visits to plan."""
    return ready_page(request)


def ready_page(request: HttpRequest, *, refused: str = "") -> HttpResponse:
    jobs = Job.objects.seen_by(request.user)
    found = worklists.lists(jobs)
    homes = [*found.ready, *found.not_ready]
    standing = Tentative.objects.standing().filter(job__in=[row.job.pk for row in homes]).select_related("verifier")
    kept = {row.job_id: _kept_line(row) for row in standing}
    context = {
        "lists": found,
        "likely": [_likely_line(row) for row in likely.likely(jobs)],
        "within": likely.WITHIN,
        "ready_lines": [(row, kept.get(row.job.pk)) for row in found.ready],
        "missing_lines": [(row, kept.get(row.job.pk)) for row in found.not_ready],
        "refused": refused,
        "money": request.user.has_perm("core.see_money"),
        "medical": request.user.has_perm("core.see_medical"),
        "may_plan": request.user.has_perm("core.book_any_call"),
    }
    return render(request, "appointments/ready.html", context, status=422 if refused else 200)


def _likely_line(row: likely.Likely) -> dict[str, Any]:
    today = clock.office_today()
    return {
        "row": row,
        "half": said.day_short(row.shown.q50, as_of=row.shown.as_of, today=today),
        "chance": words.in_hundred(row.chance),
        "kept": _kept_line(row.kept) if row.kept else None,
    }


def _kept_line(kept: Tentative) -> dict[str, Any]:
    chance = words.in_hundred(kept.chance_millionths / 1_000_000) if kept.chance_millionths is not None else ""
    return {"row": kept, "when": f"{shown.day_of(kept.local_date)}, {words.time_zone_office(kept.local_start)}", "chance": chance}


@right("core.book_calls")
@forms_allowed
def book(request: HttpRequest, code: str) -> HttpResponseBase:
    """Book or offer a call for one home, at one of the free times."""
    job = get_object_or_404(Job.objects.seen_by(request.user).select_related("site"), code=code)
    form = BookForm(request.POST or None, job=job)
    if request.method == "POST" and form.is_valid():
        try:
            call = _booked(job, form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            said = "Offered" if call.state == AppointmentState.OFFERED else "Booked"
            return recorded(
                request, f"{said}: {shown.when(call)}, {call.verifier.name}. The message waits for release.", "call", uid=call.uid
            )
    missing = readiness.missing_for_booking(job, clock.today_in(job.site.zone))
    standing = Appointment.objects.taking().filter(job=job).with_names().first()
    context = {"job": job, "form": form, "missing": missing, "standing": standing, "visit": any(gap.visit for gap in missing)}
    if not missing and standing is None:
        context |= free_times_context(request, job, _person(job, form))
    return render(request, "appointments/book.html", context, status=422 if form.errors else 200)


def _booked(job: Job, told: dict[str, Any], *, by: Actor) -> Appointment:
    verifier, wish = told["slot"]
    if told["how"] == "offer":
        return booking.offer(job, verifier=verifier, wish=wish, person=told["person"], by=by)
    return booking.book(job, verifier=verifier, wish=wish, person=told["person"], confirmed=told["how"] == "confirmed", by=by)


def _person(job: Job, form: BookForm) -> Person | None:
    chosen = form.cleaned_data.get("person") if form.is_bound and form.is_valid() else None
    return chosen or shown.default_person(job)


def free_times_context(
    request: HttpRequest, job: Job, person: Person | None, *, call: Appointment | None = None, default_from: dt.date | None = None
) -> dict[str, Any]:
    """Free times to choose from; a verifier who books own calls only sees the own."""
    if person is None:
        return {"free": None}
    own = "" if request.user.has_perm("core.book_any_call") else str(getattr(request.user, "uid", ""))
    try:
        from_on = words.parse_day(request.GET["from"]) if request.GET.get("from") else default_from
    except ValueError:
        from_on = default_from
    chosen = own or request.GET.get("verifier", "")
    return {
        "free": shown.free_days(job, person=person, from_on=from_on, apart_from=call, verifier=chosen),
        "verifiers": [] if own else [(str(one.uid), one.name) for one in times.verifiers()],
        "chosen": chosen,
        "zone_differs": shown.office_time(clock.now(), site_zone=job.site.zone) != "",
    }


@right("core.see_calls")
@require_safe
def call(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """One call: before it, its particulars; once begun, the page on which it is led."""
    appointment = seen_call(request, uid)
    begun = CallRecord.objects.filter(appointment=appointment).first()
    if begun is not None:
        return callviews.page(request, begun)
    return page_of(request, appointment)


def page_of(request: HttpRequest, appointment: Appointment, *, refused: str = "") -> HttpResponse:
    workable = Appointment.objects.workable_by(request.user).filter(pk=appointment.pk).exists()
    today = clock.today_in(appointment.zone)
    own = request.user.has_perm("core.verify") and appointment.verifier_id == request.user.pk
    context = {
        "call": appointment,
        "cells": _cells(appointment),
        "missing": readiness.missing_for_booking(appointment.job, today) if appointment.is_open else [],
        "changes": [(shown.instant(change.at, appointment.zone), change) for change in appointment.changes.select_related("verifier")],
        "may_work": workable and appointment.is_open,
        "may_begin": own and appointment.is_open,
        "is_today": appointment.local_date == today,
        "offered": appointment.state == AppointmentState.OFFERED,
        "when": shown.when(appointment),
        "refused": refused,
    }
    return render(request, "appointments/appointment.html", context, status=422 if refused else 200)


def _cells(call: Appointment) -> list[tuple[str, ...]]:
    starts, ends = (at.astimezone(walltime.zone_of(call.zone)) for at in (call.starts_at, call.call_ends_at))
    return [
        ("Day at the home", shown.day_of(call.local_date)),
        ("Time", f"{words.time_office(starts)} to {words.time_office(ends)}", shown.office_time(call.starts_at, site_zone=call.zone)),
        ("Who will be at home", call.person.name, "needs a relay service: two places" if call.person.needs_relay else ""),
        ("Language", call.get_language_display()),
        ("Verifier", call.verifier.name),
        ("State", call.get_state_display(), call.ended_reason),
    ]


@right("core.book_calls")
@forms_allowed
def move(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    appointment = workable_call(request, uid)
    form = MoveForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        verifier, wish = form.cleaned_data["slot"]
        try:
            moved = booking.move(appointment, wish=wish, verifier=verifier, confirmed=form.cleaned_data["confirmed"], by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(
                request, f"Moved to {shown.when(moved)}, {moved.verifier.name}. The message waits for release.", "call", uid=uid
            )
    context = {
        "call": appointment,
        "form": form,
        "when": shown.when(appointment),
        **free_times_context(request, appointment.job, appointment.person, call=appointment),
    }
    return render(request, "appointments/move.html", context, status=422 if form.errors else 200)


@right("core.book_calls")
@forms_allowed
def cancel(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    appointment = workable_call(request, uid)
    form = CancelForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            booking.cancel(appointment, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"The call of {shown.when(appointment)} is given up.", "call", uid=uid)
    context = {
        "title": f"Give up the call of job {appointment.job.code}",
        "heading": "Give up this call",
        "margin": appointment.job.code,
        "happens": [
            f"The call of {shown.when(appointment)} with {appointment.person.name} is off, and {appointment.verifier.name} is free then.",
            "A message that it is off is owed to the people at home who know of it; it waits for release.",
            "The links sent for this call end.",
        ],
        "final": "The call cannot be taken up again; a new one is booked instead.",
        "form": form,
        "act": "Give up the call",
        "keep": "Keep it",
        "back": appointment_url(appointment),
    }
    return render(request, "confirm.html", context, status=422 if form.errors else 200)


@right("core.book_calls")
@require_http_methods(["POST"])
def new_link(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    appointment = workable_call(request, uid)
    try:
        booking.send_new_link(appointment, by=actor(request))
    except Refused as refusal:
        return page_of(request, appointment, refused=str(refusal))
    return recorded(request, "A new link waits for release with its message; the one before opens nothing any more.", "call", uid=uid)


@right("core.book_calls")
@forms_allowed
def answer(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """What the person at home said by telephone."""
    appointment = workable_call(request, uid)
    form = AnswerForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            booking.record_answer(appointment, answer=form.cleaned_data["answer"], by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Recorded. {appointment.person.name} has answered.", "call", uid=uid)
    return render(
        request,
        "appointments/answer.html",
        {"call": appointment, "form": form, "when": shown.when(appointment)},
        status=422 if form.errors else 200,
    )


def appointment_url(appointment: Appointment) -> str:
    return reverse("call", kwargs={"uid": appointment.uid})


@right("core.verify")
@require_http_methods(["POST"])
def begin(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """Begin the own call; a second press opens the call that was begun."""
    appointment = get_object_or_404(Appointment.objects.held_by(request.user).with_names(), uid=uid)
    if not CallRecord.objects.filter(appointment=appointment).exists():
        try:
            verification.begin(appointment, by=actor(request))
        except Refused as refusal:
            return page_of(request, appointment, refused=str(refusal))
    return redirect("call", uid=uid)
