"""Homes likely ready with their tentative times, and the standby list with the times that fell free."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.appointments import keeping, missed, noshows, planning, shown, worklists
from jobs.appointments.forms import HoldTimeForm, StandbyForm
from jobs.appointments.models import Appointment, AppointmentState, Standby, Tentative
from jobs.appointments.shown import at_home_of
from jobs.appointments.views import free_times_context, ready_page
from jobs.core import clock, walltime, words
from jobs.core.actors import actor
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.core.web import recorded, right
from utilities import said

SOON_DAYS = 4  # times that fall free are looked for so far ahead


@right("core.book_calls")
@require_http_methods(["GET", "HEAD", "POST"])
def hold_time(request: HttpRequest, code: str) -> HttpResponseBase:
    """Keep a time for a home that is likely ready by then."""
    job = get_object_or_404(Job.objects.seen_by(request.user).select_related("site"), code=code)
    form = HoldTimeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        verifier, wish = form.cleaned_data["slot"]
        try:
            kept = keeping.hold_time(job, verifier=verifier, wish=wish, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            when = f"{shown.day_of(kept.local_date)}, {words.time_zone_office(kept.local_start)}"
            return recorded(request, f"Kept tentatively for {code}: {when}, {kept.verifier.name}. Nobody outside is told.", "calls_ready")
    row = said.of_homes([job.pk]).get(job.pk)
    context = {
        "job": job,
        "form": form,
        "forecast": said.shown(row) if row else None,
        **free_times_context(request, job, shown.default_person(job), default_from=_half(row, job)),
    }
    return render(request, "appointments/hold_time.html", context, status=422 if form.errors else 200)


def _half(row: Any, job: Job) -> dt.date | None:
    """Times are shown from the day on by which half of such homes are fitted."""
    return max(row.half_on + dt.timedelta(days=1), clock.today_in(job.site.zone)) if row and row.half_on else None


@right("core.book_calls")
@require_POST
def offer_held(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    tentative = get_object_or_404(Tentative.objects.workable_by(request.user), uid=uid)
    try:
        call = keeping.offer_held(tentative, by=actor(request))
    except Refused as refusal:
        return _refused(request, refusal)
    return recorded(request, f"Offered: {shown.when(call)}, {call.verifier.name}. The message waits for release.", "call", uid=call.uid)


@right("core.book_calls")
@require_POST
def give_up_held(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    tentative = get_object_or_404(Tentative.objects.workable_by(request.user), uid=uid)
    try:
        keeping.give_up_held(tentative, reason="", by=actor(request))
    except Refused as refusal:
        return _refused(request, refusal)
    return recorded(request, "The tentative time is free again.", "calls_ready")


def _refused(request: HttpRequest, refusal: Refused) -> HttpResponseBase:
    return ready_page(request, refused=str(refusal))


@right("core.book_any_call")
@require_safe
def standby(request: HttpRequest) -> HttpResponseBase:
    return _standby_page(request)


def _standby_page(request: HttpRequest, *, refused: str = "") -> HttpResponseBase:
    rows = list(Standby.objects.seen_by(request.user).standing().select_related("job__site"))
    jobs = {job.pk: job for job in worklists.with_parts(Job.objects.filter(pk__in=[row.job_id for row in rows]), clock.office_today())}
    calls = {call.job_id: call for call in Appointment.objects.taking().filter(job__in=jobs).with_names()}
    today = clock.office_today()
    promised = (
        Appointment.objects.seen_by(request.user).promised().filter(local_date__gte=today, local_date__lt=today + dt.timedelta(days=7))
    )
    chance, ahead = missed.record().overall.chance, promised.count()
    lines = [{"row": row, "job": jobs[row.job_id], "person": at_home_of(jobs[row.job_id]), "call": calls.get(row.job_id)} for row in rows]
    context = {
        "lines": lines,
        "fallen": _fallen(lines),
        "wanted": noshows.standby_wanted(chance, calls=ahead),
        "ahead": ahead,
        "chance": words.in_hundred(chance),
        "refused": refused,
    }
    return render(request, "appointments/standby.html", context, status=422 if refused else 200)


def _fallen(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Free times of these days that a call was given up in, each with the standby homes that could have it."""
    today = clock.office_today()
    openings = planning.open_places(today, today + dt.timedelta(days=SOON_DAYS))
    given_up = {
        (verifier, starts_at)
        for verifier, starts_at in Appointment.objects.filter(
            state__in=(AppointmentState.CANCELLED, AppointmentState.DECLINED), starts_at__gt=clock.now()
        ).values_list("verifier_id", "starts_at")
    }
    found = []
    for number, place in enumerate(openings.places):
        who = openings.who[place.verifier]
        homes = [line for line in lines if _could(line, number, openings)]
        if (place.verifier, place.starts_at) in given_up or homes:
            local = place.starts_at.astimezone(walltime.zone_of(who.zone))
            found.append(
                {
                    "when": f"{shown.day_of(local.date())}, {words.time_office(local)}",
                    "verifier": who,
                    "fell_free": (place.verifier, place.starts_at) in given_up,
                    "homes": homes[:3],
                }
            )
    return sorted(found, key=lambda line: not line["fell_free"])[:12]


def _could(line: dict[str, Any], number: int, openings: planning.Openings) -> bool:
    person, call, place = line["person"], line["call"], openings.places[number]
    if person is None or (call is not None and call.starts_at <= place.starts_at):
        return False
    return number in planning.possible_for(line["job"], person, openings, only=number)


@right("core.book_any_call")
@require_http_methods(["GET", "HEAD", "POST"])
def standby_add(request: HttpRequest, code: str) -> HttpResponseBase:
    job = get_object_or_404(Job.objects.seen_by(request.user).select_related("site"), code=code)
    person = shown.default_person(job)
    form = StandbyForm(request.POST or None, initial={"said_by": person.name if person else ""})
    if request.method == "POST" and form.is_valid():
        try:
            keeping.put_on_standby(job, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"{code} stands on the standby list.", "calls_standby")
    return render(request, "appointments/standby_add.html", {"job": job, "form": form}, status=422 if form.errors else 200)


@right("core.book_any_call")
@require_POST
def standby_off(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    row = get_object_or_404(Standby.objects.seen_by(request.user), uid=uid)
    try:
        keeping.take_off_standby(row, by=actor(request))
    except Refused as refusal:
        return _standby_page(request, refused=str(refusal))
    return recorded(request, f"{row.job.code} is off the standby list.", "calls_standby")
