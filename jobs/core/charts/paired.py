"""Paired readings: the differences of two meters as dots by time, their mean as the line of the bias, two dashed limits, a zero line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from jobs.core import words
from jobs.core.charts.axes import Scale, step_for
from jobs.core.charts.marks import TEXT, Chart, Dot, Line, Mark, Words, free_place, width_of

_HIGH: Final = 150.0
_TOP: Final = 12.0


@dataclass(frozen=True)
class Difference:
    """minute: of the day, at the home."""

    minute: int
    watts: int
    title: str = ""


def paired(*, name: str, dots: Sequence[Difference], bias_w: float, low_w: float, high_w: float, label: str, width: float = 640) -> Chart:
    """dots: at least one; the limits stand around the bias."""
    reach = max(abs(low_w), abs(high_w), *(abs(dot.watts) for dot in dots), 10.0) * 1.1
    step = step_for(Scale(-reach, reach, 0, _HIGH), 2 * TEXT)
    left = max(width_of(f"\u2212{words.number(round(reach))} W"), width_of("0 W")) + 10
    named = max(width_of(f"limit \u2212{words.number(round(reach))} W"), width_of("bias \u2212000 W"))
    right = width - named - 8
    down = Scale(reach, -reach, _TOP, _TOP + _HIGH)
    marks: list[Mark] = []
    for value in range(-int(reach // step) * step, int(reach) + 1, step):
        y = down.at(value)
        marks.append(Line(left, y, right, y, 2 if value == 0 else 1, tone="ink" if value == 0 else "hair"))
        marks.append(Words(left - 6, y + 4.5, f"{words.number(value)} W", "end"))
    for limit in (low_w, high_w):
        marks.append(Line(left, down.at(limit), right, down.at(limit), 1.1, dashed=True))
    marks.append(Line(left, down.at(bias_w), right, down.at(bias_w), 1))
    across = _times(dots, left=left, right=right)
    marks += [Dot(across.at(dot.minute), down.at(dot.watts), 3.2, title=dot.title) for dot in dots]
    taken = [mark.box for mark in marks if isinstance(mark, Words)]
    height = _TOP + _HIGH + 2 * TEXT + 16
    for said, watts in (("limit", high_w), ("bias", bias_w), ("limit", low_w)):
        told = f"{said} {words.number(round(watts))} W"
        places = [Words(right + 6, down.at(watts) + 4.5 + shift, told, tone="ink") for shift in (0, -12, 12, -24, 24)]
        place = free_place(places, taken=taken, width=width, height=height)
        if place is not None:
            marks.append(place)
            taken.append(place.box)
    marks += _labels(dots, across, y=_TOP + _HIGH)
    return Chart(name, width, height, tuple(marks), label, CAPTION)


def _times(dots: Sequence[Difference], *, left: float, right: float) -> Scale:
    first, last = min(dot.minute for dot in dots), max(dot.minute for dot in dots)
    return Scale(first, max(last, first + 1), left + 10, right - 10)


def _labels(dots: Sequence[Difference], across: Scale, *, y: float) -> list[Mark]:
    """The first and the last time, and those between that have room."""
    found: list[Words] = []
    minutes = sorted({dot.minute for dot in dots})
    for minute in (minutes[0], minutes[-1], *minutes[1:-1]):
        label = Words(across.at(minute), y + TEXT + 5, f"{minute // 60:02d}:{minute % 60:02d}", "middle")
        if not any(label.box.meets(other.box) for other in found):
            found.append(label)
    return [*found, Words(across.end + 10, y + 2 * TEXT + 9, "time at the home", "end")]


CAPTION: Final = (
    "Each dot is a pair read at one instant, at what the CTs read more than the collar. The thin line is the bias, their mean; between the "
    "dashed limits lie about 95 of 100 such differences. The thick line is no difference."
)
