"""Forecast and outcome: what was said beside what came; how often what was called likely happened."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from jobs.core import words
from jobs.core.charts.axes import Scale, below, beside, step_for, ticks
from jobs.core.charts.marks import TEXT, Arrow, Bar, Chart, Cross, Dot, Hatched, Line, Mark, Path, Words, width_of

HEIGHT: Final = 22.0
HEAD: Final = 18.0
_OUTSIDE: Final = "outside"
_ROOM: Final = width_of(_OUTSIDE) * 1.06 + 20  # right of the axis, for the word
_SQUARE: Final = 240.0


@dataclass(frozen=True)
class Said:
    """Days since sent: one in ten, half, nine in ten as they were said (None: beyond), and the day of the fitting (None: not yet)."""

    first: int | None
    half: int | None
    last: int | None
    seen: int | None
    href: str = ""
    title: str = ""

    @property
    def outside(self) -> bool:
        """Fitted before the range began or after it ended."""
        early = self.seen is not None and (self.first is None or self.seen < self.first)
        return early or (self.seen is not None and self.last is not None and self.seen > self.last)


def axis(rows: Iterable[Said], *, width: float = 320) -> Scale:
    """Days since sent, as far as the farthest outcome and nine in ten of the ranges reach."""
    found = list(rows)
    ends = sorted(row.last for row in found if row.last is not None)
    far = max([30, *(row.seen for row in found if row.seen is not None), *ends[: -(-len(ends) * 9 // 10)]])
    return Scale(0, far * 1.03, 6, width - _ROOM)


def head(scale: Scale, *, name: str) -> Chart:
    """Days since sent, for the head of the table."""
    room = width_of(words.number(round(scale.high))) + 12
    labels = [
        Words(scale.at(day), HEAD - 4, words.number(day), "middle" if day else "start") for day in ticks(scale, step_for(scale, room))
    ]
    return Chart(name, scale.end + _ROOM, HEAD, tuple(labels), "Days since sent")


def row(scale: Scale, said: Said, *, name: str) -> Chart:
    """A line from one in ten to nine in ten, a ring at half, a cross at the fitting, and the word where it fell outside."""
    y = HEIGHT / 2
    marks: list[Mark] = [Line(scale.at(0), 0, scale.at(0), HEIGHT, tone="line")]
    beyond = said.last is None or said.last > scale.high
    end = scale.end if beyond or said.last is None else scale.at(said.last)
    begin = scale.end - 12 if said.first is None or said.first > scale.high else scale.at(said.first)
    marks.append(Line(begin, y, end, y, 1.5))
    if said.first is not None and said.first <= scale.high:
        marks.append(Line(begin, y - 4, begin, y + 4, 1.5))
    marks.append(Arrow(end, y) if beyond else Line(end, y - 4, end, y + 4, 1.5))
    if said.half is not None and said.half <= scale.high:
        marks.append(Dot(scale.at(said.half), y, 4, solid=False))
    if said.seen is not None:
        marks.append(Cross(scale.at(said.seen), y, 4.5))
    if said.outside:
        marks.append(Words(max(scale.at(said.seen or 0), end) + 9, y + 4.5, _OUTSIDE, tone="ink", bold=True))
    return Chart(name, scale.end + _ROOM, HEIGHT, tuple(marks), said.title, href=said.href)


CAPTION: Final = (
    "Each line goes from the day by which one in ten were said to be fitted to the day by which nine in ten were; the ring is half, the "
    "cross the day of the fitting. Outside: it fell before or after the line."
)


@dataclass(frozen=True)
class Share:
    """Of what was said to happen with chance `stated` this share did; low, high: where chance alone may put it nine times in ten."""

    stated: float
    seen: float
    low: float
    high: float
    title: str = ""
    href: str = ""


def stated_and_seen(*, name: str, shares: Sequence[Share], beside_it: Sequence[Share] = (), label: str, size: float = _SQUARE) -> Chart:
    """Stated chance against share fitted: dots on a line, the dashed diagonal "if it were perfect", hatching for chance.

    beside_it: the spreadsheet's habit in the same measure, crosses.
    """
    left, top = 56.0, 12.0
    across, up = Scale(0, 100, left, left + size), Scale(0, 100, top + size, top)
    marks: list[Mark] = [*beside(up, left=left, right=left + size, step=25, suffix=f"{words.NARROW}%")]
    marks += below(across, y=top + size, top=top, unit="stated chance, in 100")
    told = sorted(shares, key=lambda share: share.stated)
    if len(told) > 1:
        over = [(across.at(100 * share.stated), up.at(100 * share.high)) for share in told]
        under = [(across.at(100 * share.stated), up.at(100 * share.low)) for share in told]
        marks.append(Hatched((*over, *reversed(under))))
    marks.append(Line(across.at(0), up.at(0), across.at(100), up.at(100), 1.1, dashed=True))
    marks.append(Words(across.at(100) - 4, top + size - 8, "dashed: if it were perfect", "end", clear=True))
    if len(told) > 1:
        marks.append(Path(tuple((across.at(100 * share.stated), up.at(100 * share.seen)) for share in told), 1.5))
    marks += [Dot(across.at(100 * share.stated), up.at(100 * share.seen), 4, href=share.href, title=share.title) for share in told]
    marks += [Cross(across.at(100 * share.stated), up.at(100 * share.seen), 4, href=share.href, title=share.title) for share in beside_it]
    caption = "Dots: of what was said to be fitted with that chance, the share that was. "
    caption += "Hatching: where chance alone puts them nine times in ten."
    if beside_it:
        caption += " Crosses: the spreadsheet's mean of completed waits."
    return Chart(name, left + size + 14, top + size + 2 * TEXT + 12, tuple(marks), label, caption)


def pit(*, name: str, shares: Sequence[float], low: float = 0.0, high: float = 0.0, label: str, width: float = 420) -> Chart:
    """Where in what was said the outcomes fell: ten bars of shares that add up to 1. low, high: where chance alone may put each."""
    left, top, tall = 56.0, 24.0, 140.0
    highest = 100 * max([0.2, high, *shares])
    up = Scale(0, highest * 1.05, top + tall, top)
    across = Scale(0, 100, left, width - 14)
    marks: list[Mark] = [*beside(up, left=left, right=width - 14, step=step_for(up, 28), suffix=f"{words.NARROW}%")]
    marks.append(Words(0, TEXT - 1, "share of outcomes"))
    if high > low:
        box = ((left, up.at(100 * low)), (left, up.at(100 * high)), (width - 14, up.at(100 * high)), (width - 14, up.at(100 * low)))
        marks.append(Hatched(box))
    each = 100 / len(shares)
    for place, share in enumerate(shares):
        x, y = across.at(place * each) + 3, up.at(100 * share)
        said = f"{place * each:.0f} to {(place + 1) * each:.0f} in 100: {words.percent(share)} of the outcomes"
        marks.append(Bar(x, y, across.at((place + 1) * each) - 3 - x, up.start - y, solid=False, title=said))
    marks.append(Line(left, up.at(each), width - 14, up.at(each), 1.1, dashed=True))
    marks += below(across, y=up.start, top=up.start, unit="chance that it would be fitted by the day it was, in 100", grid=False)
    caption = "Dashed: each tenth of the outcomes, if what was said were perfect. Higher at both ends: too narrow; in the middle: too wide."
    return Chart(name, width, up.start + 2 * TEXT + 12, tuple(marks), label, caption + (" Hatching: chance alone." if high > low else ""))
