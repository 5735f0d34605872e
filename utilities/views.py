"""Pages of utilities: the list, one utility, its profile, districts and calendar, the contact log."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from typing import Any

from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from jobs.core import clock, lists, phones, words
from jobs.core.actors import actor, member
from jobs.core.attention import late
from jobs.core.charts import ranges as range_rows
from jobs.core.paging import PER_PAGE
from jobs.core.refusals import Refused
from jobs.core.views import answer
from jobs.core.web import recorded, right
from utilities import attention, drawn, exports, filters, outlooks, profile, promised, services, shown, utilitylist, versions, versionshown
from utilities.forms import WEEKDAYS, CalendarForm, DistrictsForm, UtilityForm
from utilities.models import Contact, FitRequest, Outcome, Outlook, Storm, Utility, Visit
from utilities.models.utility import HOLIDAYS
from utilities.stretches import stretches

COLUMNS = (
    ("Waiting", "open", "m"), ("Utility", "name", ""), ("Oldest sent", "oldest", ""), ("Median wait", "", ""), ("Half by", "", ""),
    ("Nine in ten by", "", ""), ("Pace", "", ""), ("Last contact", "", ""), ("Profile", "", ""), ("Emergency line", "", ""),
    ("Who of us asks", "", ""), ("Next act", "", "act"),
)  # fmt: skip
FEW = 10  # of the contact log and of past days on a utility's own page


def seen_utility(request: HttpRequest, uid: uuid.UUID) -> Utility:
    rows = Utility.objects.seen_by(member(request)).select_related("clerk", "stand_in").prefetch_related("closures")
    return get_object_or_404(rows, uid=uid)


@right("core.see_utilities")
@require_safe
def utility_list(request: HttpRequest) -> HttpResponseBase:
    narrowing = filters.utilities(member(request), request.GET)
    found = narrowing.rows.select_related("clerk").prefetch_related("closures", "versions")
    sheet = lists.sheet_of(request.GET, found, sort=narrowing.sort, columns=COLUMNS)
    rows = utilitylist.rows(list(sheet["page"]), today=clock.office_today())
    context = sheet | {"form": narrowing.form, "rows": rows}
    return render(request, "utilities/utilities.html", context, status=422 if narrowing.refused else 200)


@right("core.see_utilities")
@require_safe
def utility_export(request: HttpRequest, ending: str) -> HttpResponseBase:
    """What the list shows, as a file."""
    narrowing = filters.utilities(member(request), request.GET)
    if narrowing.refused:
        return lists.back_to_the_list(request, "utilities")
    return lists.table_file("utilities", ending, exports.UTILITIES, exports.utilities(narrowing.rows), given=request.GET)


@right("core.see_utilities")
@require_safe
def utility(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    found = seen_utility(request, uid)
    today = clock.office_today()
    open_here = FitRequest.objects.seen_by(member(request)).open().filter(utility=found)
    here, may_open = clock.today_in(found.zone), FitRequest.objects.seen_by(member(request)).waits().filter(utility=found)
    lines = shown.soonest(open_here, today=today, most=PER_PAGE)
    outlook = Outlook.objects.filter(utility=found).first()
    pace = shown.paces([found]).get(found.pk)
    announced = Visit.objects.pending().filter(request__in=open_here).select_related("request__job__site").order_by("window_from")[:FEW]
    context = {
        "utility": found,
        "cells": _cells(found, today),
        "pace": pace,
        "open_count": open_here.count(),
        "lines": lines,
        "ranges": drawn.ranges(lines, today=here, width=260),
        "range_caption": range_rows.CAPTION,
        "waits": drawn.waits(found, outlook, seen=may_open, today=here),
        "weeks": drawn.weeks(found, seen=may_open, today=here),
        "promises": (named := promised.promises(may_open, today=here)),
        "promise_chart": named.chart(found) if named.due else None,
        "front": pace.likely.why.front_words(as_of=pace.likely.as_of, weekdays=len(found.worked_weekdays)) if pace else "",
        "why": pace.likely.why.rows(as_of=pace.likely.as_of, weekdays=len(found.worked_weekdays)) if pace else (),
        "alarm": outlooks.alarm_of(found),
        "false_alarms": outlooks.FALSE_ALARMS,
        "overdue": attention.overdue_promises(open_here, today).count(),
        "announced": [(visit, _passed(visit, found, today)) for visit in announced],
        "visits": shown.visits_by_outcome(found),
        "visits_count": Visit.objects.standing().filter(request__utility=found).exclude(outcome="").count(),
        "outcomes": shown.by_outcome(found),
        "storms": Storm.objects.standing().filter(utility=found).select_related("utility", "district"),
        "contacts": _contacts(request, found)[:FEW],
        "contacts_count": _contacts(request, found).count(),
        "districts": found.districts.annotate(
            open_now=Count("requests", filter=Q(requests__outcome=Outcome.OPEN)),
            fitted=Count("requests", filter=Q(requests__outcome=Outcome.FITTED)),
        ),
        "version": (version := services.version_of(found, here)),
        "profile_old": version is None or versions.is_old(version, today=here),
        "profile_words": versions.confirmed_words(version, today=here) if version else "",
        "profile_lines": versionshown.told(services.terms_of(version), today=today).items() if version else (),
        "versions_count": found.versions.count(),
        "closures": stretches(found.closures.filter(day__gte=clock.today_in(found.zone))),
    }
    return render(request, "utilities/utility.html", context)


def _passed(visit: Visit, utility: Utility, today: dt.date) -> str:
    """ "7 days late" once the days of an announced visit have passed at the utility and nothing is on record of it."""
    last = visit.window_to or visit.window_from
    return late(last, today) if last and last < clock.today_in(utility.zone) else ""


def _contacts(request: HttpRequest, found: Utility) -> Any:
    seen = FitRequest.objects.seen_by(member(request))
    rows = Contact.objects.filter(utility=found, withdrawn=False, request__in=seen)
    return rows.select_related("request__job__site").prefetch_related("request__job__parties__person").order_by("-on", "-pk")


@right("core.see_utilities")
@require_safe
def utility_contacts(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    found = seen_utility(request, uid)
    context = {"utility": found} | lists.page_of(request.GET, _contacts(request, found))
    return render(request, "utilities/contacts.html", context)


@right("core.edit_utilities")
def utility_new(request: HttpRequest) -> HttpResponseBase:
    form = UtilityForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = profile.add_utility(form.profile(), by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"{made} is entered.", "utility", uid=made.uid)
    return answer(request, "utilities/utility_form.html", form, utility=None)


@right("core.edit_utilities")
def utility_edit(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    found = seen_utility(request, uid)
    form = UtilityForm(request.POST or None, initial=UtilityForm.initial_of(found))
    if request.method == "POST" and form.is_valid():
        try:
            profile.edit_utility(found, profile=form.profile(), by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"The profile of {form.cleaned_data['name']} is changed.", "utility", uid=found.uid)
    return answer(request, "utilities/utility_form.html", form, utility=found)


@right("core.edit_utilities")
def utility_districts(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    found = seen_utility(request, uid)
    form = DistrictsForm(request.POST or None, initial={"names": "\n".join(found.districts.values_list("name", flat=True))})
    if request.method == "POST" and form.is_valid():
        names = form.cleaned_data["names"].splitlines()
        try:
            profile.set_districts(found, names=names, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"The districts of {found} are on record.", "utility", uid=found.uid)
    return answer(request, "utilities/record.html", form, utility=found, title="Districts", button="Record districts")


@right("core.edit_utilities")
def utility_calendar(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    found = seen_utility(request, uid)
    form = CalendarForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            profile.set_closures(found, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            days = f"{words.day(form.cleaned_data['first'])} to {words.day(form.cleaned_data['last'])}"
            return recorded(request, f"{found}, {days}: on record. Its forecasts are worked out anew.", "utility_calendar", uid=found.uid)
    shut = stretches(found.closures.all())
    return answer(request, "utilities/calendar.html", form, utility=found, stretches=shut, week=_week(found), holidays=_holidays(found))


def _cells(utility: Utility, today: dt.date) -> Sequence[tuple[str, ...]]:
    asks = services.who_asks(utility, today)
    away = utility.clerk is not None and asks is not None and asks != utility.clerk
    version = services.version_of(utility, clock.today_in(utility.zone))
    terms = services.terms_of(version)
    limit, limit_source = versionshown.visit_limit(terms, today=today)
    age = versions.confirmed_words(version, today=today) if version else "Nothing is on record"
    by = f"by {version.confirmed_by_name}, with {version.confirmed_with or 'nobody named'}" if version and version.confirmed_on else ""
    return (
        ("Kind", utility.get_kind_display(), utility.zone),
        ("Who may fit", terms.who_may_fit, terms.who_may_fit_source or "no source on record"),
        ("Limit for the visit", limit, limit_source),
        ("Profile", age, by),
        ("Working days", _week(utility), _holidays(utility)),
        ("Emergency line", phones.shown(utility.emergency_phone) if utility.emergency_phone else "not known", ""),
        ("How it wants requests", terms.route or "not known", terms.reply_habit),
        ("Its desk", phones.shown(terms.desk_phone) if terms.desk_phone else terms.desk_email or "not known",
         ", ".join(part for part in (terms.desk_email if terms.desk_phone else "", terms.desk_hours) if part)),
        ("Who of us asks", asks.name if asks else "nobody named", f"for {utility.clerk}, who is away" if away else ""),
        ("Note", utility.note or "none", ""),
    )  # fmt: skip


def _week(utility: Utility) -> str:
    days = sorted(utility.worked_weekdays)
    names = [dict(WEEKDAYS)[day] for day in days]
    if len(days) > 2 and days == list(range(days[0], days[-1] + 1)):
        return f"{names[0]} to {names[-1]}"
    return words.listed(names)


def _holidays(utility: Utility) -> str:
    return dict(HOLIDAYS)[utility.holidays]
