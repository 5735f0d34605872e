"""Rows Q1 to Q7 of TRADE.md: labels and codes, each against its source."""

from __future__ import annotations

import hashlib

import pytest
from reportlab.graphics.barcode import qrencoder
from stdnum import ean
from stdnum.iso7064 import mod_11_2, mod_37_2

from jobs.core import codes
from jobs.core.papers import qr


def side(version: int) -> int:
    """ISO/IEC 18004: 17 + 4 * version modules."""
    return 17 + 4 * version


@pytest.mark.parametrize(("text", "level", "version"), [("A" * 20, "M", 1), ("A" * 21, "M", 2), ("a" * 14, "M", 1), ("a" * 15, "M", 2)])
def test_rows_q1_and_q2_the_smallest_version_that_holds_the_text_is_taken(text, level, version):
    # ISO/IEC 18004, table 7: version 1-M holds 20 alphanumeric or 14 byte characters.
    assert len(qr.modules_of(text, level=level)) == side(version)


def test_row_q3_the_largest_code_has_177_modules_a_side_and_ours_a_quiet_zone_of_four():
    largest = qrencoder.QRCode(40, qr.LEVELS["L"])
    largest.addData("A")
    largest.make()

    assert largest.getModuleCount() == 177 == side(40)
    assert qr.QUIET == 4


@pytest.mark.parametrize(("level", "holds"), [("L", 25), ("M", 20), ("Q", 16), ("H", 10)])
def test_each_level_of_error_correction_is_the_one_that_it_is_named_for(level, holds):
    # ISO/IEC 18004, table 7, version 1, alphanumeric: what each level leaves for the text.
    assert len(qr.modules_of("A" * holds, level=level)) == side(1)
    assert len(qr.modules_of("A" * (holds + 1), level=level)) == side(2)


def test_rows_q4_and_q5_check_characters_of_iso_7064():
    # ISNI (ISO 27729) style example, and the example of python-stdnum's documentation.
    assert mod_11_2.calc_check_digit("000000021825009") == "7"
    assert mod_37_2.calc_check_digit("G123489654321") == "Y"


def test_row_q5_our_own_codes_carry_the_same_check_character():
    assert codes.is_code("KQ7M4E")
    assert mod_37_2.calc_check_digit("KQ7M4") == "E"


def test_row_q6_the_check_digit_of_a_gtin():
    # GS1's published example, 629104150021 with check digit 3.
    assert ean.calc_check_digit("629104150021") == "3"


def test_row_q7_files_and_tags_are_named_by_sha_256():
    # FIPS 180-4, example of the Secure Hash Standard for "abc".
    from jobs.core import tags

    wanted = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert hashlib.sha256(b"abc").hexdigest() == wanted
    assert tags.hash_of("abc") == wanted
