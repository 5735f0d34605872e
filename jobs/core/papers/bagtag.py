"""The tag of the bag in which a collar waits: 4 by 6 inches, or two on a Letter page with marks to cut along.

No name and no gate code. Plain values in, bytes out.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Final

from reportlab.lib.pagesizes import LETTER
from reportlab.pdfgen.canvas import Canvas

from jobs.core import cautions
from jobs.core.papers import fonts
from jobs.core.papers.cautionbox import CautionBox
from jobs.core.papers.qr import MM, QR
from jobs.core.papers.sheet import INCH, INK, INK_2, Text, plain, rule, style

WIDE: Final = 4 * INCH
HIGH: Final = 6 * INCH
EDGE: Final = 0.2 * INCH
WIDEST_MM: Final = 46.0  # the code, with its quiet zone: beside it stands what a person reads


@dataclass(frozen=True)
class Tag:
    company: str
    phone: str  # as it is read out
    address: str  # what the code opens
    code: str  # the job's, in two groups
    request: str = ""  # of the request to fit, ours or the utility's number
    meter: str = ""
    unit: str = ""  # of a home among several: "Unit 4"


class TooLong(ValueError):
    """The address of this installation makes a code that does not fit the tag."""


def checked(address: str) -> QR:
    """The code of an address. Raises TooLong where it would not fit with modules of one millimetre."""
    code = QR(address)
    if code.side_mm() > WIDEST_MM:
        raise TooLong(
            f"The address {address.partition('/T/')[0]} is too long for the bag tag: its code would be {code.side_mm():.0f} mm wide, "
            f"and {WIDEST_MM:.0f} mm are there. Set BASE_URL to a shorter host name."
        )
    return code


def tag(told: Tag) -> bytes:
    """One page of 4 by 6 inches."""
    fonts.register()
    out = io.BytesIO()
    canvas = _canvas(out, (WIDE, HIGH), told)
    _draw(canvas, told, 0, 0)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def two_on_letter(told: Tag) -> bytes:
    """The same tag twice on US Letter, turned to lie beside each other, with marks to cut along: one for the bag, one to spare."""
    fonts.register()
    out = io.BytesIO()
    wide, high = LETTER[1], LETTER[0]  # landscape: 11 by 8.5 inches
    canvas = _canvas(out, (wide, high), told)
    left, bottom = (wide - 2 * WIDE) / 3, (high - HIGH) / 2
    for place in range(2):
        x = left + place * (WIDE + left)
        _draw(canvas, told, x, bottom)
        _cut_marks(canvas, x, bottom)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _canvas(out: io.BytesIO, size: tuple[float, float], told: Tag) -> Canvas:
    canvas = Canvas(out, pagesize=size, invariant=1, pageCompression=1, lang="en-US")
    canvas.setTitle(f"Bag tag {told.code}")
    canvas.setAuthor(told.company)
    return canvas


_HEAD: Final = style(16, leading=17, font=fonts.SERIF_BOLD)


def _draw(canvas: Canvas, told: Tag, x: float, bottom: float) -> None:
    left, right, top = x + EDGE, x + WIDE - EDGE, bottom + HIGH - EDGE
    width = right - left
    head = Text("For the electric utility<br/><font name='SourceSerif' size='11'>Para la compañía eléctrica</font>", _HEAD)
    head.draw(canvas, left, top, width)
    top -= head.height(width) + 5
    rule(canvas, left, top, right, 1.5, INK)
    code = checked(told.address)
    side = code.side_mm() * MM
    # The quiet zone is part of the code: nothing comes nearer.
    code.draw(canvas, left, top - 3, side)
    beside = left + side + 6
    _beside(canvas, told, beside, top - 6, right - beside)
    top -= side + 6
    for block in _cautions():
        block.draw(canvas, left, top, width)
        top -= block.height(width)
    stay = Text("<b>Please leave this bag here. Por favor, deje esta bolsa aquí.</b>", style(10, leading=12))
    stay.draw(canvas, left, top, width)
    canvas.setFillColor(INK_2)
    canvas.setFont(fonts.SANS, 7.5)
    canvas.drawString(left, bottom + EDGE - 4, told.company)


def _cautions() -> list[CautionBox]:
    found = []
    for name in ("live_conductors", "utility_only"):
        caution = cautions.of(name)
        both = f"{caution.en}\n{caution.es}"
        found.append(CautionBox(caution.kind, f"{caution.signal('en')} / {caution.signal('es')}", both, size=11, after=5, tight=True))
    return found


def _beside(canvas: Canvas, told: Tag, x: float, top: float, width: float) -> None:
    small = style(8, leading=10, color=INK_2)
    blocks = [Text("Our code", small), Text(plain(told.code), style(23, leading=25, font=fonts.SERIF_BOLD), after=5)]
    for label, value in (("Request", told.request), ("Meter", told.meter), ("At", told.unit)):
        if value:
            blocks.append(Text(f'<font size="8" color="#45514A">{label}</font> <b>{plain(value)}</b>', style(10.5, leading=13), after=1))
    if told.phone:
        blocks += [Text("Wrong, or a question? / ¿Algo mal?", small), Text(plain(told.phone), style(14, leading=17, font=fonts.SANS_BOLD))]
    for block in blocks:
        block.draw(canvas, x, top, width)
        top -= block.height(width)


def _cut_marks(canvas: Canvas, x: float, bottom: float) -> None:
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(0.5)
    for corner_x, way_x in ((x, -1), (x + WIDE, 1)):
        for corner_y, way_y in ((bottom, -1), (bottom + HIGH, 1)):
            canvas.line(corner_x + way_x * 3, corner_y, corner_x + way_x * 15, corner_y)
            canvas.line(corner_x, corner_y + way_y * 3, corner_x, corner_y + way_y * 15)
