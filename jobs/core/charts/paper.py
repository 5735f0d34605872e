"""The same marks on paper, by ReportLab: a block of a sheet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

from reportlab.lib.colors import HexColor, white
from reportlab.pdfgen.canvas import Canvas

from jobs.core.charts.marks import (
    DASHES,
    HATCH,
    TEXT,
    Arrow,
    Bar,
    Chart,
    Cross,
    Diamond,
    Dot,
    Hatched,
    Line,
    Mark,
    Path,
    Point,
    Words,
)
from jobs.core.papers import fonts
from jobs.core.papers.sheet import HAIR, INK, INK_2, LINE

_TONES: Final = {"ink": INK, "ink-2": INK_2, "line": LINE, "hair": HAIR}
_HATCHING: Final = HexColor("#8B978F")
LARGEST: Final = 0.72  # points to a pixel: text of 9.4
LEAST_TEXT: Final = 7.5  # points


@dataclass(frozen=True)
class Drawn:
    """A chart as wide as the sheet lets it be.

    Raises ValueError, when measured, if its text would come out below 7.5 points: it must be made narrower.
    """

    chart: Chart
    after: float = 0

    def _scale(self, width: float) -> float:
        scale = min(width / self.chart.width, LARGEST)
        if scale * TEXT < LEAST_TEXT:
            raise ValueError(f"The chart {self.chart.name} is {self.chart.width:.0f} px wide, too wide for {width:.0f} points of paper.")
        return scale

    def height(self, width: float) -> float:
        return self.chart.height * self._scale(width) + self.after

    def draw(self, canvas: Canvas, x: float, top: float, width: float) -> None:
        scale = self._scale(width)
        canvas.saveState()
        # Pixels, y down, as the marks have them; letters are turned back.
        canvas.translate(x, top)
        canvas.scale(scale, -scale)
        for mark in self.chart.marks:
            _draw(canvas, mark)
        canvas.restoreState()


def _draw(canvas: Canvas, mark: Mark) -> None:
    if isinstance(mark, Line):
        _stroke(canvas, ((mark.x1, mark.y1), (mark.x2, mark.y2)), mark.weight, _TONES[mark.tone], dashed=mark.dashed)
    elif isinstance(mark, Path):
        _stroke(canvas, mark.points, mark.weight, _TONES[mark.tone])
    elif isinstance(mark, Arrow):
        _stroke(canvas, mark.points, 1.5, INK)
    elif isinstance(mark, Cross):
        x, y, r = mark.x, mark.y, mark.r
        _stroke(canvas, ((x - r, y - r), (x + r, y + r)), 1.5, INK)
        _stroke(canvas, ((x - r, y + r), (x + r, y - r)), 1.5, INK)
    elif isinstance(mark, Dot):
        _fill(canvas, solid=mark.solid)
        canvas.circle(mark.x, mark.y, mark.r, stroke=0 if mark.solid else 1, fill=1)
    elif isinstance(mark, Bar):
        _fill(canvas, solid=mark.solid)
        canvas.rect(mark.x, mark.y, mark.width, mark.height, stroke=0 if mark.solid else 1, fill=1)
    elif isinstance(mark, Diamond):
        _fill(canvas, solid=True)
        canvas.drawPath(_outline(canvas, mark.points, closed=True), stroke=0, fill=1)
    elif isinstance(mark, Hatched):
        _hatch(canvas, mark.points)
    elif isinstance(mark, Words):
        _words(canvas, mark)


def _outline(canvas: Canvas, points: tuple[Point, ...], *, closed: bool = False) -> Any:
    path = canvas.beginPath()
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    if closed:
        path.close()
    return path


def _stroke(canvas: Canvas, points: tuple[Point, ...], weight: float, color: Any, *, dashed: bool = False) -> None:
    canvas.setStrokeColor(color)
    canvas.setLineWidth(weight)
    canvas.setDash(*([list(DASHES)] if dashed else []))
    canvas.drawPath(_outline(canvas, points), stroke=1, fill=0)
    canvas.setDash()


def _fill(canvas: Canvas, *, solid: bool) -> None:
    canvas.setFillColor(INK if solid else white)
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(1.3)


def _hatch(canvas: Canvas, points: tuple[Point, ...]) -> None:
    left, right = min(x for x, _ in points), max(x for x, _ in points)
    top, bottom = min(y for _, y in points), max(y for _, y in points)
    canvas.saveState()
    canvas.clipPath(_outline(canvas, points, closed=True), stroke=0, fill=0)
    canvas.setStrokeColor(_HATCHING)
    canvas.setLineWidth(1)
    tall, apart = bottom - top, HATCH * math.sqrt(2)
    # Lines of the whole plane, not of the area: two areas side by side are hatched alike.
    first = math.floor((left - tall + top) / apart) * apart - top
    for place in range(math.ceil((right - first) / apart) + 1):
        x = first + place * apart
        canvas.line(x, bottom, x + tall, top)
    canvas.restoreState()


def _words(canvas: Canvas, mark: Words) -> None:
    font = fonts.SANS_BOLD if mark.bold else f"{fonts.SANS}-It" if mark.italic else fonts.SANS
    wide = canvas.stringWidth(mark.words, font, mark.size)
    left = mark.x - {"start": 0.0, "middle": wide / 2, "end": wide}[mark.anchor]
    if mark.clear:
        canvas.setFillColor(white)
        canvas.rect(left - 2, mark.y - 0.75 * mark.size, wide + 4, mark.size, stroke=0, fill=1)
    canvas.saveState()
    canvas.translate(left, mark.y)
    canvas.scale(1, -1)
    canvas.setFillColor(_TONES[mark.tone])
    canvas.setFont(font, mark.size)
    canvas.drawString(0, 0, mark.words)
    canvas.restoreState()
