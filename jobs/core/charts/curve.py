"""The wait curve: share fitted by days since sent, and below it on the same axis one mark for each request."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

from jobs.core import words
from jobs.core.charts.axes import Scale, below, beside
from jobs.core.charts.marks import Bar, Box, Chart, Cross, Dot, Hatched, Line, Mark, Path, Point, Words, free_place, lowered

LEFT: Final = 76.0
RIGHT: Final = 14.0
TOP: Final = 10.0
PLOT: Final = 220.0
BIN: Final = 4  # days
_DEEPEST: Final = 96.0  # px that the highest stack takes, if dots can be made small enough
_LEAST: Final = 3.0  # px from dot to dot


@dataclass(frozen=True)
class Step:
    """By the end of day `day` this share is fitted, 0 to 1; low and high are its band."""

    day: int
    share: float
    low: float
    high: float


@dataclass(frozen=True)
class Wait:
    """One request: days from its sending to its end or to today. from_days: of a bracket the first day on which it may have been fitted."""

    state: Literal["fitted", "waiting", "withdrawn"]
    days: int
    from_days: int | None = None
    href: str = ""
    title: str = ""


def wait_curve(
    *,
    name: str,
    steps: Sequence[Step],
    last: int,
    half: int | None,
    nine: int | None,
    waits: Sequence[Wait],
    label: str,
    width: float = 700,
    note: str = "",
) -> Chart:
    """last: the day on which the data stop. half, nine: days by which half and nine in ten are fitted, None where the curve stops below."""
    oldest = max([last, 30, *(wait.days for wait in waits)])
    bin_days = _bin(Scale(0, oldest * 1.02, LEFT, width - RIGHT))
    across = Scale(0, max(oldest * 1.02, (oldest // bin_days + 1) * bin_days), LEFT, width - RIGHT)
    up = Scale(0, 100, TOP + PLOT, TOP)
    base = TOP + PLOT
    marks: list[Mark] = [*beside(up, left=LEFT, right=width - RIGHT, step=25, suffix=f"{words.NARROW}%")]
    marks += below(across, y=base, top=TOP, unit="days since sent")
    if steps:
        marks.append(Hatched(_band(steps, last, across, up)))
        line = Path(_stairs([(step.day, step.share) for step in steps], last, across, up))
        marks += [line, *_drops(line, half, nine, across, up, width)]

    foot = base + 44
    for names, (strip, tall) in _strips(waits, across, bin_days):
        foot += max(tall, 14.0 * len(names)) + 8
        marks += [lowered(mark, by=foot) for mark in strip]
        marks.append(Line(LEFT, foot, width - RIGHT, foot, tone="line"))
        marks += [Words(LEFT - 8, foot - 14.0 * (len(names) - 1 - place), said, "end") for place, said in enumerate(names)]
    return Chart(name, width, foot + 6, tuple(marks), label, _caption(steps, waits, bin_days, note))


def _stairs(steps: Iterable[tuple[int, float]], last: int, across: Scale, up: Scale) -> tuple[Point, ...]:
    points: list[Point] = [(across.at(0), up.at(0))]
    for day, share in steps:
        x = across.at(day)
        points += [(x, points[-1][1]), (x, up.at(100 * share))]
    return (*points, (across.at(last), points[-1][1]))


def _band(steps: Sequence[Step], last: int, across: Scale, up: Scale) -> tuple[Point, ...]:
    """Round the band, beginning with the first step: before it there is nothing to doubt."""
    upper = _stairs([(step.day, step.high) for step in steps], last, across, up)[2:]
    lower = _stairs([(step.day, step.low) for step in steps], last, across, up)[2:]
    return (*upper, *reversed(lower))


def _drops(line: Path, half: int | None, nine: int | None, across: Scale, up: Scale, width: float) -> list[Mark]:
    """Dashed lines from the curve to the foot, each with its day in words: at the right of its line if there is room."""
    told = [(across.at(day), day, said) for day, said in ((half, "half fitted"), (nine, "nine in ten")) if day is not None]
    lines = [Line(x, _height(line, x), x, up.start, 1.1, dashed=True) for x, _, _ in told]
    fixed = [Box(0, 0, across.start - 2, up.start + 20)]
    drawn = [Box(one.x1 - 2, one.y1, one.x1 + 2, one.y2) for one in lines] + [_box(*ends) for ends in pairwise(line.points)]
    labels: list[Mark] = []
    for x, day, said in told:
        words_ = f"{said}: day {day}"
        places = [
            place
            for row in range(6)
            for place in (
                Words(x + 5, up.start - 6 - 16 * row, words_, tone="ink", clear=True),
                Words(x - 5, up.start - 6 - 16 * row, words_, "end", tone="ink", clear=True),
            )
        ]
        room = {"width": width - RIGHT, "height": up.start}
        # Two days close to each other: rather over a line than nowhere.
        place = free_place(places, taken=[*fixed, *drawn], **room) or free_place(places, taken=fixed, **room)
        if place:
            labels.append(place)
            fixed.append(place.box)
    return [*lines, *labels]


def _height(line: Path, x: float) -> float:
    """The upper end of the curve at a place where it may step."""
    return min((y for at, y in line.points if at <= x + 1e-6), default=line.points[0][1])


def _box(one: Point, other: Point) -> Box:
    """Round a straight piece of the curve, that runs across or up."""
    left, right, top, bottom = min(one[0], other[0]), max(one[0], other[0]), min(one[1], other[1]), max(one[1], other[1])
    return Box(left - 2, top - 2, right + 2, bottom + 2)


def _bin(across: Scale) -> int:
    """Days to a stack: four, on a long axis eight, twelve, ..., so that stacks of dots stay apart."""
    days = BIN
    while days * across.per_unit < _LEAST + 1:
        days += BIN
    return days


Strip = tuple[list[Mark], float]  # marks above a base line at 0, and how high they stand


def _strips(waits: Sequence[Wait], across: Scale, bin_days: int) -> list[tuple[tuple[str, ...], Strip]]:
    """The strips under the curve with their names. Fittings between two days have their own, so that dots stand on each other."""
    fitted = [wait for wait in waits if wait.state == "fitted" and wait.from_days is None]
    between = [wait for wait in waits if wait.state == "fitted" and wait.from_days is not None]
    others = [wait for wait in waits if wait.state != "fitted"]
    strips: list[tuple[tuple[str, ...], Strip]] = [(("fitted",), _dots(fitted, across, bin_days))]
    if between:
        strips.append((("fitted", "between"), _bars(between, across, bin_days)))
    return [*strips, (("waiting,", "withdrawn"), _dots(others, across, bin_days))]


def _dots(waits: Sequence[Wait], across: Scale, bin_days: int) -> Strip:
    """Stacked by bins, as close as the highest stack needs."""
    highest = max(Counter(wait.days // bin_days for wait in waits).values(), default=1)
    pitch = max(_LEAST, min(7.0, _DEEPEST / highest))
    height: Counter[int] = Counter()
    marks: list[Mark] = []
    r = min(pitch, bin_days * across.per_unit) * 0.44
    for wait in sorted(waits, key=lambda wait: (wait.days, wait.title)):
        place = wait.days // bin_days
        height[place] += 1
        x, y = across.at((place + 0.5) * bin_days), -(height[place] - 0.5) * pitch - 1
        if wait.state == "withdrawn":
            marks.append(Cross(x, y, r, href=wait.href, title=wait.title))
        else:
            marks.append(Dot(x, y, r, solid=wait.state == "fitted", href=wait.href, title=wait.title))
    return marks, max(height.values(), default=0) * pitch + 2


def _bars(waits: Sequence[Wait], across: Scale, bin_days: int) -> Strip:
    """Each bracket from its first to its last possible day, in the lowest row that is free over its bins."""
    filled: list[set[int]] = []
    rows = []
    # By where they begin: so the rows that they need are fewest.
    for wait in sorted(waits, key=lambda wait: (wait.from_days or 0, wait.days, wait.title)):
        bins = set(range(max(wait.from_days or 0, 0) // bin_days, wait.days // bin_days + 1))
        level = next((level for level, taken in enumerate(filled) if not taken & bins), len(filled))
        if level == len(filled):
            filled.append(set())
        filled[level] |= bins
        rows.append((wait, level))
    pitch = max(_LEAST, min(5.0, _DEEPEST / max(len(filled), 1)))
    marks: list[Mark] = []
    for wait, level in rows:
        x1, x2 = across.at(max(wait.from_days or 0, 0)), across.at(wait.days)
        thick = pitch * 0.5
        marks.append(Bar(x1, -(level + 0.5) * pitch - thick / 2 - 1, max(x2 - x1, 2.4), thick, href=wait.href, title=wait.title))
    return marks, len(filled) * pitch + 2


def _caption(steps: Sequence[Step], waits: Sequence[Wait], bin_days: int, note: str) -> str:
    said = []
    if steps:
        said.append("Line: share fitted by each day. Hatching: where it lies nine times in ten. The line stops where the data stop.")
    if waits:
        said.append("Each dot is a request fitted; each ring one that waits, at the days waited so far; each cross one withdrawn.")
        if any(wait.from_days is not None for wait in waits):
            said.append("A short bar is a fitting of which only the first and the last possible day are known.")
        said.append(f"Stacks hold {bin_days} days.")
    return " ".join([*said, note]).strip()
