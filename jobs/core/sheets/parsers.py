"""How the cells of a sheet are read: each parser takes a cell that is not blank. Pure."""

import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from functools import lru_cache
from typing import Any

from jobs.core import money as money_rules
from jobs.core import phones, walltime
from jobs.core.sheets.cells import Cell, Figure, cell_text
from jobs.core.sheets.days import read_day

Parser = Callable[[Cell], Any]
"""A cell that is not blank to its value. Raises ValueError with a sentence that says what is wrong and what is wanted."""


def plain(heading: str) -> str:
    """Letters and digits only, in one case, without accents: what two writings of the same heading have in common."""
    letters = unicodedata.normalize("NFKD", heading.replace("#", " number ")).casefold()
    return "".join(letter for letter in letters if letter.isalnum())


def text(*, at_most: int = 500) -> Parser:
    """Blanks at the ends are taken off; line breaks inside stay."""

    def parse(cell: Cell) -> str:
        value = cell_text(cell).strip()
        if len(value) > at_most:
            raise ValueError(f"The text has {len(value):,} characters: at most {at_most:,} are wanted.")
        return value

    return parse


def day(cell: Cell) -> date:
    """A day in any of the common forms, the month first where it is all in figures; `check` asks where that is not certain."""
    return read_day(cell)


_SHORTENED = re.compile(r"[0-9]([.,][0-9]+)?E\+[0-9]{2,3}")  # as spreadsheets write it: 1.2E+11


def whole_number_kept(parse: Parser) -> Parser:
    """`parse` for figures of which every digit counts: refuses what a spreadsheet has shortened ("1.2E+11") or rounded."""

    def whole(cell: Cell) -> Any:
        written = cell_text(cell).strip()
        if _SHORTENED.fullmatch(written):
            raise ValueError(f'"{written}" was shortened by a spreadsheet and its digits are lost: the whole number is wanted, as text.')
        if isinstance(cell, Figure) and len(written) > 15:
            # Excel specifications and limits: number precision, 15 digits.
            raise ValueError(f'"{written}" was kept as a number, of which a workbook keeps 15 digits: the whole number is wanted, as text.')
        return parse(cell)

    return whole


def money(cell: Cell) -> int:
    """An amount in minor units."""
    return money_rules.minor(cell_text(cell).strip())


def integer(*, at_least: int | None = None, at_most: int | None = None) -> Parser:
    """A whole number, with commas in groups of three or without."""

    def parse(cell: Cell) -> int:
        written = cell_text(cell).strip()
        if not re.fullmatch(r"[+-]?([0-9]{1,15}|[0-9]{1,3}(,[0-9]{3}){1,4})", written):
            raise ValueError(f'"{written}" is not a whole number: digits only are wanted, such as 12.')
        value = int(written.replace(",", ""))
        if at_least is not None and value < at_least:
            raise ValueError(f"{value:,} is too small: at least {at_least:,} is wanted.")
        if at_most is not None and value > at_most:
            raise ValueError(f"{value:,} is too large: at most {at_most:,} is wanted.")
        return value

    return parse


def choice(options: Mapping[str, Sequence[str]]) -> Parser:
    """One of the keys of `options`, each with other words for it; case, blanks and punctuation do not count."""
    meant = {plain(word): key for key, others in options.items() for word in (key, *others)}
    known = ", ".join(options)

    def parse(cell: Cell) -> str:
        written = cell_text(cell).strip()
        if (key := meant.get(plain(written))) is None:
            raise ValueError(f'"{written}" is not known here: one of {known} is wanted.')
        return key

    return parse


_yes_or_no = choice({"yes": ("y", "true", "1", "x"), "no": ("n", "false", "0")})


def yes_no(cell: Cell) -> bool:
    return bool(_yes_or_no(cell) == "yes")


def email(cell: Cell) -> str:
    """An address that mail can be sent to; its domain in small letters."""
    written = cell_text(cell).strip()
    local, at, domain = written.rpartition("@")
    fine = re.fullmatch(r"[^\s@,;<>()\"]+", local) and re.fullmatch(r"[^\s@.,;<>()\"_]+(\.[^\s@.,;<>()\"_]+)+", domain)
    if not at or not fine or ".." in local or local.startswith(".") or local.endswith(".") or len(written) > 254:
        raise ValueError(f'"{written}" is not an e-mail address: one address such as rosa@home.example is wanted.')
    return f"{local}@{domain.lower()}"


def phone(cell: Cell) -> tuple[str, str]:
    """Number by E.164, and extension or nothing."""
    return phones.e164(cell_text(cell).strip())


def zone(cell: Cell) -> str:
    """The IANA name of a time zone. Never an abbreviation: EST does not say whether the clocks change."""
    written = cell_text(cell).strip()
    known = _zones().get(written.replace(" ", "_").casefold())
    if known is None:
        raise ValueError(f'"{written}" is not the name of a time zone: a name such as America/Denver is wanted.')
    return known


@lru_cache(maxsize=1)
def _zones() -> dict[str, str]:
    return {name.casefold(): name for name in walltime.zones() if "/" in name and not name.startswith("Etc/")}


def postal_code(cell: Cell) -> str:
    """A ZIP code of five or nine digits. A workbook that took it for a number has lost the zeros before it: they are put back."""
    written = cell_text(cell).strip()
    if not (found := re.fullmatch(r"([0-9]{3,5})(?:-([0-9]{4}))?", written)):
        raise ValueError(f'"{written}" is not a ZIP code: five digits, or five and four, are wanted.')
    return found[1].zfill(5) + (f"-{found[2]}" if found[2] else "")
