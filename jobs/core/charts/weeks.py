"""Weeks: what came in the past ones, what is expected of the coming ones, today between them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from jobs.core.charts.axes import Scale, beside, month_name, step_for
from jobs.core.charts.marks import TEXT, Anchor, Bar, Chart, Line, Mark, Words

LEFT: Final = 44.0
TOP: Final = 24.0
PLOT: Final = 130.0
PITCH: Final = 32.0


@dataclass(frozen=True)
class Week:
    """Of the week that begins on a Monday: what was seen, or what is expected with its range."""

    monday: dt.date
    seen: float | None = None
    expected: float = 0.0
    low: float = 0.0
    high: float = 0.0
    href: str = ""
    title: str = ""


def weeks(*, name: str, columns: Sequence[Week], unit: str, label: str, pitch: float = PITCH) -> Chart:
    """unit: what is counted, in words at the top of the axis."""
    width = LEFT + pitch * max(len(columns), 1) + 10
    highest = max([1.0, *(week.high if week.seen is None else week.seen for week in columns)])
    base = TOP + PLOT
    up = Scale(0, highest * 1.05, base, TOP)
    marks: list[Mark] = [*beside(up, left=LEFT, right=width - 10, step=step_for(up, 24))]
    marks.append(Words(0, TEXT - 1, unit))
    month = None
    for place, week in enumerate(columns):
        middle = LEFT + pitch * (place + 0.5)
        if week.seen is not None:
            marks.append(_bar(middle, week.seen, week, up, pitch=pitch, solid=True))
        else:
            marks.append(_bar(middle, week.expected, week, up, pitch=pitch, solid=False))
            low, high = up.at(week.low), up.at(week.high)
            marks.append(Line(middle, low, middle, high))
            marks += [Line(middle - 5, y, middle + 5, y) for y in (low, high)]
        marks.append(Words(middle, base + TEXT + 3, str(week.monday.day), "middle"))
        if week.monday.month != month:
            month, january = week.monday.month, week.monday.month == 1
            said = str(week.monday.year) if january else month_name(week.monday)
            marks.append(Words(middle, base + 2 * TEXT + 5, said, "middle", bold=january, tone="ink" if january else "ink-2"))
    marks.append(Line(LEFT, base, width - 10, base))
    past = sum(week.seen is not None for week in columns)
    if columns:
        x = LEFT + pitch * past
        marks.append(Line(x, TOP - 8, x, base, 2))
        side: Anchor = "start" if past < len(columns) else "end"
        marks.append(Words(x + (4 if side == "start" else -4), TOP - 10, "today", side, tone="ink", clear=True))
    return Chart(name, width, base + 2 * TEXT + 12, tuple(marks), label, _caption(columns))


def _bar(middle: float, value: float, week: Week, up: Scale, *, pitch: float, solid: bool) -> Bar:
    top = up.at(value)
    wide = 0.56 * pitch
    return Bar(middle - wide / 2, top, wide, up.start - top, solid=solid, href=week.href, title=week.title)


def _caption(columns: Sequence[Week]) -> str:
    said = []
    if any(week.seen is not None for week in columns):
        said.append("Solid: what happened.")
    if any(week.seen is None for week in columns):
        said.append("Outlined: about what is expected, with a line from low to high that holds eight times in ten.")
    return " ".join([*said, "Each week begins on the Monday under it."])
