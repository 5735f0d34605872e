"""Serials of collars as people type them and scanners read them: their form, and letters that may be digits. Pure."""

from __future__ import annotations

import re
from typing import Final

SERIAL_FORM: Final = "letters, digits and hyphens, 6 to 24 of them"
# What a label's bar code or a clerk writes before the serial itself: "S/N:", "SN", GS1's application identifier (21).
_BEFORE: Final = re.compile(r"^(?:S/N|SN|SERIAL|SER)(?:NO\.?|NUMBER)?[:#.]\s*|^\(21\)|^\]C121", re.IGNORECASE)
_AS_DIGITS: Final = str.maketrans("OI", "01")


def normal(text: str) -> str:
    """A serial in its one form: upper case, without blanks and without what a label prints before it.

    Raises ValueError with a sentence where it has not the form.
    """
    serial = _BEFORE.sub("", "".join(text.split())).upper()
    if not (6 <= len(serial) <= 24 and serial.replace("-", "").isalnum() and serial.isascii()):
        raise ValueError(f"“{text}” is not a serial; wanted {SERIAL_FORM}.")
    return serial


def with_digits(serial: str) -> str:
    """The serial with each O and I that touches a digit read as that digit: LL-00O242 gives LL-000242. Others stay: OWL-123456."""
    return re.sub(r"(?<=[0-9])[OI]+|[OI]+(?=[0-9])", lambda found: found[0].translate(_AS_DIGITS), serial)


def question(serial: str) -> str:
    """What to ask about a serial in which a letter may be a digit; nothing where none is doubtful."""
    other = with_digits(serial)
    if other == serial:
        return ""
    places = [place for place, (was, now) in enumerate(zip(serial, other, strict=True)) if was != now]
    letters = " and ".join(dict.fromkeys(f"the letter {serial[place]}" for place in places))
    verb = "stands" if len(dict.fromkeys(serial[place] for place in places)) == 1 else "stand"
    return (
        f"In {serial} {letters} {verb} among digits. Look at the label: if it is the digit, type {other}; "
        "if it is truly the letter, say that it was checked."
    )
