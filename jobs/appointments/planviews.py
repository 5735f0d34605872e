"""The plan of calls, the hours ahead, and calls that nobody answered."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods, require_safe

from jobs.appointments import booking, demand, missed, noshows, planning, shown
from jobs.appointments.forms import read_slot
from jobs.appointments.models import Appointment, AppointmentState
from jobs.appointments.planning import Asked, Fixed, Proposed, WeekPlan
from jobs.core import clock, walltime, words
from jobs.core.actors import Actor, actor
from jobs.core.models import Job, User
from jobs.core.refusals import Refused
from jobs.core.web import recorded, right

ONE_WEEK = dt.timedelta(days=7)
AHEAD = 8  # weeks that can be planned


@dataclass(frozen=True)
class Line:
    """A row of the plan: a proposed time, or a place that is free."""

    time: str
    office: str
    row: Proposed | None
    value: str
    verifier: User
    why: str
    move_url: str
    drop_url: str
    times: tuple[tuple[str, str], ...]  # to choose from, where this row is moved


@right("core.book_any_call")
@require_http_methods(["GET", "HEAD", "POST"])
def plan(request: HttpRequest) -> HttpResponseBase:
    """Homes to the free times of a week. A load works the plan out and changes nothing; a pressed button offers what was marked."""
    asked = _asked(request)
    refused: list[str] = []
    if request.method == "POST":
        values = request.POST.getlist("every" if request.POST.get("all") else "offer")
        if not values:
            refused.append("No time is marked. Mark those that are to be offered.")
        offered, sorry = _offer(values, by=actor(request))
        refused += sorry
        if not refused:
            return recorded(request, f"{words.count(offered, 'time').capitalize()} offered. The messages wait for release.", "calls_plan")
    found = planning.plan_week(Job.objects.seen_by(request.user), asked=asked)
    days = _days(request, found, asked)
    context = {
        "plan": found,
        "days": days,
        "asked": asked,
        "week": f"{words.day(asked.monday)} to {words.day(asked.monday + ONE_WEEK - dt.timedelta(days=1))}",
        "kept": Appointment.objects.seen_by(request.user).taking().filter(
            local_date__gte=asked.monday, local_date__lt=asked.monday + ONE_WEEK
        ).count(),
        "refused": [*refused, *found.refused],
        "money": request.user.has_perm("core.see_money"),
        "weeks": _weeks(asked.monday),
        "changed": bool(asked.fixed or asked.left_out),
        "fresh_url": f"?{urlencode({'week': asked.monday.isoformat()})}",
        "left_out": sorted(asked.left_out),
    }  # fmt: skip
    return render(request, "appointments/plan.html", context, status=422 if refused else 200)


def _asked(request: HttpRequest) -> Asked:
    """What the address says: which week, what is fixed, what is left out. Anything else in it is passed over."""
    today = clock.office_today()
    this = today - dt.timedelta(days=today.weekday())
    try:
        day = dt.date.fromisoformat(request.GET.get("week", ""))
        monday = day - dt.timedelta(days=day.weekday())
    except ValueError:
        monday = this + ONE_WEEK
    if not this <= monday < this + AHEAD * ONE_WEEK:
        monday = this + ONE_WEEK
    fixed = []
    for text in request.GET.getlist("keep"):
        code, _, slot = text.partition("|")
        read = read_slot(slot)
        if read is not None:
            fixed.append(Fixed(code, str(read[0].uid), read[1]))
    return Asked(monday, tuple(fixed), frozenset(request.GET.getlist("drop")))


def _offer(values: list[str], *, by: Actor) -> tuple[int, list[str]]:
    """Each home's time is an offer of its own: one that is refused keeps none of the others back."""
    offered, refused = 0, []
    for value in values:
        code, _, slot = value.partition("|")
        read, job = read_slot(slot), Job.objects.seen_by(by.user).filter(code=code).first() if by.user else None
        if read is None or job is None:
            refused.append("One of the times was none of the plan's; nothing was offered for it.")
            continue
        try:
            booking.offer(job, verifier=read[0], wish=read[1], by=by)
        except Refused as refusal:
            refused.append(f"{code}: {refusal}")
        else:
            offered += 1
    if refused and offered:
        refused.insert(0, f"{words.count(offered, 'time').capitalize()} offered; these were not:")
    return offered, refused


def _days(request: HttpRequest, found: WeekPlan, asked: Asked) -> list[tuple[str, list[Line]]]:
    """The rows by day: proposed times by the clock at the home, free places by the verifier's."""
    by_day: dict[dt.date, list[tuple[dt.datetime, Line]]] = defaultdict(list)
    moving = request.GET.get("move", "")
    for row in found.proposed:
        by_day[row.slot.local_date].append((row.slot.starts_at, _line(row, asked, moving)))
    free: dict[tuple[dt.date, User], list[dt.datetime]] = defaultdict(list)
    for verifier, starts_at in found.free:
        local = starts_at.astimezone(walltime.zone_of(verifier.zone))
        free[local.date(), verifier].append(local)
    for (day, verifier), at in free.items():
        said = ", ".join(words.time_office(one) for one in at)
        # Below the proposed times of the day: these are places, not promises.
        by_day[day].append((at[-1] + ONE_WEEK, Line("free", "", None, "", verifier, said, "", "", ())))
    return [
        (
            f"{words.day_long_home(day, lang='en').split(',')[0]}, {words.day(day)}",
            [line for _, line in sorted(lines, key=lambda pair: pair[0])],
        )
        for day, lines in sorted(by_day.items())
    ]


def _line(row: Proposed, asked: Asked, moving: str) -> Line:
    code = row.wanted.job.code
    return Line(
        time=words.time_office(row.slot.local_time),
        office=shown.office_time(row.slot.starts_at, site_zone=row.slot.zone),
        row=row,
        value=f"{code}|{shown.value_of(row.verifier, row.slot)}",
        verifier=row.verifier,
        why=_why(row),
        move_url=f"?{_query(asked, move=code)}#p-{code}",
        drop_url=f"?{_query(asked, drop=code)}",
        times=tuple(
            (f"{code}|{shown.value_of(verifier, slot)}", f"{shown.day_of(slot.local_date)}, {slot.local_time:%H:%M}, {verifier.name}")
            for verifier, slot in row.possible
        )
        if moving == code
        else (),
    )


def _why(row: Proposed) -> str:
    if row.fixed:
        return "chosen by you"
    days = words.count(row.days_gained, "day")
    return f"{days} gained; {words.count(len(row.possible), 'time')} possible"


def _query(asked: Asked, *, move: str = "", drop: str = "") -> str:
    fixed = [
        (one.code, f"{one.code}|{one.verifier}|{one.wish.on.isoformat()}T{one.wish.at:%H:%M}|{one.wish.fold or 0}") for one in asked.fixed
    ]
    pairs = [("week", asked.monday.isoformat())]
    pairs += [("keep", value) for code, value in fixed if code not in (move, drop)]
    pairs += [("drop", code) for code in sorted({*asked.left_out, drop} - {""})]
    return urlencode([*pairs, ("move", move)] if move else pairs)


def _weeks(chosen: dt.date) -> list[tuple[str, str, bool]]:
    today = clock.office_today()
    this = today - dt.timedelta(days=today.weekday())
    weeks = [this + number * ONE_WEEK for number in range(AHEAD)]
    return [(monday.isoformat(), f"week of {words.day(monday)}", monday == chosen) for monday in weeks]


@right("core.book_any_call")
@require_safe
def hours_ahead(request: HttpRequest) -> HttpResponseBase:
    """Calls expected in each of thirteen weeks against the places of the verifiers."""
    told = demand.hours_ahead(Job.objects.seen_by(request.user))
    weeks: list[dict[str, Any]] = []
    sentence = ""
    if told:
        first = told.ahead.first_short
        for number, (monday, week) in enumerate(zip(told.mondays, told.ahead.weeks, strict=True)):
            weeks.append(
                {
                    "monday": monday,
                    "week": week,
                    "short": words.in_hundred(week.short),
                    "is_first": number == first,
                    "left": round(week.left),
                }
            )
        if first is not None:
            chance = words.in_hundred(told.ahead.weeks[first].short)
            sentence = f"Hours fall short in the week of {words.day(told.mondays[first])}, with a chance of {chance}."
        else:
            tightest = max(range(len(told.mondays)), key=lambda number: told.ahead.weeks[number].short)
            chance, day = words.in_hundred(told.ahead.weeks[tightest].short), words.day(told.mondays[tightest])
            sentence = f"Hours likely suffice in all these weeks; the tightest is that of {day}, {chance} to fall short."
    return render(request, "appointments/hours_ahead.html", {"told": told, "weeks": weeks, "sentence": sentence})


@right("core.see_calls")
@require_safe
def missed_calls(request: HttpRequest) -> HttpResponseBase:
    """Calls that nobody answered, those not booked again first; and how often it happens, by kind of call."""
    rows = Appointment.objects.seen_by(request.user).filter(state=AppointmentState.MISSED).with_names().order_by("-starts_at", "-pk")[:100]
    again = set(Appointment.objects.taking().filter(job__in=[row.job_id for row in rows]).values_list("job_id", flat=True))
    record = missed.record()
    today = clock.office_today()
    ahead = Appointment.objects.seen_by(request.user).promised().filter(local_date__gte=today, local_date__lt=today + ONE_WEEK).count()
    lines: list[dict[str, Any]] = [{"call": row, "day": shown.day_of(row.local_date), "open": row.job_id in again} for row in rows]
    context = {
        "lines": sorted(lines, key=lambda line: bool(line["open"])),
        "kinds": [_kind_line(kind) for kind in (*record.kinds, record.overall)],
        "overall": record.overall,
        "ahead": ahead,
        "at_least_one": words.in_hundred(noshows.at_least_one(record.overall.chance, calls=ahead)),
        "standby": noshows.standby_wanted(record.overall.chance, calls=ahead),
        "to_book": sum(not line["open"] and line["call"].job.state == "collar_energized" for line in lines),
        "may_plan": request.user.has_perm("core.book_any_call"),
        "may_book": request.user.has_perm("core.book_calls"),
    }
    return render(request, "appointments/missed.html", context)


def _kind_line(kind: missed.Kind) -> dict[str, Any]:
    def percent(share: float) -> str:
        return f"{100 * share:.1f}"

    rate = kind.rate
    return {
        "kind": kind,
        "share": percent(kind.missed / kind.calls) if kind.calls else "",
        "range": f"{percent(rate.low)} to {percent(rate.high)}" if rate else "none held",
        "next": words.in_hundred(kind.chance),
    }
