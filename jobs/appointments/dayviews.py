"""The scheduler's day and week: plain tables by the site's time and the own, and the day's run sheet on paper."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from jobs.appointments import runsheet, shown, times, worklists
from jobs.appointments.models import Appointment, AppointmentState, Tentative
from jobs.core import clock, phones, rules, walltime, words
from jobs.core import kinds as k
from jobs.core.models import Fact, Job, User
from jobs.core.web import download, right

ONE_DAY, ONE_WEEK = dt.timedelta(days=1), dt.timedelta(days=7)
SHOWN = (AppointmentState.OFFERED, AppointmentState.BOOKED, AppointmentState.CONFIRMED, AppointmentState.HELD, AppointmentState.MISSED)


@right("core.see_calls")
@require_safe
def day(request: HttpRequest) -> HttpResponseBase:
    """One day's calls in order, each in the time of its home and in the reader's own."""
    on = _day(request)
    calls = _calls(request, on, on)
    context = {
        "on": on,
        "lines": _lines(calls, _own_zone(request)),
        "before": (on - ONE_DAY).isoformat(),
        "after": (on + ONE_DAY).isoformat(),
        "week_of": (on - dt.timedelta(days=on.weekday())).isoformat(),
        "own_zone": _own_zone(request),
        "verifiers": [(str(one.uid), one.name) for one in times.verifiers()],
        "open": sum(call.is_open for call in calls),
        "unconfirmed": sum(call.state == AppointmentState.BOOKED for call in calls),
        "is_today": on == clock.office_today(),
    }
    return render(request, "appointments/day.html", context)


@right("core.see_calls")
@require_safe
def week(request: HttpRequest) -> HttpResponseBase:
    """Monday to Sunday: calls, tentative times and what is free, by day."""
    on = _day(request)
    monday = on - dt.timedelta(days=on.weekday())
    sunday = monday + ONE_WEEK - ONE_DAY
    zone = _own_zone(request)
    by_day: dict[dt.date, list[dict[str, Any]]] = {monday + number * ONE_DAY: [] for number in range(7)}
    for line in _lines(_calls(request, monday, sunday), zone):
        by_day[line["call"].local_date].append(line)
    kept = Tentative.objects.seen_by(request.user).standing().filter(local_date__range=(monday, sunday))
    for row in kept.select_related("job__site", "person", "verifier"):
        by_day[row.local_date].append(_tentative_line(row, zone))
    for lines in by_day.values():
        lines.sort(key=lambda line: line["starts_at"])
    context = {
        "monday": monday,
        "sunday": sunday,
        "days": [(day, f"{words.day_long_home(day, lang='en').split(',')[0]}, {words.day(day)}", lines) for day, lines in by_day.items()],
        "count": sum("call" in line for line in itertools.chain(*by_day.values())),
        "before": (monday - ONE_WEEK).isoformat(),
        "after": (monday + ONE_WEEK).isoformat(),
        "own_zone": zone,
    }
    return render(request, "appointments/week.html", context)


@right("core.see_calls")
@require_safe
def run_sheet(request: HttpRequest) -> HttpResponseBase:
    on = _day(request)
    calls = [call for call in _calls(request, on, on) if call.is_open]
    chosen = next((one for one in times.verifiers() if str(one.uid) == request.GET.get("verifier")), None)
    if chosen is not None:
        calls = [call for call in calls if call.verifier_id == chosen.pk]
    gaps = worklists.missing(Job.objects.filter(pk__in=[call.job_id for call in calls]))
    lifts = _lifts([call.job_id for call in calls])
    office = clock.now().astimezone(walltime.zone_of(rules.text("office_zone")))
    lines = [
        runsheet.Line(
            time=words.time_zone_office(call.local_start),
            office=shown.office_time(call.starts_at, site_zone=call.zone),
            verifier=call.verifier.name,
            name=call.person.name,
            phone=phones.shown(call.person.phone, extension=call.person.phone_ext)
            if call.person.phone
            else "no telephone number on record",
            language=str(call.get_language_display()),
            home=f"{call.job.code}, {call.job.site.line}",
            particulars=_particulars(call, [gap.words for gap in gaps[call.job_id] if not gap.visit], lifts.get(call.job_id, "not asked")),
        )
        for call in calls
    ]
    paper = runsheet.run_sheet(
        lines,
        day=f"{words.day_long_home(on, lang='en').split(',')[0]}, {words.day(on)}",
        company=rules.text("company_name"),
        as_of=f"{words.day(office.date())}, {words.time_office(office)}",
        whose=chosen.name if chosen else "all verifiers",
    )
    return download(paper, f"run-sheet-{on.isoformat()}.pdf", "application/pdf")


def _particulars(call: Appointment, missing: list[str], lift: str) -> list[str]:
    told = [f"{str(call.get_state_display()).capitalize()}. Lift or stair lift at the home: {lift}."]
    if call.person.needs_relay:
        told.append("Call through the relay service; two places are kept.")
    if missing:
        told.append(f"Still missing: {words.listed(missing)}.")
    return told


def _lifts(jobs: list[int]) -> dict[int, str]:
    rows = Fact.objects.standing().of_kind(k.LIFT_ANSWER).filter(job__in=jobs).order_by("happened_on", "pk")
    return {row.job_id: str(row.value["answer"]) for row in rows}


def _day(request: HttpRequest) -> dt.date:
    """The day of the address, or today; a typed one is read as everywhere."""
    text = request.GET.get("on", "")
    try:
        return words.parse_day(text) if text else clock.office_today()
    except ValueError:
        return clock.office_today()


def _own_zone(request: HttpRequest) -> str:
    return request.user.zone if isinstance(request.user, User) else rules.text("office_zone")


def _calls(request: HttpRequest, first: dt.date, last: dt.date) -> list[Appointment]:
    rows = Appointment.objects.seen_by(request.user).filter(local_date__range=(first, last), state__in=SHOWN)
    return list(rows.with_names().order_by("starts_at", "verifier__name", "pk"))


def _lines(calls: list[Appointment], zone: str) -> list[dict[str, Any]]:
    return [{"call": call, "starts_at": call.starts_at, "own": _own(call.starts_at, zone, call.local_start)} for call in calls]


def _tentative_line(row: Tentative, zone: str) -> dict[str, Any]:
    chance = words.in_hundred(row.chance_millionths / 1_000_000) if row.chance_millionths is not None else ""
    return {"kept": row, "starts_at": row.starts_at, "own": _own(row.starts_at, zone, row.local_start), "chance": chance}


def _own(at: dt.datetime, zone: str, local: dt.datetime) -> str:
    """The reader's own time, with the day where it is another one."""
    own = at.astimezone(walltime.zone_of(zone))
    return words.time_office(own) if own.date() == local.date() else f"{shown.day_of(own.date())}, {words.time_office(own)}"
