"""The sheet for a desk on paper: US Letter landscape, 21 lines a page, dotted lines to write on. Plain values in, bytes out."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from reportlab.lib.pagesizes import LETTER, landscape
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from jobs.core.papers import fonts
from jobs.core.papers.sheet import INK, INK_2, LINE, rule

WIDTH, HEIGHT = landscape(LETTER)
EDGE: Final = 36.0
LINES: Final = 21  # of a page
TALL: Final = 19.5  # of a line
HEAD: Final = 84.0

# Heading and width in points; together the width between the edges. The last three are written by hand.
COLUMNS: Final = (
    ("", 22.0), ("Our request", 52.0), ("Your number", 60.0), ("Meter", 62.0), ("Address", 176.0), ("Sent", 50.0), ("Promised", 50.0),
    ("Access", 68.0), ("Planned for", 56.0), ("Fitted on", 54.0), ("Not fitted because", 70.0),
)  # fmt: skip
WRITTEN: Final = 3


@dataclass(frozen=True)
class Line:
    code: str
    reference: str
    meter: str
    address: str
    sent: str
    promised: str
    access: str


@dataclass(frozen=True)
class Plain:
    company: str
    phone: str
    email: str
    utility: str
    day: str
    lines: Sequence[Line]
    released: bool


def sheet_paper(paper: Plain) -> bytes:
    """The same values give the same bytes."""
    fonts.register()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(WIDTH, HEIGHT), invariant=1, pageCompression=1, lang="en-US")
    canvas.setTitle(f"Homes waiting for {paper.utility}")
    canvas.setAuthor(paper.company)
    pages = [paper.lines[start : start + LINES] for start in range(0, len(paper.lines), LINES)] or [()]
    for number, lines in enumerate(pages, start=1):
        _head(canvas, paper)
        _lines(canvas, lines, first=(number - 1) * LINES + 1)
        _foot(canvas, paper, number, len(pages))
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _head(canvas: Canvas, paper: Plain) -> None:
    top = HEIGHT - EDGE
    canvas.setFillColor(INK)
    canvas.setFont(fonts.SERIF_BOLD, 16)
    canvas.drawString(EDGE, top - 14, _cut(f"Homes waiting for {paper.utility}", fonts.SERIF_BOLD, 16, 500))
    canvas.setFont(fonts.SANS, 9)
    told = f"Given on {paper.day}" if paper.released else f"Not released. Prepared {paper.day}"
    canvas.drawRightString(WIDTH - EDGE, top - 12, told)
    canvas.setFont(fonts.SANS, 9)
    canvas.drawString(
        EDGE, top - 32, "Please write on each line what is known; “nothing new” is an answer too. The longest wait stands first."
    )
    back = " or ".join(part for part in (paper.email, paper.phone) if part)
    canvas.drawString(EDGE, top - 45, _cut(f"Back to {paper.company}{f', {back}' if back else ''}.", fonts.SANS, 9, WIDTH - 2 * EDGE))


def _lines(canvas: Canvas, lines: Sequence[Line], *, first: int) -> None:
    y = HEIGHT - EDGE - HEAD + 20
    rule(canvas, EDGE, y - 4, WIDTH - EDGE, 1.0, INK)
    x = EDGE
    canvas.setFont(fonts.SANS, 7.5)
    canvas.setFillColor(INK_2)
    for heading, wide in COLUMNS:
        canvas.drawString(x, y, heading)
        x += wide
    y -= 4
    for place, line in enumerate(lines, start=first):
        x, base = EDGE, y - 13.5
        canvas.setFillColor(INK)
        told = (str(place), line.code, line.reference, line.meter, line.address, line.sent, line.promised, line.access)
        for (_, wide), text in zip(COLUMNS, told, strict=False):
            # A long address is set smaller before it is cut.
            size = next((size for size in (8, 7.2, 6.4) if stringWidth(text, fonts.SANS, size) <= wide - 5), 6.4)
            canvas.setFont(fonts.SANS, size)
            canvas.drawString(x, base, _cut(text, fonts.SANS, size, wide - 5))
            x += wide
        canvas.setStrokeColor(INK_2)
        canvas.setLineWidth(0.7)
        canvas.setDash(0.7, 2.2)
        for _, wide in COLUMNS[-WRITTEN:]:
            canvas.line(x, base - 1.5, x + wide - 6, base - 1.5)
            x += wide
        canvas.setDash()
        y -= TALL
        rule(canvas, EDGE, y, WIDTH - EDGE, 0.4, LINE)


def _foot(canvas: Canvas, paper: Plain, page: int, pages: int) -> None:
    canvas.setFillColor(INK_2)
    canvas.setFont(fonts.SANS, 8)
    canvas.drawString(EDGE, EDGE - 12, f"{paper.company}, homes waiting for {paper.utility}, {paper.day}")
    canvas.drawRightString(WIDTH - EDGE, EDGE - 12, f"Page {page} of {pages}")


def _cut(text: str, font: str, size: float, room: float) -> str:
    """The text, or as much of it as the room holds, with a sign that it goes on."""
    if stringWidth(text, font, size) <= room:
        return text
    while text and stringWidth(f"{text}…", font, size) > room:
        text = text[:-1]
    return f"{text.rstrip()}…"
