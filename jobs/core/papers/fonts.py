"""The type of our papers: Source Sans and Source Serif, the unaltered files of their packages, registered once."""

from __future__ import annotations

import importlib.util
from functools import cache
from pathlib import Path
from typing import Final

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

SANS: Final = "SourceSans"
SANS_BOLD: Final = "SourceSans-Semibold"
SERIF: Final = "SourceSerif"
SERIF_BOLD: Final = "SourceSerif-Semibold"

_FAMILIES: Final = (
    (SANS, "font_source_sans_pro", "SourceSansPro"),
    (SERIF, "font_source_serif_pro", "SourceSerifPro"),
)


@cache
def register() -> None:
    for family, package, file in _FAMILIES:
        folder = _folder(package)
        for suffix, style in (("", "Regular"), ("-Semibold", "Semibold"), ("-It", "It")):
            pdfmetrics.registerFont(TTFont(family + suffix, str(folder / f"{file}-{style}.ttf")))
        pdfmetrics.registerFontFamily(
            family, normal=family, bold=f"{family}-Semibold", italic=f"{family}-It", boldItalic=f"{family}-Semibold"
        )


def _folder(package: str) -> Path:
    spec = importlib.util.find_spec(package)
    assert spec is not None, f"the package {package} carries the fonts of our papers"
    assert spec.origin is not None
    return Path(spec.origin).parent / "files"
