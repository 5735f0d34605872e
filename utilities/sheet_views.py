"""Pages of the sheets for a desk: prepared, read, released, answered line by line."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.text import slugify
from django.views.decorators.http import require_POST, require_safe

from jobs.core import clock, phones, rules, words
from jobs.core.actors import actor, member
from jobs.core.csvout import write_xlsx
from jobs.core.forms import OfficeForm
from jobs.core.refusals import Refused
from jobs.core.views import answer
from jobs.core.web import download, recorded, right
from utilities import deskanswers, deskpage, requests, services, sheetpaper, sheets, shown
from utilities.desk_forms import LinesForm
from utilities.models import DeskSheet, FitRequest
from utilities.views import seen_utility

RECORD = "core.record_requests"
# What `import_file answers` reads back, with what the desk needs beside it; empty columns are the desk's to fill in.
XLSX = (
    "Request", "Utility's number", "Meter", "Address", "Sent", "Last promised", "Access note",
    "Said on", "Answer", "Day of it", "Fitted serial", "Who said it", "Note",
)  # fmt: skip


class ReleaseForm(OfficeForm):
    channel = forms.ChoiceField(label="How it is given", choices=list(requests.CHANNELS.items()), initial="e-mail")
    person = forms.CharField(label="To whom", max_length=120, required=False)
    good_ones = forms.BooleanField(label="Leave off the lines that have become stale", required=False)


def _seen(request: HttpRequest, uid: uuid.UUID) -> DeskSheet:
    return get_object_or_404(
        DeskSheet.objects.seen_by(member(request)).filter(discarded_at__isnull=True).select_related("utility"), uid=uid
    )


@right(RECORD)
@require_POST
def prepare(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """A sheet of all homes that wait for this desk; one that is prepared already is shown."""
    utility = seen_utility(request, uid)
    before = DeskSheet.objects.prepared().filter(utility=utility).first()
    if before is not None:
        return redirect("sheet", uid=before.uid)
    try:
        made = sheets.prepare_sheet(utility, by=actor(request))
    except Refused as refusal:
        return recorded(request, f"Nothing was prepared: {refusal}", "desk", uid=utility.uid)
    return recorded(request, f"The sheet for {utility} is prepared. Nothing has left yet.", "sheet", uid=made.uid)


@right(RECORD)
def sheet(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """The sheet as it stands on paper; once it was given, with its answers."""
    found, today = _seen(request, uid), clock.office_today()
    wanted = found.lines.filter(left_off="").values("request")
    still = FitRequest.objects.seen_by(member(request)).filter(pk__in=wanted, job__isnull=False)
    open_now = list(shown.with_parts(still.open()).order_by("filed_on", "code"))
    homes = deskpage.homes_of(open_now, desk=None, today=today) if found.released_at else []
    form = LinesForm(request.POST or None, homes=homes, initial={"on": clock.today_in(found.utility.zone), "channel": found.channel})
    if request.method == "POST":
        if not found.released_at:
            raise Http404("This sheet was not given to anybody yet; nothing answers it.")
        if form.is_valid():
            try:
                count = deskanswers.record_lines(found.utility, **form.given(), sheet=found, by=actor(request))
            except Refused as refusal:
                form.refuse(refusal)
            else:
                said = f"{words.count(count, 'answer').capitalize()} of {found.utility} to its sheet: on record."
                return recorded(request, said, "sheet", uid=found.uid)
    rows = sheets.rows_of(found)
    stale = {} if found.released_at else sheets.trouble(open_now)
    context = {
        "sheet": found,
        "utility": found.utility,
        "rows": [_line(row, today=today) for row in rows],
        "stale": list(stale.values()),
        "gone": len(rows) - len(open_now),
        "left_off": found.lines.exclude(left_off=""),
        "may_release": member(request).has_perm(sheets.RELEASE),
    }
    return answer(request, "utilities/sheet.html", form, **context)


_RELEASE: Callable[..., DeskSheet] = sheets.release_sheet


@right(sheets.RELEASE)
def release(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """The sheet goes to the desk: a page that says first what follows."""
    found = _seen(request, uid)
    form = ReleaseForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            _RELEASE(found, **form.cleaned_data, on=clock.today_in(found.utility.zone), by=actor(request))
        except deskanswers.LinesRefused as refusal:
            form.refuse(refusal)
            for _, sentence in refusal.wrong.values():
                form.add_error(None, sentence)
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"The sheet for {found.utility} is released. Give it to the desk now.", "sheet", uid=found.uid)
    count = len(sheets.rows_of(found))
    context = {
        "heading": f"Release the sheet for {found.utility}",
        "margin": "Sheet",
        "happens": [
            f"{words.count(count, 'line').capitalize()}: each is checked once more as the record is now, and stays as it was given.",
            "It counts as an asking about each home, and the desk is left alone for the days of the rule.",
            "Nothing leaves by itself: you print it, or send the file the way the desk takes it.",
        ],
        "final": "A released sheet is not changed; a new one can be prepared later.",
        "whom": services.terms_now(found.utility).desk_email or "the desk, in the way it takes several homes",
        "act": "Release the sheet",
        "keep": "Not yet",
        "back": reverse("sheet", kwargs={"uid": found.uid}),
    }
    return answer(request, "confirm.html", form, **context)


@right(RECORD)
@require_POST
def discard(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    found = _seen(request, uid)
    utility = found.utility
    try:
        sheets.discard_sheet(found, by=actor(request))
    except Refused as refusal:
        return recorded(request, f"It was not thrown away: {refusal}", "sheet", uid=uid)
    return recorded(request, f"The sheet for {utility} is thrown away; nobody outside has seen it.", "desk", uid=utility.uid)


@right(RECORD)
@require_safe
def sheet_file(request: HttpRequest, uid: uuid.UUID, ending: str) -> HttpResponseBase:
    """The sheet as a PDF or a workbook, which `import_file answers` reads back once it is filled in."""
    found, today = _seen(request, uid), clock.office_today()
    name = f"waiting-{slugify(found.utility.name)}.{ending}"
    rows = sheets.rows_of(found)
    if ending == "pdf":
        return download(sheetpaper.sheet_paper(_paper(found, rows, today)), name, "application/pdf")
    if ending != "xlsx":
        raise Http404("The sheet is there as pdf and as xlsx.")
    told = (
        (row["code"], row["reference"], row["meter"], row["address"], _day(row["sent_on"]), _day(row["promised_by"]), row["access"])
        for row in rows
    )
    data = write_xlsx(XLSX, [(*row, *[None] * (len(XLSX) - len(row))) for row in told], title="Waiting homes")
    return download(data, name, "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet")


def _paper(found: DeskSheet, rows: list[dict[str, str]], today: dt.date) -> sheetpaper.Plain:
    told = rules.several("company_name", "company_phone", "company_email")
    try:
        phone = phones.shown(phones.e164(str(told["company_phone"])).number) if told["company_phone"] else ""
    except ValueError:
        phone = str(told["company_phone"])
    return sheetpaper.Plain(
        company=str(told["company_name"]),
        phone=phone,
        email=str(told["company_email"]),
        utility=found.utility.name,
        day=words.day(found.released_on or clock.today_in(found.utility.zone)),
        lines=[sheetpaper.Line(**_line(row, today=dt.date.min)) for row in rows],
        released=found.released_at is not None,
    )


def _line(row: dict[str, str], *, today: dt.date) -> dict[str, Any]:
    sent, promised = _day(row["sent_on"]), _day(row["promised_by"])
    return {
        **{name: row[name] for name in ("code", "reference", "meter", "address", "access")},
        "sent": words.day_short(sent, today=today) if sent else "",
        "promised": words.day_short(promised, today=today) if promised else "",
    }


def _day(iso: str) -> dt.date | None:
    return dt.date.fromisoformat(iso) if iso else None
