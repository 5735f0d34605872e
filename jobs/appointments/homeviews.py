"""The homeowner's page behind a signed link: times or the booked time, the medical question, decline.

A page load changes nothing: previews, scanners and reloads are harmless. Nothing is chosen in advance.
"""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from jobs.appointments import booking, homewords, notices, readiness, times
from jobs.appointments.homewords import lang_of
from jobs.appointments.models import PROMISED, Appointment, AppointmentState, CallRecord
from jobs.appointments.notices import BEFORE_A_TEST
from jobs.core import actors, clock, links
from jobs.core.facts import LIFT_ANSWERS, MEDICAL_ANSWERS
from jobs.core.models import SignedLink
from jobs.core.refusals import OutOfSight, Refused
from jobs.core.states import S
from jobs.core.web import download
from jobs.core.words import Lang

SHOWN = 6  # times at once; more behind "show other times"
READ_BEFORE = tuple(name for name in BEFORE_A_TEST if name != "medical")  # that one stands at its question

# What a refusal says to a homeowner; the office's sentence may name facts that are not theirs to read.
SORRY: dict[str, dict[Lang, str]] = {
    "not ready": {
        "en": "The test cannot be held at the moment, and nothing was booked. Please telephone us.",
        "es": "Por ahora no se puede hacer la prueba y no se reservó nada. Por favor, llámenos.",
    },
    "medical": {
        "en": "Please answer the question about medical equipment; nothing was booked yet.",
        "es": "Por favor, responda la pregunta sobre equipos médicos; todavía no se reservó nada.",
    },
    "lift": {
        "en": "Please answer the question about a lift or stair lift; nothing was booked yet.",
        "es": "Por favor, responda la pregunta sobre ascensores o salvaescaleras; todavía no se reservó nada.",
    },
    "choose": {
        "en": "Please choose one of the times; nothing was booked yet.",
        "es": "Por favor, elija una de las horas; todavía no se reservó nada.",
    },
    "taken": {
        "en": "That time is not free any more. Please choose another one; the time we kept for you still stands.",
        "es": "Esa hora ya no está libre. Por favor, elija otra; la hora que le guardamos sigue en pie.",
    },
    "over": {
        "en": "This cannot be changed on this page any more. Please telephone us.",
        "es": "Esto ya no se puede cambiar en esta página. Por favor, llámenos.",
    },
}


@dataclass(frozen=True)
class Time:
    value: str  # the instant
    words: str
    chosen: bool
    kept: bool  # the time that is kept for this home


@require_http_methods(["GET", "HEAD", "POST"])
def call(request: HttpRequest, token: str) -> HttpResponseBase:
    try:
        signed = links.opened(token, purpose="call")
    except links.LinkEnded as ended:
        return _ended(request, ended.link)
    except links.LinkUnknown:
        raise OutOfSight("This link is not complete; copy it whole from the message.") from None
    appointment = _about(signed)
    lang = _lang(request, signed)
    if request.method == "POST":
        return _answered(request, signed, appointment, lang, token)
    return _page(request, signed, appointment, lang)


def _about(signed: SignedLink) -> Appointment:
    """The call of this link; one link knows no other home's."""
    uid = _uid(signed.about)
    found = Appointment.objects.with_names().filter(job_id=signed.job_id, uid=uid).first() if uid else None
    if found is None:
        raise OutOfSight("This link is about nothing that stands.")
    return found


def _uid(text: str) -> uuid.UUID | None:
    try:
        return uuid.UUID(text)
    except ValueError:
        return None


def _lang(request: HttpRequest, signed: SignedLink) -> Lang:
    return lang_of(request.GET.get("lang") or signed.person.language)


def _answered(request: HttpRequest, signed: SignedLink, appointment: Appointment, lang: Lang, token: str) -> HttpResponseBase:
    """A pressed button: one act, then back to the page, which says what stands."""
    by = actors.link(signed)
    key = request.POST.get("key") or None
    try:
        if request.POST.get("do") == "decline":
            booking.decline_by_link(appointment, by=by, **({"key": key} if key else {}))
        else:
            medical, starts_at = request.POST.get("medical", ""), _instant(request.POST.get("time", ""))
            if starts_at is None:
                return _page(request, signed, appointment, lang, sorry="choose")
            if medical not in MEDICAL_ANSWERS:
                return _page(request, signed, appointment, lang, sorry="medical")
            lift = request.POST.get("lift", "")
            if lift not in LIFT_ANSWERS:
                return _page(request, signed, appointment, lang, sorry="lift")
            booking.answer_by_link(appointment, medical=medical, lift=lift, starts_at=starts_at, by=by, **({"key": key} if key else {}))
    except Refused as refusal:
        fresh = _about(signed)
        # Pressed a second time, from another tab or after Back: what stands is what was asked for.
        if fresh.state != AppointmentState.CONFIRMED or fresh.starts_at != _instant(request.POST.get("time", "")):
            return _page(request, signed, fresh, lang, sorry=_why(refusal))
    return redirect(f"{reverse('homeowner_call', args=[token])}?lang={lang}")


def _why(refusal: Refused) -> str:
    if isinstance(refusal, readiness.NotReady):
        return "not ready"
    return "taken" if refusal.field == "time" else "over"


def _instant(text: str) -> dt.datetime | None:
    try:
        at = dt.datetime.fromisoformat(text)
    except ValueError:
        return None
    return at if at.tzinfo is not None else None


def _page(request: HttpRequest, signed: SignedLink, appointment: Appointment, lang: Lang, *, sorry: str = "") -> HttpResponse:
    begun = CallRecord.objects.filter(appointment=appointment).exists()
    open_now = appointment.is_open and not begun and appointment.starts_at > clock.now()
    ready = open_now and not readiness.missing_to_confirm(appointment.job, clock.today_in(appointment.zone))
    changing = request.GET.get("change") == "1" or bool(sorry)
    asks = ready and (appointment.state != AppointmentState.CONFIRMED or changing)
    context: dict[str, Any] = {
        "lang": lang,
        "other_language_url": _other(request, lang),
        "call": appointment,
        "state": _state(appointment, begun=begun, open_now=open_now),
        "ready": ready,
        "asks": asks,
        "may_give_up": open_now,
        "day": homewords.day(appointment.local_date, lang=lang),
        "time": homewords.time(appointment.local_time, zone=appointment.zone, lang=lang),
        "times": _times(request, appointment, lang) if asks else [],
        "more_url": _more(request, lang),
        "change_url": f"?lang={lang}&change=1",
        "medical": request.POST.get("medical", ""),
        "medical_answers": _MEDICAL[lang],
        "lift": request.POST.get("lift", ""),
        "lift_answers": _LIFT[lang],
        "calendar_url": f"{reverse('homeowner_calendar', args=[links.token_of(signed)])}?lang={lang}"
        if _stands(appointment, open_now)
        else "",
        "read_before": [name for name in READ_BEFORE if not (asks and name == "lifts")],
        "no_backup": appointment.job.state != S.BACKUP_VERIFIED,
        "sorry": SORRY[sorry][lang] if sorry else "",
        "key": uuid.uuid4(),
    }
    return render(request, "appointments/home_call.html", context, status=422 if sorry else 200)


_MEDICAL: dict[Lang, list[tuple[str, str]]] = {
    "en": [("no", "No"), ("yes", "Yes"), ("not sure", "Not sure"), ("declined", "I would rather not say")],
    "es": [("no", "No"), ("yes", "Sí"), ("not sure", "No lo sé con certeza"), ("declined", "Prefiero no decirlo")],
}


_LIFT: dict[Lang, list[tuple[str, str]]] = {
    "en": [("no", "No"), ("yes", "Yes"), ("not sure", "Not sure")],
    "es": [("no", "No"), ("yes", "Sí"), ("not sure", "No lo sé con certeza")],
}


def _stands(appointment: Appointment, open_now: bool) -> bool:
    """Whether there is a booked time to put into a calendar."""
    return open_now and appointment.state in PROMISED


@require_safe
def calendar(request: HttpRequest, token: str) -> HttpResponseBase:
    """The booked time as a file for the homeowner's own calendar; changes nothing."""
    try:
        signed = links.opened(token, purpose="call")
    except links.LinkEnded as ended:
        return _ended(request, ended.link)
    except links.LinkUnknown:
        raise OutOfSight("This link is not complete; copy it whole from the message.") from None
    appointment = _about(signed)
    begun = CallRecord.objects.filter(appointment=appointment).exists()
    if not _stands(appointment, appointment.is_open and not begun and appointment.starts_at > clock.now()):
        raise OutOfSight("No time is booked here, so there is nothing for a calendar.")
    made = notices.calendar_file(appointment, lang=_lang(request, signed))
    return download(made.data, made.name, "text/calendar; charset=utf-8")


def _state(appointment: Appointment, *, begun: bool, open_now: bool) -> str:
    """What the page is about: offered, booked, confirmed, declined, cancelled, medical, over."""
    if appointment.state == AppointmentState.CANCELLED:
        return "medical" if appointment.ended_why == "medical" else "cancelled"
    if appointment.state in (AppointmentState.HELD, AppointmentState.MISSED) or begun or (appointment.is_open and not open_now):
        return "over"
    return appointment.state


def _times(request: HttpRequest, appointment: Appointment, lang: Lang) -> list[Time]:
    """The kept time first, then other free ones, each instant once."""
    first_at = clock.now() + times.SOONEST
    others = times.times_for(appointment.job, person=appointment.person, apart_from=appointment, first_at=first_at)
    found = {appointment.starts_at: (appointment.local_date, appointment.local_time)}
    for free in others:
        found.setdefault(free.slot.starts_at, (free.slot.local_date, free.slot.local_time))
    shown = list(found.items()) if request.GET.get("more") == "1" else list(found.items())[:SHOWN]
    chosen = _instant(request.POST.get("time", ""))
    return [
        Time(
            starts_at.isoformat(),
            f"{homewords.day(day, lang=lang)}, {homewords.time(at, zone=appointment.zone, lang=lang)}",
            chosen == starts_at,
            starts_at == appointment.starts_at,
        )
        for starts_at, (day, at) in shown
    ]


def _more(request: HttpRequest, lang: Lang) -> str:
    return "" if request.GET.get("more") == "1" else f"?lang={lang}&change=1&more=1"


def _other(request: HttpRequest, lang: Lang) -> str:
    return f"{request.path}?lang={'en' if lang == 'es' else 'es'}"


def _ended(request: HttpRequest, signed: SignedLink) -> HttpResponse:
    lang = _lang(request, signed)
    no_backup = signed.job.state != S.BACKUP_VERIFIED
    context = {"lang": lang, "other_language_url": _other(request, lang), "no_backup": no_backup}
    return render(request, "appointments/home_ended.html", context, status=410)
