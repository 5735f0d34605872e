"""Telephone numbers: stored as E.164 with the extension beside it, shown as the country writes them.

"Valid" means that the numbering plan has such a number. It does not mean that anybody answers.
"""

from typing import NamedTuple

import phonenumbers
from phonenumbers import PhoneNumberFormat, ValidationResult

WANTED = "A number with its area code is wanted, such as (303) 555-0142."


class Phone(NamedTuple):
    """number: E.164, "+13035550142". extension: digits, or "" if none."""

    number: str
    extension: str


def e164(text: str, *, region: str = "US") -> Phone:
    """The number and extension of a typed telephone number; raises ValueError with a sentence if there is none.

    Source: ITU-T E.164 and the numbering plans held by the `phonenumbers` library.
    """
    typed = text.strip()
    if not typed:
        raise ValueError(f"There is no number. {WANTED}")
    try:
        found = phonenumbers.parse(typed, region)
    except phonenumbers.NumberParseException as error:
        if error.error_type == phonenumbers.NumberParseException.TOO_LONG:
            raise ValueError(f'"{typed}" is too long for one telephone number. Put one number in a field and words in a note.') from None
        raise ValueError(f'"{typed}" is not a telephone number. {WANTED}') from None

    digits = str(found.national_number)
    if found.country_code == 1 and len(digits) <= 3:
        raise ValueError(f'"{typed}" is a service number such as 911, not a person\'s. {WANTED}')
    reason = phonenumbers.is_possible_number_with_reason(found)
    if reason == ValidationResult.IS_POSSIBLE_LOCAL_ONLY:
        raise ValueError(f'"{typed}" has no area code. {WANTED}')
    if reason == ValidationResult.TOO_SHORT:
        raise ValueError(f'"{typed}" has too few digits. {WANTED}')
    if reason == ValidationResult.TOO_LONG:
        raise ValueError(f'"{typed}" has too many digits. {WANTED}')
    if not phonenumbers.is_valid_number(found):
        raise ValueError(f'"{typed}" is not a number that can exist: the area code or the three digits after it are not in use. {WANTED}')
    return Phone(phonenumbers.format_number(found, PhoneNumberFormat.E164), found.extension or "")


def shown(number: str, *, extension: str = "", home_country: int = 1) -> str:
    """A stored number as people read it: "(303) 555-0142 ext. 45"; from abroad "+44 20 7946 0958"."""
    found = phonenumbers.parse(number, None)
    written = PhoneNumberFormat.NATIONAL if found.country_code == home_country else PhoneNumberFormat.INTERNATIONAL
    text: str = phonenumbers.format_number(found, written)
    return f"{text} ext. {extension}" if extension else text


def link(number: str, *, extension: str = "") -> str:
    """The number as a tel: address for a link (RFC 3966): "tel:+1-201-555-0123;ext=45"."""
    found = phonenumbers.parse(number, None)
    found.extension = extension or None
    address: str = phonenumbers.format_number(found, PhoneNumberFormat.RFC3966)
    return address


def in_words(text: str, *, region: str = "US") -> list[tuple[str, str]]:
    """A text cut at the telephone numbers in it: pieces as they are written, each number with its tel: address, the rest with none."""
    pieces: list[tuple[str, str]] = []
    end = 0
    for match in phonenumbers.PhoneNumberMatcher(text, region):
        pieces += [(text[end : match.start], ""), (match.raw_string, phonenumbers.format_number(match.number, PhoneNumberFormat.RFC3966))]
        end = match.end
    return [piece for piece in (*pieces, (text[end:], "")) if piece[0]]
