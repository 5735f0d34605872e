"""A sheet of the day book on paper: US Letter, a margin column closed by a rule, blocks below each other, a foot with page n of m."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Any, Final, Protocol
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from jobs.core.papers import fonts

INCH: Final = 72.0
WIDTH, HEIGHT = LETTER
EDGE: Final = 0.7 * INCH
MARGIN: Final = 1.15 * INCH  # the margin column
RULE_X: Final = EDGE + MARGIN
LEFT: Final = RULE_X + 14
RIGHT: Final = WIDTH - EDGE
TOP: Final = HEIGHT - EDGE
BOTTOM: Final = EDGE + 26  # above the foot

INK: Final = HexColor("#141C18")
INK_2: Final = HexColor("#45514A")
LINE: Final = HexColor("#75827A")
HAIR: Final = HexColor("#DDE4DF")
NOTICE: Final = HexColor("#00539B")


@cache
def style(size: float, *, leading: float = 0, font: str = fonts.SANS, color: Any = INK, right: bool = False) -> ParagraphStyle:
    return ParagraphStyle(
        f"{font} {size} {color} {right}",
        fontName=font,
        fontSize=size,
        leading=leading or size * 1.32,
        textColor=color,
        alignment=2 if right else 0,
        splitLongWords=True,
    )


BODY: Final = style(10)
UNDER: Final = style(8.5, color=INK_2)
LABEL: Final = style(8, color=INK_2)


def plain(text: str) -> str:
    """Text for a Paragraph: its own characters, with line breaks kept."""
    return escape(text).replace("\n", "<br/>")


class Block(Protocol):
    """Something as wide as it is told, with a height, that draws itself below a point."""

    def height(self, width: float) -> float: ...

    def draw(self, canvas: Canvas, x: float, top: float, width: float) -> None: ...


# Each block is measured many times on its way to the page: for the page's room, beside its neighbour, below the one before.
@lru_cache(maxsize=2048)
def _tall(markup: str, style: ParagraphStyle, width: float) -> float:
    return float(Paragraph(markup, style).wrap(width, HEIGHT)[1])


@dataclass(frozen=True)
class Text:
    markup: str
    style: ParagraphStyle = BODY
    after: float = 0

    def height(self, width: float) -> float:
        return _tall(self.markup, self.style, width) + self.after

    def draw(self, canvas: Canvas, x: float, top: float, width: float) -> None:
        paragraph = Paragraph(self.markup, self.style)
        _, height = paragraph.wrap(width, HEIGHT)
        paragraph.drawOn(canvas, x, top - height)


@dataclass(frozen=True)
class Stack:
    """Blocks below each other that stay on one page."""

    blocks: tuple[Block, ...]
    before: float = 0

    def height(self, width: float) -> float:
        return self.before + sum(block.height(width) for block in self.blocks)

    def draw(self, canvas: Canvas, x: float, top: float, width: float) -> None:
        top -= self.before
        for block in self.blocks:
            block.draw(canvas, x, top, width)
            top -= block.height(width)


@dataclass(frozen=True)
class Pair:
    """Words at the left, an amount at the right edge. total: under one rule, the amount doubly underlined."""

    left: Block
    right: str
    total: bool = False
    amount_width: float = 96

    def height(self, width: float) -> float:
        return max(self.left.height(width - self.amount_width), 14) + (10 if self.total else 6)

    def draw(self, canvas: Canvas, x: float, top: float, width: float) -> None:
        if self.total:
            rule(canvas, x + width - self.amount_width, top, x + width, 0.75, INK)
            top -= 4
        self.left.draw(canvas, x, top, width - self.amount_width)
        canvas.setFillColor(INK)
        canvas.setFont(fonts.SANS, 10)
        canvas.drawRightString(x + width, top - 10.4, self.right)
        if self.total:
            wide = canvas.stringWidth(self.right, fonts.SANS, 10)
            for below in (13.4, 15.4):
                rule(canvas, x + width - wide, top - below, x + width, 0.6, INK)


@dataclass(frozen=True)
class Across:
    """Two blocks side by side."""

    left: Block
    right: Block
    share: float = 0.5
    after: float = 3

    def _widths(self, width: float) -> tuple[float, float]:
        return width * self.share - 10, width * (1 - self.share)

    def height(self, width: float) -> float:
        left, right = self._widths(width)
        return max(self.left.height(left), self.right.height(right)) + self.after

    def draw(self, canvas: Canvas, x: float, top: float, width: float) -> None:
        left, right = self._widths(width)
        self.left.draw(canvas, x, top, left)
        self.right.draw(canvas, x + width - right, top, right)


@dataclass(frozen=True)
class Row:
    """Cells of a table side by side, each with its share of the width."""

    cells: tuple[tuple[float, Block], ...]
    gap: float = 8
    after: float = 3

    def height(self, width: float) -> float:
        return max(cell.height(width * share - self.gap) for share, cell in self.cells) + self.after

    def draw(self, canvas: Canvas, x: float, top: float, width: float) -> None:
        for share, cell in self.cells:
            cell.draw(canvas, x, top, width * share - self.gap)
            x += width * share


@dataclass(frozen=True)
class Cells:
    """Rows of the title block: ruled cells, a label over a value. Each cell: (share of the width, label, value)."""

    rows: tuple[tuple[tuple[float, str, str], ...], ...]

    def _blocks(self, label: str, value: str) -> Stack:
        return Stack((Text(plain(label), LABEL, after=1), Text(plain(value), style(10, font=fonts.SANS_BOLD))))

    def _row_height(self, row: tuple[tuple[float, str, str], ...], width: float) -> float:
        return max(self._blocks(label, value).height(width * share - 12) for share, label, value in row) + 9

    def height(self, width: float) -> float:
        return sum(self._row_height(row, width) for row in self.rows) + 2

    def draw(self, canvas: Canvas, x: float, top: float, width: float) -> None:
        rule(canvas, x, top, x + width, 1.5, INK)
        for row in self.rows:
            tall = self._row_height(row, width)
            at = x
            for place, (share, label, value) in enumerate(row):
                if place:
                    canvas.setStrokeColor(LINE)
                    canvas.setLineWidth(0.5)
                    canvas.line(at, top, at, top - tall)
                inset = 8 if place else 0
                self._blocks(label, value).draw(canvas, at + inset, top - 4, width * share - 12)
                at += width * share
            top -= tall
            rule(canvas, x, top, x + width, 0.5, LINE)


@dataclass(frozen=True)
class Notice:
    """A caution of the lowest grade: blue panel with the word in white italics, message black on white in an ink border."""

    word: str
    message: str
    panel: float = 74

    def _message(self) -> Text:
        return Text(plain(self.message), style(10))

    def height(self, width: float) -> float:
        return max(self._message().height(width - self.panel - 20), 16) + 16 + 7

    def draw(self, canvas: Canvas, x: float, top: float, width: float) -> None:
        tall = self.height(width) - 7
        canvas.setFillColor(NOTICE)
        canvas.rect(x, top - tall, self.panel, tall, stroke=0, fill=1)
        canvas.setFillColor(HexColor("#FFFFFF"))
        canvas.setFont(f"{fonts.SANS}-It", 13)
        canvas.drawCentredString(x + self.panel / 2, top - tall / 2 - 4.4, self.word)
        self._message().draw(canvas, x + self.panel + 10, top - 7, width - self.panel - 20)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(1.5)
        canvas.rect(x, top - tall, width, tall, stroke=1, fill=0)


def rule(canvas: Canvas, x: float, y: float, to_x: float, thick: float, color: Any) -> None:
    canvas.setStrokeColor(color)
    canvas.setLineWidth(thick)
    canvas.line(x, y, to_x, y)


@dataclass(frozen=True)
class Entry:
    """One line of the sheet: what stands in the margin, and the block beside it."""

    margin: Block | None
    block: Block
    rule: str = ""  # above it: "section" (ink), "row" (hair) or none
    keep: bool = False  # with the next one, on one page: a heading with its first row
    head: Entry | None = None  # stands again above it, where it begins a page

    @property
    def pad(self) -> float:
        return {"section": 9.0, "row": 4.0}.get(self.rule, 0.0)

    @property
    def height(self) -> float:
        margin = self.margin.height(MARGIN - 12) if self.margin else 0.0
        return max(margin, self.block.height(RIGHT - LEFT)) + self.pad

    def draw(self, canvas: Canvas, top: float) -> None:
        if self.rule == "section":
            rule(canvas, EDGE, top, RIGHT, 0.75, INK)
        elif self.rule == "row":
            rule(canvas, LEFT, top, RIGHT, 0.5, HAIR)
        top -= self.pad
        if self.margin:
            self.margin.draw(canvas, EDGE, top, MARGIN - 12)
        self.block.draw(canvas, LEFT, top, RIGHT - LEFT)


def pages_of(entries: Sequence[Entry]) -> list[list[Entry]]:
    """Entries by page; none is broken, and the head of a table stands again where its rows go on."""
    pages: list[list[Entry]] = [[]]
    room = TOP - BOTTOM
    for place, entry in enumerate(entries):
        if _kept_together(entries, place) > room and pages[-1]:
            pages.append([])
            room = TOP - BOTTOM
            if entry.head:
                pages[-1].append(entry.head)
                room -= entry.head.height
        pages[-1].append(entry)
        room -= entry.height
    return pages


def _kept_together(entries: Sequence[Entry], place: int) -> float:
    """Height of an entry and all that must stand on its page: a heading, the head of its table, the first row."""
    tall = 0.0
    for entry in entries[place:]:
        tall += entry.height
        if not entry.keep:
            break
    return tall


def sheet(entries: Sequence[Entry], *, title: str, author: str, foot: str, lang: str = "en-US", paged: str = "Page {} of {}") -> bytes:
    """The same entries give the same bytes."""
    fonts.register()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=LETTER, invariant=1, pageCompression=1, lang=lang)
    canvas.setTitle(title)
    canvas.setAuthor(author)
    canvas.setSubject(title)
    canvas.setCreator(author)
    pages = pages_of(entries)
    for number, page in enumerate(pages, start=1):
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.75)
        canvas.line(RULE_X, TOP, RULE_X, BOTTOM - 4)
        top = TOP
        for entry in page:
            entry.draw(canvas, top)
            top -= entry.height
        _foot(canvas, foot, paged.format(number, len(pages)))
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _foot(canvas: Canvas, words: str, page: str) -> None:
    rule(canvas, EDGE, EDGE + 14, RIGHT, 0.5, LINE)
    canvas.setFillColor(INK_2)
    canvas.setFont(fonts.SANS, 8)
    canvas.drawString(EDGE, EDGE + 3, words)
    canvas.drawRightString(RIGHT, EDGE + 3, page)
