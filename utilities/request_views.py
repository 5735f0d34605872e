"""Pages of requests: the list, one request, and what can be recorded on it; connecting a home to its utility."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from jobs.core import clock, codes, lists, words
from jobs.core.actors import actor, member
from jobs.core.charts import ranges as range_rows
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.core.views import answer, seen_job
from jobs.core.web import recorded, right
from utilities import (
    changes,
    drawn,
    endings,
    exports,
    filters,
    meters,
    reports,
    requestpage,
    requests,
    said,
    sentwith,
    services,
    shown,
    visits,
)
from utilities.doings import DOINGS
from utilities.forms import ConnectForm, ServiceForm
from utilities.models import ChangeOrder, FitRequest, Outcome, Service, Visit
from utilities.request_forms import ActForm, EndForm, ExchangeForm, SignedForm, ToldForm
from utilities.sending_forms import SentForm

RECORD = "core.record_requests"
COLUMNS = (
    ("Request", "request", "m"), ("Home", "", ""), ("Utility", "utility", ""), ("Sent", "sent", ""), ("Days", "", "num"),
    ("Business days", "", "num"), ("Half by", "half", ""), ("Nine in ten by", "", ""), ("Last contact", "", ""), ("Outcome", "ended", ""),
    ("Next act", "", "act"),
)  # fmt: skip
# Of a list of open ones alone: what it says of each besides is its range.
OPEN_COLUMNS = (*COLUMNS[:6], ("Range", "", "ranged"), *COLUMNS[6:9], COLUMNS[10])
RANGE = 170  # px


@right("core.see_utilities")
@require_safe
def request_list(request: HttpRequest) -> HttpResponseBase:
    narrowing, today = filters.requests(member(request), request.GET), clock.office_today()
    only_open = narrowing.told.get("outcome", Outcome.OPEN) == Outcome.OPEN
    columns = OPEN_COLUMNS if only_open else COLUMNS
    sheet = lists.sheet_of(request.GET, shown.with_parts(narrowing.rows), sort=narrowing.sort, columns=columns)
    lines = shown.lines(sheet["page"].object_list, today=today)
    context = sheet | {
        "form": narrowing.form,
        "title": filters.in_words(narrowing),
        "lines": lines,
        "ranges": drawn.ranges(lines, today=today, width=RANGE) if only_open else None,
        "range_caption": range_rows.CAPTION,
    }
    return render(request, "utilities/requests.html", context, status=422 if narrowing.refused else 200)


@right("core.see_utilities")
@require_safe
def request_export(request: HttpRequest, ending: str) -> HttpResponseBase:
    """What the list shows, as a file."""
    narrowing = filters.requests(member(request), request.GET)
    if narrowing.refused:
        return lists.back_to_the_list(request, "requests")
    return lists.table_file("requests", ending, exports.REQUESTS, exports.requests(narrowing.rows), given=request.GET)


@right("core.see_utilities")
@require_safe
def request_page(request: HttpRequest, code: str) -> HttpResponseBase:
    rows = shown.with_parts(FitRequest.objects.seen_by(member(request))).select_related("follows", "district", "version")
    found = get_object_or_404(rows, code=codes.normal(code))
    today = clock.office_today()
    (line,) = shown.lines([found], today=today)
    context = {
        "fit": found,
        "line": line,
        "cells": _cells(found, today),
        "sendings": sentwith.sendings(found),
        "visits": found.visits.order_by("-pk"),
        "contacts": found.contacts.order_by("-on", "-pk"),
        "newer": found.followed_by.exclude(outcome=Outcome.VOID).first(),
        "ended": shown.ended_sentence(found),
        **requestpage.of(found, today=today, may_see_codes=member(request).has_perm("core.reveal_codes")),
        "may_fit": found.outcome == Outcome.CANCELLED and not found.followed_by.exclude(outcome=Outcome.VOID).exists(),
    }
    return render(request, "utilities/request.html", context)


def _cells(found: FitRequest, today: Any) -> list[tuple[str, ...]]:
    def day(on: Any, otherwise: str) -> str:
        return words.day_short(on, today=today) if on else otherwise

    job, service = found.job, found.service
    return [
        ("Home", job.homeowner if job else "history", job.site.line if job else f"reference {found.own_reference}"),
        ("Utility", found.utility.name, found.district.name if found.district else ""),
        ("Meter", (service.meter_number if service else "") or "not known", service.meter_form if service else ""),
        ("Sent", day(found.filed_on, ""), found.route),
        ("Its number at the utility", found.utility_reference or "not known", ""),
        ("Acknowledged", day(found.acknowledged_on, "no word yet"), ""),
    ]


# What can be recorded. An act takes a `key` besides what it declares, which no type can say.

_END: Callable[..., Any] = endings.end_request
_TOLD: Callable[..., Any] = visits.record_homeowner_told
_SENT: Callable[..., Any] = requests.record_sent
_SIGNED: Callable[..., Any] = changes.record_change_signed
_EXCHANGE: Callable[..., Any] = changes.record_meter_exchange


def seen_request(request: HttpRequest, uid: uuid.UUID) -> FitRequest:
    """The request of a job, if the person may know of it; history has no acts."""
    rows = FitRequest.objects.seen_by(member(request)).filter(job__isnull=False).select_related("utility", "service", "job__site")
    return get_object_or_404(rows, uid=uid)


@right(RECORD)
def do(request: HttpRequest, uid: uuid.UUID, what: str) -> HttpResponseBase:
    """Record one thing about a request."""
    found = seen_request(request, uid)
    doing = DOINGS[what]
    if not found.is_open and not doing.ended_too:
        raise Http404("This request has ended; nothing of the kind is recorded on it.")
    form = _form(request, doing.form, found, doing.today)
    if what == "fitted":
        form.initial |= requestpage.proposed(found)
    if request.method == "POST" and form.is_valid():
        try:
            doing.act(found, **form.given(), by=actor(request), key=_key(form))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"{doing.said}: on record. {_next(form.job)}", "job", code=form.job.code)
    return answer(request, doing.template, form, **_about(found, what), title=doing.title, button=doing.button)


@right(RECORD)
def end(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """End a request without fitting: a page that says first what follows."""
    found = seen_request(request, uid)
    if not found.is_open:
        raise Http404("This request has ended already.")
    form = _form(request, EndForm, found, ("on",))
    if request.method == "POST" and form.is_valid():
        try:
            _END(found, **form.given(), by=actor(request), key=_key(form))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Request {found.code} has ended. {_next(form.job)}", "job", code=form.job.code)
    days = (clock.today_in(found.utility.zone) - found.filed_on).days
    context = {
        "heading": f"End request {found.code} at {found.utility}",
        "margin": found.code,
        "happens": [
            f"The wait of {words.count(days, 'day')} ends without a fitting, and the forecasts count it so.",
            "The home waits on us until a new request is sent; the new one begins a wait of its own.",
            "Nothing is sent to the utility from here: a withdrawal is told to its desk.",
            "An end recorded in error is corrected on the job's page.",
        ],
        "act": "End the request",
        "keep": "Keep it open",
        "back": reverse("request", kwargs={"code": found.code}),
    }
    return answer(request, "confirm.html", form, **context)


@right(RECORD)
def told(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """The homeowner knows of an announced visit."""
    visit = get_object_or_404(Visit.objects.seen_by(member(request)).select_related("request__utility", "request__job__site"), uid=uid)
    form = _form(request, ToldForm, visit, ("on",))
    if request.method == "POST" and form.is_valid():
        try:
            _TOLD(visit, **form.given(), by=actor(request), key=_key(form))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, "The homeowner knows of the visit.", "request", code=visit.request.code)
    context = {"title": "Homeowner told of the visit", "button": "Record homeowner told", "visit": visit}
    return answer(request, "utilities/record.html", form, **_about(visit.request), **context)


@right(RECORD)
def signed(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """The owner signed a proposed change."""
    rows = ChangeOrder.objects.seen_by(member(request)).select_related("request__utility", "request__job__site")
    change = get_object_or_404(rows, uid=uid)
    form = _form(request, SignedForm, change, ("on",))
    if request.method == "POST" and form.is_valid():
        try:
            _SIGNED(change, **form.given(), by=actor(request), key=_key(form))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            said_ = "The change is signed. Next: send the new request, because the equipment was changed."
            return recorded(request, said_, "request", code=change.request.code)
    context = {"title": "The owner signed the change", "button": "Record signature", "change": change}
    return answer(request, "utilities/record.html", form, **_about(change.request), **context)


@right(RECORD)
def exchange(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """A meter exchange that the utility owes, or has done."""
    rows = Service.objects.seen_by(member(request)).select_related("utility", "job__site")
    found = get_object_or_404(rows, uid=uid)
    form = _form(request, ExchangeForm, found, ())
    form.initial |= {"asked_on": found.exchange_asked_on, "done_on": found.exchange_done_on}
    if request.method == "POST" and form.is_valid():
        try:
            _EXCHANGE(found, **form.given(), by=actor(request), key=_key(form))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, "The meter exchange is on record.", "job", code=found.job.code)
    context = {"title": "Meter exchange", "button": "Record the exchange", "job": found.job, "utility": found.utility}
    return answer(request, "utilities/record.html", form, **context, back=reverse("job", kwargs={"code": found.job.code}))


@right(RECORD)
def sent(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """A new request was sent for this meter."""
    service = get_object_or_404(Service.objects.seen_by(member(request)).select_related("utility", "job__site"), uid=uid)
    form = _form(request, SentForm, service, ("on",))
    if request.method == "POST" and form.is_valid():
        try:
            made = _SENT(service, **form.given(), by=actor(request), key=_key(form))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Request {made.code} is on record as sent. {_next(service.job)}", "job", code=service.job.code)
    context: dict[str, Any] = {
        "title": "Record a request to fit, sent",
        "button": "Record sending",
        "job": service.job,
        "utility": service.utility,
    }
    context |= {"service": service, "compared": requestpage.compared(service), "back": reverse("job", kwargs={"code": service.job.code})}
    return answer(request, "utilities/sent.html", form, **context)


@right(RECORD)
def connect(request: HttpRequest, code: str) -> HttpResponseBase:
    """Say which utility serves a home."""
    job = seen_job(request, code)
    form = ConnectForm(request.POST or None, job=job)
    if request.method == "POST" and form.is_valid():
        try:
            made = meters.connect_service(job, **form.given(), by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Connected to {made.utility}, {made}.", "job", code=job.code)
    context = {"title": "Connect the home to its utility", "button": "Connect", "job": job, "known": services.utility_of(job)}
    return answer(request, "utilities/record.html", form, **context, back=reverse("job", kwargs={"code": job.code}))


@right(RECORD)
def service(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """Correct what is on record of a meter."""
    found = get_object_or_404(Service.objects.seen_by(member(request)).select_related("utility", "job__site", "district"), uid=uid)
    form = ServiceForm(request.POST or None, utility=found.utility, initial=ServiceForm.initial_of(found))
    if request.method == "POST" and form.is_valid():
        try:
            meters.change_service(found, **form.given(), by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"The meter at {found.utility} is on record anew.", "job", code=found.job.code)
    context = {"title": "Meter and account", "button": "Record meter", "job": found.job, "utility": found.utility}
    return answer(request, "utilities/record.html", form, **context, back=reverse("job", kwargs={"code": found.job.code}))


def _form(request: HttpRequest, kind: type[ActForm], about: FitRequest | Service | Visit | ChangeOrder, today: tuple[str, ...]) -> Any:
    form = kind(request.POST or None, request.FILES or None, about=about, initial={"key": uuid.uuid4()})
    for name in today:
        form.initial[name] = form.today()
    return form


def _key(form: ActForm) -> str | None:
    return str(form.cleaned_data["key"] or "") or None


def _about(found: FitRequest, what: str = "") -> dict[str, Any]:
    rows = reports.reports_of(found, today=clock.office_today()) if what in ("fitted", "reported") else []
    return {
        "reports": rows,
        "agreed": reports.agreed(found, rows) if what == "fitted" else None,
        "fit": found,
        "job": found.job,
        "utility": found.utility,
        "likely": said.current(found),
        "back": reverse("request", kwargs={"code": found.code}),
    }


def _next(job: Job) -> str:
    """What the record now says comes next."""
    job.refresh_from_db()
    if not job.next_act:
        return ""
    due = f", {words.day(job.next_due_on)}" if job.next_due_on else ""
    return f"Next: {job.next_act}{due}."
