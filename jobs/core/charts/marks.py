"""What a chart is made of: lines, areas, dots, words. Each knows its place; none knows where it is drawn."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import ClassVar, Final, Literal

Tone = Literal["ink", "ink-2", "line", "hair"]
Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]

TEXT: Final = 13.0  # px
HATCH: Final = 5.0  # px between the lines of a hatching
DASHES: Final = (4.0, 3.0)

# Widths of Source Sans in thousandths of the size, rounded up to the wider fallbacks (Segoe UI, Roboto, Arial); the rest as a capital.
_NARROW, _DIGIT, _LOWER, _CAPITAL, _WIDE = 290, 560, 570, 690, 900
_WIDTHS: Final = (
    dict.fromkeys(" .,:;'|!il\u202f()[]-jtf", _NARROW)
    | dict.fromkeys("0123456789", _DIGIT)
    | dict.fromkeys("abcdeghknopqrsuvxyz", _LOWER)
    | dict.fromkeys("mwMW%@", _WIDE)
)


def width_of(words: str, size: float = TEXT) -> float:
    """Room that words take, in px; rather too much than too little."""
    return sum(_WIDTHS.get(char, _CAPITAL) for char in words) * size / 1000


@dataclass(frozen=True)
class Box:
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        return self.left < other.right and other.left < self.right and self.top < other.bottom and other.top < self.bottom

    def inside(self, width: float, height: float) -> bool:
        return self.left >= 0 and self.top >= 0 and self.right <= width and self.bottom <= height


@dataclass(frozen=True)
class Mark:
    """href: what it stands for, opened by it. title: the same in words."""

    kind: ClassVar[str] = ""
    href: str = field(default="", kw_only=True)
    title: str = field(default="", kw_only=True)


@dataclass(frozen=True)
class Line(Mark):
    kind = "line"
    x1: float
    y1: float
    x2: float
    y2: float
    weight: float = 1
    tone: Tone = "ink"
    dashed: bool = False


@dataclass(frozen=True)
class Path(Mark):
    """Straight from point to point."""

    kind = "path"
    points: tuple[Point, ...]
    weight: float = 2
    tone: Tone = "ink"

    @property
    def d(self) -> str:
        return _d(self.points)


@dataclass(frozen=True)
class Hatched(Mark):
    """An area of doubt: lines at 45 degrees."""

    kind = "hatched"
    points: tuple[Point, ...]

    @property
    def d(self) -> str:
        return f"{_d(self.points)}Z"


@dataclass(frozen=True)
class Dot(Mark):
    """solid: something seen; else a ring."""

    kind = "dot"
    x: float
    y: float
    r: float = 3
    solid: bool = True


@dataclass(frozen=True)
class Cross(Mark):
    kind = "cross"
    x: float
    y: float
    r: float = 3

    @property
    def d(self) -> str:
        x, y, r = self.x, self.y, self.r
        return f"{_d(((x - r, y - r), (x + r, y + r)))}{_d(((x - r, y + r), (x + r, y - r)))}"


@dataclass(frozen=True)
class Diamond(Mark):
    kind = "diamond"
    x: float
    y: float
    r: float = 4.5

    @property
    def points(self) -> tuple[Point, ...]:
        x, y, r = self.x, self.y, self.r
        return ((x, y - r), (x + r, y), (x, y + r), (x - r, y))

    @property
    def d(self) -> str:
        return f"{_d(self.points)}Z"


@dataclass(frozen=True)
class Arrow(Mark):
    """An open head that points to the right: it goes on beyond what is drawn."""

    kind = "arrow"
    x: float  # of its point
    y: float
    r: float = 4.5

    @property
    def points(self) -> tuple[Point, ...]:
        return ((self.x - self.r, self.y - self.r), (self.x, self.y), (self.x - self.r, self.y + self.r))

    @property
    def d(self) -> str:
        return _d(self.points)


@dataclass(frozen=True)
class Bar(Mark):
    """solid: what happened; else outlined, what is expected."""

    kind = "bar"
    x: float
    y: float
    width: float
    height: float
    solid: bool = True


@dataclass(frozen=True)
class Words(Mark):
    """A label; y is its base line. clear: white behind it, where lines cross."""

    kind = "words"
    x: float
    y: float
    words: str
    anchor: Anchor = "start"
    tone: Tone = "ink-2"
    size: float = TEXT
    bold: bool = False
    italic: bool = False
    clear: bool = False

    @property
    def box(self) -> Box:
        wide = width_of(self.words, self.size) * (1.06 if self.bold else 1)
        left = self.x - {"start": 0.0, "middle": wide / 2, "end": wide}[self.anchor]
        return Box(left, self.y - 0.75 * self.size, left + wide, self.y + 0.25 * self.size)


@dataclass(frozen=True)
class Chart:
    """label: the sentence that it proves. caption: each mark in words. href: of all its marks together, where it is one row."""

    name: str  # unique on its page
    width: float
    height: float
    marks: tuple[Mark, ...]
    label: str
    caption: str = ""
    href: str = ""

    @property
    def linked(self) -> bool:
        return bool(self.href) or any(mark.href for mark in self.marks)

    @property
    def hatched(self) -> bool:
        return any(mark.kind == "hatched" for mark in self.marks)

    @property
    def words(self) -> list[Words]:
        return [mark for mark in self.marks if isinstance(mark, Words)]


def free_place(wanted: Iterable[Words], *, taken: Sequence[Box], width: float, height: float) -> Words | None:
    """The first of several places of a label that lies inside the chart and meets no other; None if there is none."""
    for words in wanted:
        box = words.box
        if box.inside(width, height) and not any(box.meets(other) for other in taken):
            return words
    return None


def lowered(mark: Mark, *, by: float) -> Mark:
    """The same mark further down. Only of those that are one place: dots, crosses, bars."""
    assert isinstance(mark, Dot | Cross | Bar)
    return replace(mark, y=mark.y + by)


def px(value: float) -> str:
    """A coordinate as it is written: two digits are a hundredth of a pixel."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _d(points: Iterable[Point]) -> str:
    return "M" + "L".join(f"{px(x)} {px(y)}" for x, y in points)
