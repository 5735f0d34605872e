"""What stands below the today line of a job's ledger: expected, not known, each with its range."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from jobs.appointments.models import PROMISED, Appointment
from jobs.core import money, words
from jobs.core.charts import ranges
from jobs.core.charts.marks import Chart
from jobs.core.models import Job
from jobs.core.states import JobState, S
from jobs.pages.jobmoney import Owed
from jobs.pages.outlook import in_table
from utilities.models import Visit
from utilities.said import Shown, is_far

WIDE = 240  # px
AFTER = "then"  # follows what stands above it, on no day that anybody knows


@dataclass(frozen=True)
class Expected:
    day: str
    range: str
    title: str
    under: str = ""
    drawn: Drawn | None = None


@dataclass(frozen=True)
class Drawn:
    """A range on the months that the today line is headed with."""

    head: Chart
    row: Chart


def expected(
    job: Job,
    state: JobState,
    *,
    today: dt.date,
    outlook: Shown | None,
    visits: Sequence[Visit],
    call: Appointment | None,
    owed: Owed | None,
) -> list[Expected]:
    """In the order in which it will come. A finished or cancelled job expects nothing."""
    if state.state in (S.BACKUP_VERIFIED, S.CANCELLED):
        return []
    rows: list[Expected] = []
    if state.state == S.IN_BUILD and job.install_on and job.install_on >= today:
        rows.append(Expected(words.day_short(job.install_on, today=today), "", "System installed, planned", _crew(job)))
    if state.state in (S.IN_BUILD, S.GRID_TIED) and job.request_planned_on:
        rows.append(Expected(words.day_short(job.request_planned_on, today=today), "", "Request to fit sent, planned"))
    rows += [_visit(visit, today) for visit in visits]
    if state.state != S.COLLAR_ENERGIZED:
        rows.append(_fitting(outlook, visits, today))
    rows.append(_call(call, today))
    if owed is not None and owed.final is not None and not owed.final.earned:
        rows.append(
            Expected(AFTER, "", f"{owed.final.name} earned: {money.shown(owed.final.amount_minor)}", "on the day its facts are complete")
        )
    return rows


def _crew(job: Job) -> str:
    return job.crew.name if job.crew else ""


def _visit(visit: Visit, today: dt.date) -> Expected:
    assert visit.window_from is not None  # the caller asked for announced ones
    assert visit.window_to is not None
    first, last = visit.window_from, visit.window_to
    day = words.day_short(first, today=today)
    until = "" if first == last else f"to {words.day_short(last, today=today)}"
    told = (
        f"homeowner told {words.day_short(visit.homeowner_told_on, today=today)}" if visit.homeowner_told_on else "homeowner not told yet"
    )
    return Expected(day, until, "Visit announced by the utility", "; ".join(part for part in (visit.window_words, told) if part))


def _fitting(outlook: Shown | None, visits: Sequence[Visit], today: dt.date) -> Expected:
    if outlook is None:
        return Expected("not known", "", "Collar fitted", "no forecast: the request, or the day it will be sent, is missing")
    half = in_table(outlook, 50, today=today)
    title = f"Collar fitted: half {half}" if half.startswith("later") else f"Collar fitted: half by {half}"
    asked = "" if outlook.asked else f", if asked by {words.day(outlook.filed_on)}"
    never = f" {words.in_hundred(outlook.p_never)} are never fitted." if outlook.p_never >= 0.01 else ""
    why = f"Forecast of {words.day_short(outlook.as_of, today=today)}{asked}. {outlook.why.whole}{never}"
    return Expected(
        half, f"{in_table(outlook, 10, today=today)} to {in_table(outlook, 90, today=today)}", title, why, _drawn(outlook, visits, today)
    )


def _drawn(outlook: Shown, visits: Sequence[Visit], today: dt.date) -> Drawn:
    promised = next((visit.window_to for visit in visits), None)
    first, half, last = (
        None if day is None or is_far(day, as_of=outlook.as_of) else day for day in (outlook.q10, outlook.q50, outlook.q90)
    )
    found = ranges.Range(first, half, last, promised=promised, title=f"Collar fitted: {outlook.sentence}")
    axis = ranges.axis([found], today=today, width=WIDE)
    return Drawn(ranges.head(axis, name="months"), ranges.row(axis, found, name="fitting"))


def _call(call: Appointment | None, today: dt.date) -> Expected:
    if call is None:
        return Expected(AFTER, "", "Verification call, once the collar is in", "no time is booked")
    state = "" if call.state in PROMISED else ", offered, not answered"
    told = f"{words.time_office(call.local_time)} at the home, {call.verifier.name}{state}"
    return Expected(words.day_short(call.local_date, today=today), "", "Verification call", told)
