"""What a utility's page and its forecast sheet draw: wait curve, weeks, open requests as ranges. Read from what is stored, never fitted."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from django.urls import reverse

from jobs.core import words
from jobs.core.charts import curve as curves
from jobs.core.charts import ranges as range_rows
from jobs.core.charts import weeks as week_columns
from jobs.core.charts.marks import Chart
from utilities import outlooks, said
from utilities.models import Outcome, Outlook, Utility
from utilities.models.requests import FitRequestQuerySet
from utilities.said import Shown
from utilities.shown import Line
from utilities.waitcurve import LATELY, SHARES, WaitCurve

DOTS: Final = 400  # of the requests sent last; the curve counts all
PAST_WEEKS: Final = 8  # this one, so far, among them
LEAST_SAID: Final = 0.05  # fittings expected in a week; fewer would be said as 0.0
FEW_LATELY: Final = 5  # fittings; from fewer no days are said
_SHARE_WORDS: Final = {10: "one in ten", 25: "one in four", 50: "half", 75: "three in four", 90: "nine in ten"}
_ONE_WEEK: Final = dt.timedelta(days=7)


@dataclass(frozen=True)
class Waits:
    """The wait curve and the table beside it: share, day of all years, day of the last sixty days."""

    chart: Chart
    curve: WaitCurve
    rows: tuple[tuple[str, str, str], ...]

    @property
    def counts_words(self) -> str:
        """ "31 fitted, 12 wait, 2 ended without fitting; of four only a first and a last day are known."""
        found = self.curve
        told = f"{words.number(found.fitted)} fitted, {words.number(found.waiting)} {'waits' if found.waiting == 1 else 'wait'}"
        told += f", {words.number(found.withdrawn)} ended without fitting" if found.withdrawn else ""
        return told + (f"; of {words.number(found.bracketed)} only a first and a last day are known" if found.bracketed else "") + "."

    @property
    def lately_words(self) -> str:
        count = self.curve.fitted_lately
        few = ", too few to tell" if count < FEW_LATELY else ""
        return f"In the last {LATELY} days: {words.count(count, 'fitting')}{few}."


def waits(utility: Utility, outlook: Outlook | None, *, seen: FitRequestQuerySet, today: dt.date, width: float = 700) -> Waits | None:
    """seen: the requests of this utility that the person may open. today: at the utility. None before the first run, or without any."""
    if outlook is None or not outlook.curve:
        return None
    found = WaitCurve.from_json(outlook.curve)
    if not found.fitted + found.waiting + found.withdrawn:
        return None
    steps = [curves.Step(*step) for step in zip(found.days, found.share, found.low, found.high, strict=True)]
    total = seen.count()
    chart = curves.wait_curve(
        name="waits",
        steps=steps,
        last=found.last,
        half=found.day_of(50),
        nine=found.day_of(90),
        waits=_dots(seen, today=today),
        label=curve_sentence(utility, found),
        width=width,
        note=f"Marks are the {words.number(DOTS)} requests sent last; the line counts all {words.number(total)}." if total > DOTS else "",
    )
    lately = found.reached_lately if found.fitted_lately >= FEW_LATELY else (None,) * len(SHARES)
    rows = tuple(
        (_SHARE_WORDS[share], _day(day, known=found.fitted > 0), _day(recent, known=found.fitted_lately >= FEW_LATELY))
        for share, day, recent in zip(SHARES, found.reached, lately, strict=True)
    )
    return Waits(chart, found, rows)


def _day(day: int | None, *, known: bool) -> str:
    """ "day 129"; where the curve stops before it, that is said."""
    return f"day {words.number(day)}" if day is not None else "not reached yet" if known else "not known"


def curve_sentence(utility: Utility, found: WaitCurve) -> str:
    half, nine = found.day_of(50), found.day_of(90)
    if not found.fitted:
        return f"No request is fitted at {utility.name} yet."
    if half is None:
        reached = found.share[-1] if found.share else 0.0
        return f"By day {words.number(found.last)}, where the data stop, {words.percent(reached)} of requests at {utility.name} are fitted."
    ninth = f"nine in ten by day {words.number(nine)}" if nine is not None else f"the data stop on day {words.number(found.last)}"
    return f"At {utility.name} half of requests were fitted by day {words.number(half)} after sending, {ninth}."


def _dots(seen: FitRequestQuerySet, *, today: dt.date) -> list[curves.Wait]:
    rows = seen.order_by("-filed_on", "-pk").values_list("code", "filed_on", "ended_on", "fitted_after", "outcome")[:DOTS]
    return [_dot(*row, today=today) for row in rows]


def _dot(code: str, filed_on: dt.date, ended_on: dt.date | None, after: dt.date | None, outcome: str, *, today: dt.date) -> curves.Wait:
    days = ((ended_on or max(today, filed_on)) - filed_on).days
    href = reverse("request", kwargs={"code": code})
    if outcome == Outcome.OPEN:
        return curves.Wait("waiting", days, href=href, title=f"Request {code}: waits, {words.count(days, 'day')} so far")
    if outcome != Outcome.FITTED:
        return curves.Wait("withdrawn", days, href=href, title=f"Request {code}: ended without fitting after {words.count(days, 'day')}")
    first = max((after - filed_on).days + 1, 0) if after is not None else days
    if first >= days:
        return curves.Wait("fitted", days, href=href, title=f"Request {code}: fitted after {words.count(days, 'day')}")
    title = f"Request {code}: fitted after {words.number(first)} to {words.count(days, 'day')}"
    return curves.Wait("fitted", days, first, href=href, title=title)


@dataclass(frozen=True)
class WeekRow:
    anchor: str
    monday: dt.date
    words: str  # "three fitted", "about 4.2"
    range: str  # "one to seven"; nothing of a past week


@dataclass(frozen=True)
class Weeks:
    chart: Chart
    rows: tuple[WeekRow, ...]


def weeks(utility: Utility, *, seen: FitRequestQuerySet, today: dt.date, pitch: float = week_columns.PITCH) -> Weeks | None:
    """Fittings of the last eight weeks, and those to come of the open requests. today: at the utility.

    None before the first run, and where there are neither.
    """
    ahead = [week for week in outlooks.weeks_together([utility]) if week["week"] > today - dt.timedelta(days=today.weekday())]
    if not ahead:
        return None
    this = today - dt.timedelta(days=today.weekday())
    first = this - (PAST_WEEKS - 1) * _ONE_WEEK
    fitted = seen.filter(outcome=Outcome.FITTED, ended_on__gte=first, ended_on__lte=today).order_by().values_list("ended_on", flat=True)
    counted = Counter(day - dt.timedelta(days=day.weekday()) for day in fitted if day)
    if not counted and not any(week["high"] for week in ahead):
        return None
    columns, rows = [], []
    for number in range(PAST_WEEKS):
        monday = first + number * _ONE_WEEK
        told = f"{words.number(counted[monday])} fitted{' so far' if monday == this else ''}"
        rows.append(WeekRow(_anchor(monday), monday, told, ""))
        columns.append(week_columns.Week(monday, seen=counted[monday], href=f"#{_anchor(monday)}", title=_week_title(monday, told)))
    for week in ahead:
        monday, low, high = week["week"], round(week["low"]), round(week["high"])
        told = f"about {week['mean']:.1f}" if week["mean"] >= LEAST_SAID else "fewer than 0.1"
        within = f"{words.number(low)} to {words.number(high)}"
        rows.append(WeekRow(_anchor(monday), monday, told, within))
        title = _week_title(monday, f"{told} fittings expected ({within})")
        columns.append(
            week_columns.Week(monday, expected=week["mean"], low=week["low"], high=week["high"], href=f"#{_anchor(monday)}", title=title)
        )
    soon = sum(week["mean"] for week in ahead[:4])
    gone = sum(counted.values())
    label = (
        f"{words.count(gone, 'fitting').capitalize()} at {utility.name} in the last {words.count(PAST_WEEKS, 'week')}; "
        f"about {words.number(round(soon))} are expected in the {words.count(len(ahead[:4]), 'week')} to come."
    )
    return Weeks(week_columns.weeks(name="weeks", columns=columns, unit="collars fitted", label=label, pitch=pitch), tuple(rows))


def _anchor(monday: dt.date) -> str:
    return f"week-{monday.isoformat()}"


def _week_title(monday: dt.date, told: str) -> str:
    return f"Week of {words.day(monday)}: {told}"


@dataclass(frozen=True)
class Ranges:
    """Range rows on one axis: its head, and the row of each request by primary key."""

    head: Chart
    rows: Mapping[int, Chart]


def ranges(lines: Sequence[Line], *, today: dt.date, width: float = 300) -> Ranges:
    """Of lines that have a forecast; the others have no row."""
    found = {line.request.pk: _range(line, line.likely) for line in lines if line.likely is not None}
    axis = range_rows.axis(found.values(), today=today, width=width)
    rows = {pk: range_rows.row(axis, each, name=f"range-{pk}") for pk, each in found.items()}
    return Ranges(range_rows.head(axis, name="range-head"), rows)


def _range(line: Line, likely: Shown) -> range_rows.Range:
    def told(day: dt.date | None) -> dt.date | None:
        return None if day is None or said.is_far(day, as_of=likely.as_of) else day

    promise = likely.why.promise
    return range_rows.Range(
        told(likely.q10),
        told(likely.q50),
        told(likely.q90),
        promised=promise[1] if promise else line.promised_by,
        href=reverse("request", kwargs={"code": line.request.code}),
        title=f"Request {line.request.code}: {likely.sentence}",
    )
