"""How many parts a text message takes. Pure.

A text goes as septets of the GSM 7-bit default alphabet where every letter is in it, else all of it as UCS-2, at less than half the
length. Sources: 3GPP TS 23.038, 6.2.1 (default alphabet), 6.2.1.1 (extension table: two septets), 6.2.3 (UCS-2); 3GPP TS 23.040, 9.2.3.24.1
(a part of several carries a header of six octets: 153 septets or 67 UCS-2 units are left, of 160 and 70).
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import Final

BASIC: Final = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)  # a letter's place is its septet; 0x1b is the way into the extension table and no letter
EXTENSION: Final = "\f^{}\\[~]|€"
ESCAPE: Final = "\x1b"

SEPTETS_ALONE, SEPTETS_EACH = 160, 153
UNITS_ALONE, UNITS_EACH = 70, 67

# What typesetting puts in and a telephone needs not.
_PLAIN: Final = {
    "‘": "'", "’": "'", "‚": "'", "“": '"', "”": '"', "„": '"', "«": '"', "»": '"', "–": "-", "—": "-", "‑": "-", "−": "-",
    "…": "...", "\u00a0": " ", "\u202f": " ", "\u2009": " ", "\t": " ", "·": "-", "•": "-", "×": "x", "º": "o", "ª": "a",
}  # fmt: skip


@dataclass(frozen=True)
class Size:
    """How long a text is: units (septets or UCS-2 code units), parts, and whether it is in the GSM alphabet."""

    units: int
    parts: int
    gsm: bool

    @property
    def words(self) -> str:
        """ "one part, 148 of 160 septets"."""
        alone, each, named = (SEPTETS_ALONE, SEPTETS_EACH, "septets") if self.gsm else (UNITS_ALONE, UNITS_EACH, "UCS-2 units")
        if self.parts <= 1:
            return f"one part, {self.units} of {alone} {named}"
        return f"{self.parts} parts, {self.units} {named}, {each} in each"


def size(text: str) -> Size:
    """The length of a text as it is."""
    if all(_septets(letter) for letter in text):
        return _size([_septets(letter) for letter in text], alone=SEPTETS_ALONE, each=SEPTETS_EACH, gsm=True)
    # Outside the basic plane a letter takes two units, a surrogate pair.
    return _size([len(letter.encode("utf-16-be")) // 2 for letter in text], alone=UNITS_ALONE, each=UNITS_EACH, gsm=False)


def plain(text: str) -> str:
    """The text in letters of the GSM alphabet, where that changes none of its words; else as it is.

    Curved quotation marks become straight, long dashes short, and á í ó ú (which the alphabet lacks; it has é, ñ, ü, ¿ and ¡) lose their
    accent, as people write them on telephones. A text with any other letter would go as UCS-2 all the same, so nothing of it is changed.
    """
    text = unicodedata.normalize("NFC", text)
    replaced = "".join(letter if _septets(letter) else _replaced(letter) for letter in text)
    return replaced if size(replaced).gsm else text


def _septets(letter: str) -> int:
    """1 in the basic table, 2 in the extension table, 0 in neither."""
    if letter == ESCAPE:
        return 0
    return 1 if letter in BASIC else 2 if letter in EXTENSION else 0


def _replaced(letter: str) -> str:
    if letter in _PLAIN:
        return _PLAIN[letter]
    bare = unicodedata.normalize("NFD", letter)[0]
    return bare if bare != letter and _septets(bare) else letter


def _size(lengths: list[int], *, alone: int, each: int, gsm: bool) -> Size:
    units = sum(lengths)
    if units <= alone:
        return Size(units, 1 if units else 0, gsm)
    parts, used = 1, 0
    for length in lengths:
        # An escape and its letter, or the two halves of a pair, are never parted.
        if used + length > each:
            parts, used = parts + 1, 0
        used += length
    return Size(units, parts, gsm)
