"""The bag tag as it is printed: read back from the rendered page by a decoder, at print and at screen size, and smudged."""

from __future__ import annotations

import functools
import io
import shutil
import subprocess

import pytest
import zxingcpp
from PIL import Image, ImageDraw
from pypdf import PdfReader

from jobs.core import cautions
from jobs.core.papers import bagtag, qr
from utilities.checks import tag_fits

ADDRESS = "HTTPS://OFFICE.LARCHLANTERN.EXAMPLE/T/KQ7M4EKQ7M4EKQ7M/"
TAG = bagtag.Tag("Larch & Lantern Home Energy", "(303) 555-0101", ADDRESS, "KQ7 M4E", "MR-22817", "55 806 528", "Unit 4")


def picture_of(pdf: bytes, *, dpi: int = 100) -> Image.Image:
    """The first page as the printer would draw it."""
    assert shutil.which("pdftoppm"), "poppler-utils draws the page (Debian: poppler-utils)"
    drawn = subprocess.run(["pdftoppm", "-r", str(dpi), "-png", "-singlefile", "-"], input=pdf, check=True, capture_output=True)
    return Image.open(io.BytesIO(drawn.stdout)).convert("RGB")


@pytest.fixture(scope="module")
def rendered():
    """Pages by paper and dots per inch, each drawn once."""
    papers = {"one": bagtag.tag(TAG), "two": bagtag.two_on_letter(TAG)}
    return functools.cache(lambda name, dpi: picture_of(papers[name], dpi=dpi))


@pytest.mark.parametrize("dpi", [300, 100])
def test_the_code_is_read_back_from_the_rendered_tag(rendered, dpi):
    page = rendered("one", dpi)

    (read,) = zxingcpp.read_barcodes(page)

    assert read.text == ADDRESS
    assert read.format == zxingcpp.BarcodeFormat.QRCode
    assert read.ec_level == "Q"
    assert page.size == (4 * dpi, 6 * dpi)


def corners_of(page: Image.Image) -> list[tuple[float, float, int, int]]:
    """Of each corner where it is and which way is inward; top left first, clockwise."""
    (read,) = zxingcpp.read_barcodes(page)
    at = read.position
    return [
        (at.top_left.x, at.top_left.y, 1, 1),
        (at.top_right.x, at.top_right.y, -1, 1),
        (at.bottom_right.x, at.bottom_right.y, -1, -1),
        (at.bottom_left.x, at.bottom_left.y, 1, -1),
    ]


def smudged(page: Image.Image, corner: int, *, mm: float, dpi: int, dense: float) -> Image.Image:
    """The page with dirt over one corner of the code, so many millimetres inward; dense 1 hides all below it."""
    x, y, right, down = corners_of(page)[corner]
    wide = mm / 25.4 * dpi
    dirty = page.copy()
    box = (min(x, x + right * wide), min(y, y + down * wide), max(x, x + right * wide), max(y, y + down * wide))
    ImageDraw.Draw(dirty).rectangle(box, fill=(120, 110, 90))
    return Image.blend(page, dirty, dense)


@pytest.mark.parametrize("dpi", [300, 100])
@pytest.mark.parametrize(("corner", "mm", "dense"), [(2, 8, 1.0), (0, 10, 0.6), (1, 10, 0.6), (2, 12, 0.6), (3, 10, 0.6), (0, 1.5, 1.0)])
def test_the_code_is_read_with_a_corner_smudged(rendered, dpi, corner, mm, dense):
    # Eight millimetres torn off at the corner without a mark to find it by; dirt that lets half through at every corner; and the very tip
    # of a corner that has one. Where such a mark is hidden whole no decoder finds a code (ISO/IEC 18004): code and telephone stand beside.
    page = smudged(rendered("one", dpi), corner, mm=mm, dpi=dpi, dense=dense)

    assert [found.text for found in zxingcpp.read_barcodes(page)] == [ADDRESS]


def test_a_code_without_its_mark_is_not_misread_as_another(rendered):
    page = smudged(rendered("one", 300), 0, mm=8, dpi=300, dense=1.0)

    assert [found.text for found in zxingcpp.read_barcodes(page)] in ([], [ADDRESS])


def test_two_tags_on_letter_are_read_both(rendered):
    page = rendered("two", 100)

    assert [read.text for read in zxingcpp.read_barcodes(page)] == [ADDRESS, ADDRESS]
    assert page.size == (1100, 850)


def test_a_module_is_a_millimetre_the_code_at_least_forty_and_it_fits_the_tag():
    code = bagtag.checked(ADDRESS)
    modules = len(qr.modules_of(ADDRESS))

    assert code.side_mm() / (modules + 2 * qr.QUIET) >= 1.0
    assert 40 <= code.side_mm() <= bagtag.WIDEST_MM
    short = qr.QR("HTTP://A.EXAMPLE/T/KQ7M4EKQ7M4EKQ7M/")
    assert short.side_mm() == 40.0  # never smaller, though its modules would be


def test_a_host_name_too_long_for_the_tag_is_refused_at_the_start(settings):
    settings.BASE_URL = "https://office.larchlantern.example"
    assert tag_fits(None) == []

    settings.BASE_URL = f"https://{'back-office.' * 6}larchlantern.example"
    (fault,) = tag_fits(None)
    assert "Set BASE_URL to a shorter host name." in fault.msg


def test_the_tag_says_what_it_must_in_two_languages_and_names_nobody():
    (page,) = PdfReader(io.BytesIO(bagtag.tag(TAG))).pages
    text = " ".join(page.extract_text().split())

    for name in ("live_conductors", "utility_only"):
        assert " ".join(cautions.of(name).en.split()) in text
        assert " ".join(cautions.of(name).es.split()) in text
    for words in ("DANGER / PELIGRO", "KQ7 M4E", "(303) 555-0101", "Please leave this bag here.", "Por favor, deje esta bolsa aquí."):
        assert words in text
    assert bagtag.tag(TAG) == bagtag.tag(TAG)


def test_scheme_and_host_are_packed_in_capitals_and_a_path_of_the_installation_keeps_its_letters():
    assert qr.written("https://office.larchlantern.example", "/T/KQ/") == "HTTPS://OFFICE.LARCHLANTERN.EXAMPLE/T/KQ/"
    assert qr.written("https://larchlantern.example/office/", "/T/KQ/") == "https://larchlantern.example/office/T/KQ/"
