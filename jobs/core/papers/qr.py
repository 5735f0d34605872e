"""A QR code as a block of a paper: level Q for outdoors, a quiet zone of four modules, each module one millimetre or more.

Source: ISO/IEC 18004; the encoder is ReportLab's own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit

from reportlab.graphics.barcode import qrencoder
from reportlab.pdfgen.canvas import Canvas

from jobs.core.papers.sheet import INK

MM: Final = 72 / 25.4
QUIET: Final = 4  # modules on each side
MODULE_MM: Final = 1.0
LEAST_MM: Final = 40.0  # with its quiet zone
LEVELS: Final = {"L": 1, "M": 0, "Q": 3, "H": 2}  # as the standard writes them into the code (table 12)


def modules_of(text: str, *, level: str = "Q") -> list[list[bool]]:
    """The modules of the smallest code that holds the text, dark True, row by row, without the quiet zone.

    Raises ValueError where no version holds it.
    """
    code = qrencoder.QRCode(None, LEVELS[level])  # it takes the smallest version that holds the text
    code.addData(text)
    try:
        code.make()
    except Exception as fault:  # the encoder raises nothing more particular
        raise ValueError(f"No QR code of level {level} holds {len(text)} characters.") from fault
    size = code.getModuleCount()
    return [[bool(code.isDark(row, column)) for column in range(size)] for row in range(size)]


def written(base_url: str, path: str) -> str:
    """An address in the letters that a code packs tightest: capitals. Scheme and host are the same in either case (RFC 3986, 6.2.2.1);
    the path is ours, and its tag's part is answered in capitals. A base with a path of its own keeps its letters.
    """
    address = base_url.rstrip("/") + path
    return address if urlsplit(base_url).path.strip("/") else address.upper()


@dataclass(frozen=True)
class QR:
    """Drawn as rectangles, never as a picture: it stays sharp at any size."""

    text: str
    level: str = "Q"

    def side_mm(self) -> float:
        across = len(modules_of(self.text, level=self.level)) + 2 * QUIET
        return max(across * MODULE_MM, LEAST_MM)

    def height(self, width: float) -> float:
        return self.side_mm() * MM

    def draw(self, canvas: Canvas, x: float, top: float, width: float) -> None:
        modules = modules_of(self.text, level=self.level)
        module = self.side_mm() * MM / (len(modules) + 2 * QUIET)
        canvas.setFillColorRGB(1, 1, 1)
        canvas.rect(x, top - self.side_mm() * MM, self.side_mm() * MM, self.side_mm() * MM, stroke=0, fill=1)
        canvas.setFillColor(INK)
        path = canvas.beginPath()
        for row, dark in enumerate(modules):
            y = top - (QUIET + row + 1) * module
            for first, last in _runs(dark):
                path.rect(x + (QUIET + first) * module, y, (last - first) * module, module)
        canvas.drawPath(path, stroke=0, fill=1)


def _runs(dark: list[bool]) -> list[tuple[int, int]]:
    """Neighbouring dark modules as one rectangle: between two of them a printer would leave a hair of white."""
    found, begun = [], None
    for place, is_dark in enumerate([*dark, False]):
        if is_dark and begun is None:
            begun = place
        elif not is_dark and begun is not None:
            found.append((begun, place))
            begun = None
    return found
