"""Axes: numbers and days to places, and which of them are labelled."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from jobs.core import words
from jobs.core.charts.marks import TEXT, Line, Mark, Words, width_of

_STEPS: Final = (1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000, 5000, 10000, 20000, 50000, 100000)
_BETWEEN: Final = 16.0  # px between two labels at least


@dataclass(frozen=True)
class Scale:
    """A stretch of numbers on a stretch of pixels."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        return self.start + (value - self.low) / (self.high - self.low) * (self.end - self.start)

    @property
    def per_unit(self) -> float:
        return abs(self.end - self.start) / (self.high - self.low)


def step_for(scale: Scale, room: float) -> int:
    """The smallest round step whose labels have that much room each."""
    return next((step for step in _STEPS if step * scale.per_unit >= room), _STEPS[-1])


def ticks(scale: Scale, step: int) -> list[int]:
    first = -int(-scale.low // step) * step
    return list(range(first, int(scale.high) + 1, step))


def below(scale: Scale, *, y: float, top: float, unit: str, grid: bool = True) -> list[Mark]:
    """An axis of whole numbers under a chart: base line, grid up to `top`, labels, and the unit in words at its end, one line down."""
    widest = max(width_of(_number(round(value))) for value in (scale.low, scale.high))
    marks: list[Mark] = []
    for value in ticks(scale, step_for(scale, widest + _BETWEEN)):
        x = scale.at(value)
        if grid:
            marks.append(Line(x, top, x, y, tone="hair"))
        marks.append(Words(x, y + TEXT + 3, _number(value), "middle"))
    marks.append(Line(scale.start, y, scale.end, y))
    marks.append(Words(scale.end, y + 2 * TEXT + 6, unit, "end"))
    return marks


def beside(scale: Scale, *, left: float, right: float, step: int, suffix: str = "") -> list[Mark]:
    """The axis at the left: labels and a grid to the right. The lowest line is the base, drawn by the axis below."""
    marks: list[Mark] = []
    for value in ticks(scale, step):
        y = scale.at(value)
        if value != scale.low:
            marks.append(Line(left, y, right, y, tone="hair"))
        marks.append(Words(left - 6, y + 4.5, f"{_number(value)}{suffix}", "end"))
    return marks


def _number(value: int) -> str:
    return words.number(value)


@dataclass(frozen=True)
class DayScale:
    """Days from `first` on, on a stretch of pixels; `last` is the end of what is drawn."""

    first: dt.date
    last: dt.date
    start: float
    end: float

    def at(self, day: dt.date) -> float:
        return self.start + (day - self.first).days / (self.last - self.first).days * (self.end - self.start)


def month_name(day: dt.date) -> str:
    """ "Nov"."""
    return words.day_short(day, today=dt.date.min).split()[1]


def months(first: dt.date, last: dt.date) -> Iterator[dt.date]:
    """The first of each month after `first`, up to `last`."""
    year, month = first.year, first.month
    while True:
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)
        day = dt.date(year, month, 1)
        if day > last:
            return
        yield day


def month_labels(scale: DayScale, *, y: float, taken: float) -> list[Words]:
    """Months by name, January as its year in bold; every second, third or sixth where they are close. taken: up to this x nothing fits."""
    found = list(months(scale.first, scale.last))
    room = width_of("2028") * 1.06 + 6
    wide = (scale.end - scale.start) / max((scale.last - scale.first).days, 1) * 28
    every = next((n for n in (1, 2, 3, 6, 12) if n * wide >= room), 12)
    labels: list[Words] = []
    said = scale.first.year
    for day in found:
        if (day.month - 1) % every:
            continue
        january = day.month == 1
        label = Words(scale.at(day) + 2, y, str(day.year) if january else month_name(day), bold=january, tone="ink" if january else "ink-2")
        if day.year != said and not january:
            # Its January has no room: the year stands beside the first month that has.
            label = replace(label, words=f"{label.words} {day.year}")
        clear = label.box.left >= taken and label.box.right <= scale.end + 2
        if clear and not any(label.box.meets(other.box) for other in labels):
            labels.append(label)
            said = day.year
    return labels
