"""The page on which a call is led. Each press is a small POST of its own; nothing of it needs script."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from typing import Any

from django.db.models import Q
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods, require_POST

from jobs.appointments import callpage, forms, oncall, records, shown, verification
from jobs.appointments.evidence import NOT_RETURNED
from jobs.appointments.models import CallRecord, Press, VerificationRecord
from jobs.core import clock, phones, walltime
from jobs.core.actors import actor
from jobs.core.forms import KeyedForm, OfficeForm
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.core.web import recorded, right
from utilities import services


def page(request: HttpRequest, call: CallRecord, *, refused: str = "", form: OfficeForm | None = None, at: str = "") -> HttpResponse:
    """The call page. form: the one that was refused, kept as typed; at: which one it is."""
    appointment = call.appointment
    record = VerificationRecord.objects.filter(appointment=appointment).prefetch_related("additions").first()
    shown_page = callpage.page_of(call)
    context: dict[str, Any] = {
        "call": appointment,
        "page": shown_page,
        "record": record,
        "together": callpage.together(record, appointment.zone) if record else "",
        "own": request.user.has_perm("core.verify") and appointment.verifier_id == request.user.pk and call.ended_at is None,
        "refused": refused,
        "refused_at": at,
        "numbers": _numbers(call),
        "when": shown.when(appointment),
        "readings_form": forms.ReadingsForm(),
        "result_form": forms.ResultForm(asks=shown_page.asks_put_back),
        "see_form": forms.SeeForm(),
        "balance_form": forms.BalanceForm(),
        "may_give": record is not None and record.result == "passed" and appointment.job.state == S.BACKUP_VERIFIED,
        "may_plan": request.user.has_perm("core.assign_crew") and appointment.job.state == S.COLLAR_ENERGIZED,
        "may_void": record is not None and request.user.has_perm("core.void_verification"),
        "emergency": f"{reverse('emergency')}?{urlencode({'job': appointment.job.code})}",
        "key": uuid.uuid4(),
    }
    if form is not None:
        context[f"{at}_form"] = form
    return render(request, "appointments/call.html", context, status=422 if refused or (form is not None and form.errors) else 200)


def _numbers(call: CallRecord) -> list[tuple[str, str, str]]:
    """(whose, as people read it, tel: address) in the order in which they are called."""
    job, person = call.job, call.appointment.person
    line = services.emergency_line(job)
    rows = [("Danger to life", "911", "tel:911")]
    if line:
        utility = services.utility_of(job)
        rows.append((f"Emergency line of {utility.name if utility else 'the utility'}", phones.shown(line), phones.link(line)))
    pieces = oncall.reached(clock.now()).pieces
    if pieces:
        named = "".join(text for text, link in pieces if not link).strip(" ,")
        number, link = next((piece for piece in pieces if piece[1]), (named, ""))
        rows.append((f"Licensed person on call, {named}" if link else "Licensed person on call", number, link))
    if person.phone:
        told = phones.shown(person.phone, extension=person.phone_ext)
        rows.append((f"The home, {person.name}", told, phones.link(person.phone, extension=person.phone_ext)))
    return rows


def _own(request: HttpRequest, uid: uuid.UUID) -> CallRecord:
    rows = CallRecord.objects.held_by(request.user).select_related("appointment__job__site", "appointment__person", "appointment__verifier")
    return get_object_or_404(rows, appointment__uid=uid)


def _pressed(
    request: HttpRequest,
    call: CallRecord,
    form: KeyedForm,
    act: Callable[..., object],
    told: Callable[[], dict[str, Any]],
    *,
    at: str,
) -> HttpResponseBase:
    """One press: back to the page, or the page with the sentence and what was typed. told: the act's keywords, of a form that is valid."""
    if not form.is_valid():
        return page(request, call, form=form, at=at)
    try:
        act(call, **told(), by=actor(request), key=form.given_key)
    except Refused as refusal:
        call.refresh_from_db()
        form.refuse(refusal)
        return page(request, call, refused=str(refusal), form=form, at=at)
    return redirect(f"{reverse('call', kwargs={'uid': call.appointment.uid})}#now")


@right("core.verify")
@require_POST
def caution(request: HttpRequest, uid: uuid.UUID, name: str) -> HttpResponseBase:
    call, form = _own(request, uid), KeyedForm(request.POST)
    return _pressed(request, call, form, verification.acknowledge, lambda: {"caution": name}, at="caution")


@right("core.verify")
@require_POST
def check(request: HttpRequest, uid: uuid.UUID, name: str) -> HttpResponseBase:
    call, form = _own(request, uid), forms.CheckForm(request.POST)
    return _pressed(request, call, form, verification.answer_check, lambda: {"check": name, **form.told}, at="check")


@right("core.verify")
@require_POST
def readings(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    call, form = _own(request, uid), forms.ReadingsForm(request.POST)
    return _pressed(request, call, form, verification.note_readings, lambda: {"readings": form.readings()}, at="readings")


@right("core.verify")
@require_POST
def balance(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    call, form = _own(request, uid), forms.BalanceForm(request.POST)
    return _pressed(request, call, form, verification.note_balance, lambda: form.told, at="balance")


@right("core.verify")
@require_POST
def see(request: HttpRequest, uid: uuid.UUID, what: str) -> HttpResponseBase:
    """“Seen now”. The return not seen leads to the emergency page at once."""
    call, form = _own(request, uid), forms.SeeForm(request.POST)
    answer = _pressed(request, call, form, verification.see, lambda: {"what": what, **form.told}, at="see")
    if what == NOT_RETURNED and answer.status_code == 302:
        return redirect(f"{reverse('emergency')}?{urlencode({'job': call.job.code})}")
    return answer


@right("core.verify")
@require_POST
def result(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    call = _own(request, uid)
    form = forms.ResultForm(request.POST, asks=callpage.page_of(call).asks_put_back)
    return _pressed(request, call, form, verification.record_result, lambda: form.told, at="result")


@right("core.verify")
@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: HttpRequest, uid: uuid.UUID, press_uid: uuid.UUID) -> HttpResponseBase:
    """A press was wrong: another takes its place, with the reason."""
    call = _own(request, uid)
    press = get_object_or_404(Press.objects.filter(call=call), uid=press_uid)
    zone = call.appointment.zone
    seen_at = press.at.astimezone(walltime.zone_of(zone))
    form = forms.CorrectForm(
        request.POST or None, initial={"at": seen_at.strftime("%H:%M:%S"), "watts": press.value.get("watts"), "key": str(uuid.uuid4())}
    )
    if press.what not in verification.WITH_WATTS:
        del form.fields["watts"]  # nothing is read at this sighting
    if request.method == "POST" and form.is_valid():
        told = form.told | {"at": _seen_at(press, form.cleaned_data["at"], zone), "key": form.given_key}
        try:
            verification.correct_press(press, **told, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return redirect("call", uid=uid)
    context = {"call": call.appointment, "form": form, "title": callpage.title_of(press.what), "at": seen_at.strftime("%H:%M:%S")}
    return render(request, "appointments/correct.html", context, status=422 if form.errors else 200)


def _seen_at(press: Press, typed: dt.time | None, zone: str) -> dt.datetime | None:
    """The typed time on the day of the press; None where it says the second that stands already."""
    local = press.at.astimezone(walltime.zone_of(zone))
    if typed is None or typed == local.time().replace(microsecond=0):
        return None
    return dt.datetime.combine(local.date(), typed, walltime.zone_of(zone)).astimezone(dt.UTC)


def _record(request: HttpRequest, uid: uuid.UUID) -> VerificationRecord:
    """The record of the call or the site visit of this uid."""
    rows = VerificationRecord.objects.seen_by(request.user).select_related("job", "appointment", "visit")
    return get_object_or_404(rows, Q(appointment__uid=uid) | Q(visit__uid=uid))


def _where(record: VerificationRecord) -> tuple[str]:
    return ("call" if record.appointment_id else "site_visit",)


@right("core.void_verification")
@require_http_methods(["GET", "HEAD", "POST"])
def void(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """The manager takes a record's proof away, by addition."""
    record = _record(request, uid)
    form = forms.VoidForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            records.void_verification(record, reason=form.cleaned_data["reason"], by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"The verification of job {record.job.code} is voided.", *_where(record), uid=uid)
    context = {
        "heading": "Void this verification",
        "margin": record.job.code,
        "happens": [
            "The record stays as it is, with your reason added to it.",
            "The home steps back to collar energized, and a new call is due. Telephone the homeowner: there is no verified backup.",
            "Earned money stays as it is.",
        ],
        "final": "A voided record is not taken up again; a new call is held instead.",
        "form": form,
        "act": "Void the verification",
        "keep": "Keep it",
        "back": reverse(*_where(record), kwargs={"uid": uid}),
    }
    return render(request, "confirm.html", context, status=422 if form.errors else 200)


@right("core.void_verification")
@require_http_methods(["GET", "HEAD", "POST"])
def add(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """Add a correction to a record."""
    record = _record(request, uid)
    form = forms.AddForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            records.add_to_record(record, text=form.cleaned_data["text"], by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Added to the record of job {record.job.code}.", *_where(record), uid=uid)
    context = {"back": reverse(*_where(record), kwargs={"uid": uid}), "record": record, "form": form, "day": clock.office_today()}
    return render(request, "appointments/add.html", context, status=422 if form.errors else 200)
