"""A caution on paper in the form of ANSI Z535: the signal word with its triangle in a colored panel, the message in black on white.

The word, the triangle and the words of the message say all of it without the color.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from reportlab.lib.colors import HexColor
from reportlab.pdfgen.canvas import Canvas

from jobs.core.cautions import Kind
from jobs.core.papers import fonts
from jobs.core.papers.sheet import INK, NOTICE, Text, plain, style

_PANELS: Final = {
    Kind.DANGER: (HexColor("#B3141D"), HexColor("#FFFFFF")),
    Kind.WARNING: (HexColor("#FF8200"), HexColor("#000000")),
    Kind.CAUTION: (HexColor("#FFD100"), HexColor("#000000")),
    Kind.NOTICE: (NOTICE, HexColor("#FFFFFF")),
}


@dataclass(frozen=True)
class CautionBox:
    """The panel stands above its message; on a wide paper it may stand at the left (panel > 0, its width)."""

    kind: Kind
    word: str
    message: str
    size: float = 11
    panel: float = 0
    after: float = 6
    tight: bool = False  # where every line counts, as on a tag

    def _message(self) -> Text:
        return Text(plain(self.message), style(self.size, leading=self.size * (1.12 if self.tight else 1.22)))

    @property
    def _bar(self) -> float:
        return self.size * (1.4 if self.tight else 1.7)

    def height(self, width: float) -> float:
        if self.panel:
            return max(self._message().height(width - self.panel - 16), self.size * 1.3) + 12 + self.after
        return self._message().height(width - 14) + self._bar + 9 + self.after

    def draw(self, canvas: Canvas, x: float, top: float, width: float) -> None:
        tall = self.height(width) - self.after
        ground, letters = _PANELS[self.kind]
        wide, high = (self.panel, tall) if self.panel else (width, self._bar)
        canvas.setFillColor(ground)
        canvas.rect(x, top - high, wide, high, stroke=0, fill=1)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(1.25)
        canvas.rect(x, top - high, wide, high, stroke=1, fill=0)
        font = f"{fonts.SANS}-It" if self.kind == Kind.NOTICE else fonts.SANS_BOLD
        size = self.size * (1.1 if self.tight else 1.25)
        word_wide = canvas.stringWidth(self.word, font, size)
        room = wide - 12 - (0 if self.kind == Kind.NOTICE else size * 1.35)
        if word_wide > room:
            size *= room / word_wide
            word_wide = room
        sign = 0 if self.kind == Kind.NOTICE else size * 1.35
        begin = x + (wide - word_wide - sign) / 2 if self.panel else x + 7
        base = top - high / 2 - size * 0.34
        if sign:
            _triangle(canvas, begin, base - size * 0.08, size, letters, ground)
        canvas.setFillColor(letters)
        canvas.setFont(font, size)
        canvas.drawString(begin + sign, base, self.word)
        if self.panel:
            self._message().draw(canvas, x + self.panel + 8, top - 5, width - self.panel - 16)
        else:
            self._message().draw(canvas, x + 7, top - self._bar - 3, width - 14)
        canvas.rect(x, top - tall, width, tall, stroke=1, fill=0)


def _triangle(canvas: Canvas, x: float, base: float, size: float, letters: HexColor, ground: HexColor) -> None:
    """The safety alert symbol: a triangle with an exclamation mark."""
    canvas.setFillColor(letters)
    path = canvas.beginPath()
    path.moveTo(x, base)
    path.lineTo(x + size * 1.1, base)
    path.lineTo(x + size * 0.55, base + size * 0.96)
    path.close()
    canvas.drawPath(path, stroke=0, fill=1)
    canvas.setFillColor(ground)
    middle = x + size * 0.55
    canvas.rect(middle - size * 0.06, base + size * 0.3, size * 0.12, size * 0.36, stroke=0, fill=1)
    canvas.circle(middle, base + size * 0.16, size * 0.075, stroke=0, fill=1)
