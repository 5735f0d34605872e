"""The verifiers' hours and time off."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from jobs.appointments import hours, shown, times
from jobs.appointments.forms import WEEKDAYS, HoursForm, OffForm
from jobs.appointments.models import TimeOff, VerifierHours
from jobs.core import clock, walltime, words
from jobs.core.actors import actor
from jobs.core.models import User
from jobs.core.refusals import Refused
from jobs.core.web import recorded, right


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
    return _page(request, verifier, form=form, off_form=OffForm())


@right("core.set_hours")
@require_POST
def take_off(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    verifier = _verifier(uid)
    form = OffForm(request.POST)
    if form.is_valid():
        told = form.cleaned_data
        zone = walltime.zone_of(verifier.zone)
        starts, ends = (dt.datetime.combine(told[f"{end}_on"], told[f"{end}_time"], zone) for end in ("from", "to"))
        try:
            hours.take_time_off(verifier, starts_at=starts, ends_at=ends, reason=told["reason"], by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Time off of {verifier.name}: on record.", "verifier_hours", uid=uid)
    return _page(request, verifier, form=HoursForm(initial=_typed(verifier)), off_form=form)


@right("core.set_hours")
@require_POST
def withdraw(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    time_off = get_object_or_404(TimeOff.objects.seen_by(request.user).select_related("verifier"), uid=uid)
    try:
        hours.withdraw_time_off(time_off, by=actor(request))
    except Refused as refusal:
        form = OffForm()
        return _page(request, time_off.verifier, form=HoursForm(initial=_typed(time_off.verifier)), off_form=form, refused=str(refusal))
    return recorded(request, "The time off is withdrawn.", "verifier_hours", uid=time_off.verifier.uid)


def _page(request: HttpRequest, verifier: User, *, form: HoursForm, off_form: OffForm, refused: str = "") -> HttpResponseBase:
    context = {"verifier": verifier, "form": form, "off_form": off_form, "off": _off(verifier), "refused": refused}
    status = 422 if form.errors or off_form.errors or refused else 200
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
