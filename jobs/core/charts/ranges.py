"""Range rows: in a table, one line a request on a month axis that the head of the table shares."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from jobs.core.charts.axes import DayScale, month_labels, months
from jobs.core.charts.marks import Arrow, Chart, Diamond, Dot, Line, Mark, Words, width_of

HEIGHT: Final = 22.0
HEAD: Final = 18.0
_LEAST: Final = 91  # days
_MOST: Final = 548
_INSET: Final = (1.0, 10.0)


@dataclass(frozen=True)
class Range:
    """Days by which it happens with one, five and nine chances in ten; None: later than anybody foretells. promised: by the utility."""

    first: dt.date | None
    half: dt.date | None
    last: dt.date | None
    promised: dt.date | None = None
    href: str = ""
    title: str = ""


def axis(ranges: Iterable[Range], *, today: dt.date, width: float = 300) -> DayScale:
    """From today on, as far as eight in ten of the rows reach, a quarter to one and a half years: what goes on beyond ends in an arrow."""
    ends = sorted((found.last - today).days if found.last else _MOST for found in ranges)
    far = ends[(len(ends) - 1) * 8 // 10] if ends else _LEAST
    days = min(max(far + far // 20, _LEAST), _MOST)
    return DayScale(today, today + dt.timedelta(days=days), _INSET[0], width - _INSET[1])


def head(scale: DayScale, *, name: str) -> Chart:
    """Today and the months, for the head of the table."""
    y = HEAD - 4
    today = Words(0, y, "today", tone="ink")
    labels = month_labels(scale, y=y, taken=width_of("today") + 6)
    return Chart(name, scale.end + _INSET[1], HEAD, (today, *labels), "Months from today on")


def row(scale: DayScale, found: Range, *, name: str) -> Chart:
    """A line from one in ten to nine in ten, a ring at half, a diamond at the promised day; the left edge is today."""
    y, bottom = HEIGHT / 2, HEIGHT
    marks: list[Mark] = [Line(scale.at(day), 0, scale.at(day), bottom, tone="hair") for day in months(scale.first, scale.last)]
    marks.append(Line(scale.start, 0, scale.start, bottom, 2))
    begins, beyond = _inside(scale, found.first), found.last is None or found.last > scale.last
    edge = scale.end + _INSET[1] - 2
    if begins is None:
        marks.append(Line(edge - 12, y, edge, y))
        marks.append(Arrow(edge, y))
    else:
        ends = edge if beyond or found.last is None else scale.at(max(found.last, scale.first))
        marks.append(Line(begins, y, ends, y, 1.5))
        marks.append(Line(begins, y - 4, begins, y + 4, 1.5))
        marks.append(Arrow(edge, y) if beyond else Line(ends, y - 4, ends, y + 4, 1.5))
        half = _inside(scale, found.half)
        if half is not None:
            marks.append(Dot(half, y, 4, solid=False))
    promised = _inside(scale, found.promised) if found.promised and found.promised >= scale.first else None
    if promised is not None:
        marks.append(Diamond(promised, y))
    return Chart(name, scale.end + _INSET[1], HEIGHT, tuple(marks), found.title, href=found.href)


def _inside(scale: DayScale, day: dt.date | None) -> float | None:
    """Its place; what is past stands on today, what is beyond the axis has none."""
    return None if day is None or day > scale.last else scale.at(max(day, scale.first))


CAPTION: Final = (
    "Each line goes from the day by which one in ten of such requests are fitted to the day by which nine in ten are; the ring is half, "
    "the diamond a day that the utility has promised. An arrow: it goes on beyond. The left edge is today."
)
