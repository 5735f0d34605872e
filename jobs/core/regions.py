"""States and territories of the United States: their USPS abbreviations, and the one time zone of those that have only one. Pure."""

from __future__ import annotations

import unicodedata
from typing import Final

_EASTERN, _CENTRAL, _MOUNTAIN, _PACIFIC = "America/New_York", "America/Chicago", "America/Denver", "America/Los_Angeles"

# Names and abbreviations: USPS Publication 28, appendix B. Zones: 49 CFR part 71 (read 2026-11-25); None where the boundary between two
# zones crosses the state, or where part of it keeps another summer time: there the zone must be told for each home. Alabama is wholly
# Central by law, though some towns beside Georgia live by its clock.
REGIONS: Final[dict[str, tuple[str, str | None]]] = {
    "AL": ("Alabama", _CENTRAL),
    "AK": ("Alaska", None),
    "AZ": ("Arizona", None),
    "AR": ("Arkansas", _CENTRAL),
    "CA": ("California", _PACIFIC),
    "CO": ("Colorado", _MOUNTAIN),
    "CT": ("Connecticut", _EASTERN),
    "DE": ("Delaware", _EASTERN),
    "DC": ("District of Columbia", _EASTERN),
    "FL": ("Florida", None),
    "GA": ("Georgia", _EASTERN),
    "HI": ("Hawaii", "Pacific/Honolulu"),
    "ID": ("Idaho", None),
    "IL": ("Illinois", _CENTRAL),
    "IN": ("Indiana", None),
    "IA": ("Iowa", _CENTRAL),
    "KS": ("Kansas", None),
    "KY": ("Kentucky", None),
    "LA": ("Louisiana", _CENTRAL),
    "ME": ("Maine", _EASTERN),
    "MD": ("Maryland", _EASTERN),
    "MA": ("Massachusetts", _EASTERN),
    "MI": ("Michigan", None),
    "MN": ("Minnesota", _CENTRAL),
    "MS": ("Mississippi", _CENTRAL),
    "MO": ("Missouri", _CENTRAL),
    "MT": ("Montana", _MOUNTAIN),
    "NE": ("Nebraska", None),
    "NV": ("Nevada", None),
    "NH": ("New Hampshire", _EASTERN),
    "NJ": ("New Jersey", _EASTERN),
    "NM": ("New Mexico", _MOUNTAIN),
    "NY": ("New York", _EASTERN),
    "NC": ("North Carolina", _EASTERN),
    "ND": ("North Dakota", None),
    "OH": ("Ohio", _EASTERN),
    "OK": ("Oklahoma", _CENTRAL),
    "OR": ("Oregon", None),
    "PA": ("Pennsylvania", _EASTERN),
    "RI": ("Rhode Island", _EASTERN),
    "SC": ("South Carolina", _EASTERN),
    "SD": ("South Dakota", None),
    "TN": ("Tennessee", None),
    "TX": ("Texas", None),
    "UT": ("Utah", _MOUNTAIN),
    "VT": ("Vermont", _EASTERN),
    "VA": ("Virginia", _EASTERN),
    "WA": ("Washington", _PACIFIC),
    "WV": ("West Virginia", _EASTERN),
    "WI": ("Wisconsin", _CENTRAL),
    "WY": ("Wyoming", _MOUNTAIN),
    "AS": ("American Samoa", "Pacific/Pago_Pago"),
    "GU": ("Guam", "Pacific/Guam"),
    "MP": ("Northern Mariana Islands", "Pacific/Saipan"),
    "PR": ("Puerto Rico", "America/Puerto_Rico"),
    "VI": ("Virgin Islands", "America/St_Thomas"),
}


def _plain(text: str) -> str:
    return "".join(letter for letter in unicodedata.normalize("NFKD", text).casefold() if letter.isalnum())


_BY_WORD: Final = {_plain(word): code for code, (name, _) in REGIONS.items() for word in (code, name)}


def region(written: str) -> str:
    """The abbreviation of a state as typed: "co", "Colorado". Raises ValueError with a sentence."""
    code = _BY_WORD.get(_plain(written))
    if code is None:
        raise ValueError(f'"{written}" is not a state: two letters are wanted, such as CO.')
    return code


def words_for() -> list[str]:
    """What a state may be called: its name, or its two letters."""
    return [*(name for name, _ in REGIONS.values()), *REGIONS]


def only_zone(code: str) -> str | None:
    """The zone of a state that has one only; None where the home's own must be told."""
    return REGIONS[code][1]
