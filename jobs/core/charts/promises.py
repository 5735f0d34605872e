"""Promises: one dot for each, by days between the day that the utility named and the day of the fitting."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from jobs.core import words
from jobs.core.charts.axes import Scale, step_for, ticks
from jobs.core.charts.marks import TEXT, Chart, Dot, Line, Mark, Words, width_of

_DAY: Final = "the day"
_SIDE: Final = 20.0
_DEEPEST: Final = 90.0


@dataclass(frozen=True)
class Promise:
    """days: from the day named to the fitting, negative when it came earlier; where nothing has happened, to today."""

    days: int
    happened: bool
    href: str = ""
    title: str = ""


def promises(*, name: str, dots: Sequence[Promise], label: str, width: float = 700) -> Chart:
    least = min([-7, *(dot.days for dot in dots)])
    most = max([14, *(dot.days for dot in dots)])
    across = Scale(least - 1, most + 1, _SIDE, width - _SIDE)
    stacks: defaultdict[int, list[Promise]] = defaultdict(list)
    bin_days = max(1, -(-4 // max(round(across.per_unit), 1)))
    for dot in sorted(dots, key=lambda dot: (not dot.happened, dot.days, dot.title)):
        stacks[dot.days // bin_days].append(dot)
    highest = max((len(stack) for stack in stacks.values()), default=1)
    pitch = max(3.0, min(8.0, _DEEPEST / highest, bin_days * across.per_unit))
    base = 10 + highest * pitch
    marks: list[Mark] = [Line(across.at(0), 4, across.at(0), base + 5, 2)]
    for place, stack in stacks.items():
        x = across.at(place * bin_days + (bin_days - 1) / 2)
        for level, dot in enumerate(stack):
            marks.append(Dot(x, base - (level + 0.5) * pitch - 1, pitch * 0.42, solid=dot.happened, href=dot.href, title=dot.title))
    marks.append(Line(_SIDE, base, width - _SIDE, base))
    marks.append(Words(across.at(0), base + TEXT + 6, _DAY, "middle", tone="ink", bold=True))
    day = marks[-1]
    assert isinstance(day, Words)
    room = width_of(words.number(max(abs(least), most))) + 14
    for value in ticks(across, step_for(across, room)):
        tick = Words(across.at(value), base + TEXT + 6, words.number(abs(value)), "middle")
        if value and not tick.box.meets(day.box) and tick.box.inside(width, base + 100):
            marks += [Line(across.at(value), base, across.at(value), base + 4, tone="line"), tick]
    y = base + 2 * TEXT + 10
    marks += [Words(_SIDE, y, "days early"), Words(width - _SIDE, y, "days late", "end")]
    return Chart(name, width, y + 6, tuple(marks), label, CAPTION)


CAPTION: Final = (
    "Each dot is a promise by the days from the last day named to the fitting; "
    "each ring one not fitted, at today or at the end of its request."
)
