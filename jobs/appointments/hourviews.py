"""The verifiers' hours and time off."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.appointments import booking, feeds, hours, shown, times
from jobs.appointments.forms import WEEKDAYS, HoursForm, OffForm
from jobs.appointments.models import Appointment, AppointmentState, CalendarFeed, TimeOff, VerifierHours
from jobs.core import clock, walltime, words
from jobs.core.actors import Actor, actor
from jobs.core.models import User
from jobs.core.refusals import OutOfSight, Refused
from jobs.core.web import recorded, right

KEEP = "keep"


@right("core.set_hours")
@require_safe
def everybody(request: HttpRequest) -> HttpResponseBase:
    people = times.verifiers()
    context = {"lines": [{"verifier": one, "week": _week(one), "off": _off(one)} for one in people]}
    return render(request, "appointments/hours.html", context)


@right("core.set_hours")
@require_http_methods(["GET", "HEAD", "POST"])
def one(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """The week of one verifier, and the time off."""
    verifier = _verifier(uid)
    form = HoursForm(request.POST or None, initial=_typed(verifier))
    if request.method == "POST" and form.is_valid():
        try:
            hours.set_hours(verifier, hours=form.cleaned_data["hours"], by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Hours of {verifier.name}: on record.", "verifier_hours", uid=uid)
    return _page(request, verifier, form=form)


@right("core.set_hours")
@require_POST
def take_off(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    verifier = _verifier(uid)
    form = OffForm(request.POST)
    if form.is_valid():
        told = form.cleaned_data
        zone = walltime.zone_of(verifier.zone)
        starts, ends = (dt.datetime.combine(told[f"{end}_on"], told[f"{end}_time"], zone) for end in ("from", "to"))
        lying = hours.calls_in(verifier, starts, ends) if starts < ends else []
        decided = _decided(request, lying)
        if len(decided) < len(lying) or any(not answer for answer in decided.values()):
            return _page(request, verifier, off_form=form, lying=_lying(request, lying))
        try:
            handed = _hand_over(lying, decided, by=actor(request))
            keeping = [call for call in lying if decided[call] == KEEP]
            hours.take_time_off(verifier, starts_at=starts, ends_at=ends, reason=told["reason"], keeping=keeping, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
            lying = hours.calls_in(verifier, starts, ends) if starts < ends else []
            return _page(request, verifier, off_form=form, lying=_lying(request, lying))
        said = f" {words.count(handed, 'call').capitalize()} handed over; the messages wait for release." if handed else ""
        return recorded(request, f"Time off of {verifier.name}: on record.{said}", "verifier_hours", uid=uid)
    return _page(request, verifier, off_form=form)


def _decided(request: HttpRequest, lying: list[Appointment]) -> dict[Appointment, str]:
    """What is to become of each call: kept all the same, or handed to another verifier (uid)."""
    return {call: request.POST[f"call-{call.uid}"] for call in lying if f"call-{call.uid}" in request.POST}


def _lying(request: HttpRequest, calls: list[Appointment]) -> list[dict[str, Any]]:
    """The calls in the time off, each with the verifiers who are free at that very time and speak the language."""
    return [
        {
            "call": call,
            "when": shown.when(call),
            "others": [(str(one.uid), one.name) for one in _free_then(call)],
            "chosen": request.POST.get(f"call-{call.uid}", ""),
        }
        for call in calls
    ]


def _free_then(call: Appointment) -> list[User]:
    others = [one for one in times.verifiers() if one.pk != call.verifier_id and call.person.language in times.languages_of(one)]
    job, places = call.job, times.places_for(call.person)
    first = max(call.starts_at, clock.now())
    return [
        one
        for one in others
        if any(slot.starts_at == call.starts_at for slot in times.free_times(one, job=job, places=places, first_at=first, days=1))
    ]


def _hand_over(lying: list[Appointment], decided: dict[Appointment, str], *, by: Actor) -> int:
    """Each is moved by an act of its own, at the same time to another verifier."""
    handed = [call for call in lying if decided[call] != KEEP]
    for call in handed:
        other = get_object_or_404(User.objects.filter(pk__in=[one.pk for one in times.verifiers()]), uid=_uid(decided[call]))
        wish = times.Wish(call.local_date, call.local_time, call.fold)
        booking.move(call, wish=wish, verifier=other, confirmed=call.state == AppointmentState.CONFIRMED, by=by)
    return len(handed)


def _uid(text: str) -> uuid.UUID:
    try:
        return uuid.UUID(text)
    except ValueError:
        raise Refused("Say what becomes of each call: who holds it, or that it is kept.", field="from_on") from None


@right("core.book_calls")
@require_POST
def renew_feed(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """A new secret calendar address, told once."""
    verifier = _verifier(uid)
    token = feeds.renew_feed(verifier, by=actor(request))
    context = {"verifier": verifier, "address": settings.BASE_URL + reverse("feed", args=[token])}
    return render(request, "appointments/feed.html", context)


@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponseBase:
    """A verifier's calendar: whoever has the address reads it."""
    verifier = feeds.verifier_of(token)
    if verifier is None:
        raise OutOfSight("There is no calendar at this address; it was renewed, or was not copied whole.")
    answer = HttpResponse(feeds.calendar_of(verifier), content_type="text/calendar; charset=utf-8")
    answer.headers["Cache-Control"] = "private, no-store"
    return answer


@right("core.set_hours")
@require_POST
def withdraw(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    time_off = get_object_or_404(TimeOff.objects.seen_by(request.user).select_related("verifier"), uid=uid)
    try:
        hours.withdraw_time_off(time_off, by=actor(request))
    except Refused as refusal:
        return _page(request, time_off.verifier, refused=str(refusal))
    return recorded(request, "The time off is withdrawn.", "verifier_hours", uid=time_off.verifier.uid)


def _page(
    request: HttpRequest,
    verifier: User,
    *,
    form: HoursForm | None = None,
    off_form: OffForm | None = None,
    refused: str = "",
    lying: Sequence[dict[str, Any]] = (),
) -> HttpResponseBase:
    form, off_form = form or HoursForm(initial=_typed(verifier)), off_form or OffForm()
    context = {
        "verifier": verifier,
        "form": form,
        "off_form": off_form,
        "off": _off(verifier),
        "refused": refused,
        "lying": lying,
        "feed": CalendarFeed.objects.filter(verifier=verifier).first(),
    }
    status = 422 if form.errors or off_form.errors or refused or lying else 200
    return render(request, "appointments/verifier_hours.html", context, status=status)


def _verifier(uid: uuid.UUID) -> User:
    return get_object_or_404(User.objects.filter(pk__in=[one.pk for one in times.verifiers()]), uid=uid)


def _typed(verifier: User) -> dict[str, str]:
    """The week as it is typed: one line a day."""
    lines: dict[str, list[str]] = {}
    for row in VerifierHours.objects.filter(verifier=verifier):
        lines.setdefault(f"day{row.weekday}", []).append(f"{row.start:%H:%M}-{row.end:%H:%M}")
    return {name: ", ".join(spans) for name, spans in lines.items()}


def _week(verifier: User) -> str:
    """ "Mon to Fri 09:00-18:00; Sat 10:00-14:00": days in a row with the same hours are said together."""
    typed = _typed(verifier)
    runs: list[tuple[list[str], str]] = []
    for number, name in enumerate(WEEKDAYS):
        spans = typed.get(f"day{number}", "")
        if not runs or runs[-1][1] != spans:
            runs.append(([], spans))
        runs[-1][0].append(name[:3])
    return "; ".join(f"{_days(names)} {spans}" for names, spans in runs if spans)


def _days(names: list[str]) -> str:
    return f"{names[0]} to {names[-1]}" if len(names) > 2 else words.listed(names)


def _off(verifier: User) -> list[dict[str, Any]]:
    rows = TimeOff.objects.standing().filter(verifier=verifier, ends_at__gt=clock.now())
    return [
        {"row": row, "from": shown.instant(row.starts_at, verifier.zone), "to": shown.instant(row.ends_at, verifier.zone)} for row in rows
    ]
