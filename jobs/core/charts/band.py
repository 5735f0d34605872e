"""Steps of the CT check beside what right CTs would show: the expected band of each, and where the reading fell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from jobs.core.charts.axes import Scale, below
from jobs.core.charts.marks import TEXT, Chart, Cross, Dot, Hatched, Line, Mark, Words, width_of
from jobs.core.words import watts

ROW: Final = 26.0
TOP: Final = 6.0
PLOT: Final = 250.0
BAND: Final = 7.0  # px of half its height
RIGHT: Final = 26.0  # half of the last label


@dataclass(frozen=True)
class Row:
    """One leg's step under one load, in watts."""

    name: str
    seen_w: float
    expected_w: float
    tolerance_w: float

    @property
    def is_inside(self) -> bool:
        return abs(self.seen_w - self.expected_w) <= self.tolerance_w


def bands(rows: Sequence[Row], *, name: str) -> Chart:
    """A row a step: the hatched band is what right CTs may show, the line in it the middle; a dot fell inside, a cross outside."""
    left = max((width_of(row.name) for row in rows), default=0.0) + 10
    ends = [0.0, *(end for row in rows for end in (row.seen_w, row.expected_w - row.tolerance_w, row.expected_w + row.tolerance_w))]
    low, high = min(ends), max(max(ends), min(ends) + 1)
    room = (high - low) * 0.04
    across = Scale(low - room, high + room, left, left + PLOT)
    bottom = TOP + ROW * len(rows)
    marks: list[Mark] = [*below(across, y=bottom, top=TOP, unit="watts")]
    nothing = across.at(0)
    marks.append(Line(nothing, TOP, nothing, bottom))
    for place, row in enumerate(rows):
        y = TOP + ROW * (place + 0.5)
        first, last = across.at(row.expected_w - row.tolerance_w), across.at(row.expected_w + row.tolerance_w)
        middle, seen = across.at(row.expected_w), across.at(row.seen_w)
        marks.append(Words(0, y + 4.5, row.name, tone="ink"))
        marks.append(Hatched(((first, y - BAND), (last, y - BAND), (last, y + BAND), (first, y + BAND))))
        marks += [Line(x, y - BAND, x, y + BAND) for x in (first, middle, last)]
        said = f"{row.name}: {watts(row.seen_w)}, expected {watts(row.expected_w)} ± {watts(row.tolerance_w)}"
        marks.append(Dot(seen, y, title=said) if row.is_inside else Cross(seen, y, 4.5, title=said))
    outside = [row.name for row in rows if not row.is_inside]
    label = "Each step fell inside its band" if not outside else f"Outside its band: {', '.join(outside)}"
    return Chart(name, left + PLOT + RIGHT, bottom + 2 * TEXT + 12, tuple(marks), label, caption=CAPTION)


CAPTION: Final = (
    "The hatched band is what a right pair of CTs may show of each load, with what the readings may be wrong by; a dot fell inside it, "
    "a cross outside."
)
