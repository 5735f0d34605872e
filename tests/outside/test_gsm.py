"""Text messages counted against the published table of 3GPP TS 23.038 (the default alphabet and its extension)."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.notices import gsm

# Septets 0x00 to 0x7F as Unicode code points: 3GPP TS 23.038, 6.2.1, in the mapping of the Unicode Consortium (ETSI/GSM0338.TXT,
# with Ç at 0x09 as ETSI prints it). 0x1B is the escape to the extension table.
TABLE = """
0040 00a3 0024 00a5 00e8 00e9 00f9 00ec
00f2 00c7 000a 00d8 00f8 000d 00c5 00e5
0394 005f 03a6 0393 039b 03a9 03a0 03a8
03a3 0398 039e ---- 00c6 00e6 00df 00c9
0020 0021 0022 0023 00a4 0025 0026 0027
0028 0029 002a 002b 002c 002d 002e 002f
0030 0031 0032 0033 0034 0035 0036 0037
0038 0039 003a 003b 003c 003d 003e 003f
00a1 0041 0042 0043 0044 0045 0046 0047
0048 0049 004a 004b 004c 004d 004e 004f
0050 0051 0052 0053 0054 0055 0056 0057
0058 0059 005a 00c4 00d6 00d1 00dc 00a7
00bf 0061 0062 0063 0064 0065 0066 0067
0068 0069 006a 006b 006c 006d 006e 006f
0070 0071 0072 0073 0074 0075 0076 0077
0078 0079 007a 00e4 00f6 00f1 00fc 00e0
"""
# 6.2.1.1, the extension table.
EXTENSION = {
    0x0A: 0x000C,
    0x14: 0x005E,
    0x28: 0x007B,
    0x29: 0x007D,
    0x2F: 0x005C,
    0x3C: 0x005B,
    0x3D: 0x007E,
    0x3E: 0x005D,
    0x40: 0x007C,
    0x65: 0x20AC,
}


def test_the_alphabet_is_the_published_table():
    published = [None if code == "----" else chr(int(code, 16)) for code in TABLE.split()]

    assert len(published) == 128
    assert [letter if letter != gsm.ESCAPE else None for letter in gsm.BASIC] == published
    assert sorted(gsm.EXTENSION) == sorted(chr(code) for code in EXTENSION.values())


@pytest.mark.parametrize(
    ("text", "units", "parts", "in_gsm"),
    [
        # 3GPP TS 23.040, 9.2.3.24.1: 160 septets alone, 153 in each of several; in UCS-2 70 and 67.
        ("", 0, 0, True),
        ("a" * 160, 160, 1, True),
        ("a" * 161, 161, 2, True),
        ("a" * 306, 306, 2, True),
        ("a" * 307, 307, 3, True),
        ("ñéàü¿¡Ñ" * 10, 70, 1, True),
        ("€" * 80, 160, 1, True),
        ("€" * 80 + "a", 161, 2, True),
        ("ó" * 70, 70, 1, False),
        ("ó" * 71, 71, 2, False),
        ("ó" * 134, 134, 2, False),
        ("ó" * 135, 135, 3, False),
        ("😀" * 35, 70, 1, False),
        ("a\x1b", 2, 1, False),
    ],
)
def test_a_text_takes_so_many_parts(text, units, parts, in_gsm):
    assert gsm.size(text) == gsm.Size(units, parts, in_gsm)


def test_an_escape_and_its_letter_and_the_halves_of_a_pair_stay_in_one_part():
    # 152 letters, then a euro sign of two septets: it does not fit into the first part of 153.
    assert gsm.size("a" * 152 + "€" + "a" * 152).parts == 3
    assert gsm.size("a" * 151 + "€" + "a" * 153).parts == 2
    assert gsm.size("ó" * 66 + "😀" + "ó" * 66).parts == 3


def test_spanish_keeps_what_the_table_has_and_loses_accents_that_it_lacks():
    assert gsm.plain("¿Mañana a las 5 p. m.? Será así: él llamará. ¡Adiós!") == "¿Mañana a las 5 p. m.? Sera asi: él llamara. ¡Adios!"
    assert gsm.plain("“María’s” — GÜIÑO…") == '"Maria\'s" - GÜIÑO...'
    assert gsm.size(gsm.plain("La compañía eléctrica vendrá el miércoles")).gsm


def test_a_text_that_must_go_as_ucs_2_is_left_as_it_is():
    text = "Mañana llamará Олена Шевченко — será a las 5"

    assert gsm.plain(text) == text
    assert not gsm.size(text).gsm


def test_a_letter_and_its_accent_apart_count_as_the_one_letter_that_they_are():
    assert gsm.plain("man\u0303ana") == "mañana"


@given(st.text(alphabet=string.printable + "áéíóúñÑ¿¡€’“—Ж😀"))
def test_a_plain_text_is_in_the_alphabet_or_unchanged_and_plain_again_is_the_same(text):
    once = gsm.plain(text)

    assert gsm.plain(once) == once
    assert gsm.size(once).gsm or once == text


def test_a_size_is_said_in_words():
    assert gsm.size("a" * 148).words == "one part, 148 of 160 septets"
    assert gsm.size("a" * 200).words == "2 parts, 200 septets, 153 in each"
    assert gsm.size("ó" * 20).words == "one part, 20 of 70 UCS-2 units"
