"""What a sheet leaves open or may have lost, said before its rows are checked: proposals for a person, never decisions. Pure."""

import difflib
import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from jobs.core import words
from jobs.core.sheets import parsers
from jobs.core.sheets.cells import Cell, Figure, Sheet, blank, cell_text
from jobs.core.sheets.columns import Column, Matching
from jobs.core.sheets.days import ORDERS, Order, day_order, read_day
from jobs.core.sheets.parsers import plain

_SAMPLE: Final = 200  # cells of a column that are looked at to guess what it is
_MOST_NAMES: Final = 60  # names proposed for, the most frequent first
_NEAR: Final = 0.6
_TELLING: Final = (parsers.email, parsers.phone, parsers.zone)  # hardly anything else can be read as one of these


@dataclass(frozen=True, slots=True)
class DayQuestion:
    """A column whose days can be read two ways. `readings`: by order, how the sample would be read."""

    column: str
    heading: str
    sample: str
    readings: Mapping[Order, date]

    @property
    def words(self) -> str:
        ways = [f"{words.day(day)} ({ORDERS[order]})" for order, day in self.readings.items()]
        return f"In “{self.heading}”, is {self.sample} {' or '.join(ways)}?"


@dataclass(frozen=True, slots=True)
class Unknown:
    """A name in the file that is not on record. `near`: those that are and look like it, the nearest first; `settled`: what it means."""

    column: str
    heading: str
    written: str
    rows: int
    near: tuple[str, ...]
    settled: str = ""


@dataclass(frozen=True, slots=True)
class Proposal:
    """What an unused column may be. `why` ends "proposed because ..."."""

    place: int
    column: str
    why: str


def orders(
    sheet: Sheet, matching: Matching, columns: Iterable[Column], given: Mapping[str, Order]
) -> tuple[dict[str, Order], list[DayQuestion]]:
    """By column the order of its days, as its own cells or a person say it; and the columns of which somebody must say it."""
    known: dict[str, Order] = {}
    questions = []
    for column in columns:
        if column.parse is not parsers.day or column.name not in matching.places:
            continue
        place = matching.places[column.name]
        told, sample = day_order(row.cells[place] for row in sheet.rows)
        if column.name in given:
            known[column.name] = given[column.name]
        elif told == "either":
            readings: dict[Order, date] = {order: read_day(sample, order=order) for order in ORDERS if _reads(sample, order)}
            questions.append(DayQuestion(column.name, matching.heading(column.name), sample, readings))
        elif told:
            known[column.name] = "day" if told == "day" else "month"
    return known, questions


def _reads(sample: str, order: Order) -> bool:
    try:
        read_day(sample, order=order)
    except ValueError:
        return False
    return True


def losses(sheet: Sheet, matching: Matching, columns: Iterable[Column]) -> list[str]:
    """Sentences about zeros that a workbook took from the front of a number by which something is known."""
    told = []
    for column in columns:
        if not column.code or column.name not in matching.places:
            continue
        place = matching.places[column.name]
        cells = [(row.number, row.cells[place]) for row in sheet.rows if not blank([row.cells[place]])]
        figures: list[tuple[int, str]] = [(number, cell) for number, cell in cells if isinstance(cell, Figure)]
        if column.parse is parsers.postal_code:
            figures = [(number, cell) for number, cell in cells if isinstance(cell, str) and cell.strip().isdecimal()]
            length = 5
        else:
            # Where the other cells are texts of one length, and some begin with a nought, a shorter number has lost some.
            texts = [cell_text(cell).strip() for _, cell in cells if not isinstance(cell, Figure)]
            lengths = {len(text) for text in texts}
            length = lengths.pop() if len(lengths) == 1 and any(text.startswith("0") for text in texts) else 0
        short = [(number, str(cell).strip()) for number, cell in figures if len(str(cell).strip()) < length]
        if short:
            named = words.listed([f"row {number} ({text})" for number, text in short[:3]])
            more = f" and {len(short) - 3:,} more" if len(short) > 3 else ""
            done = (
                "they are put back"
                if column.parse is parsers.postal_code
                else "they are taken as they stand: look them up, or send them as text"
            )
            told.append(f"“{matching.heading(column.name)}” has lost zeros in front in {named}{more}; {done}.")
    return told


def proposals(sheet: Sheet, matching: Matching, columns: Sequence[Column], known: Mapping[str, Collection[str]]) -> list[Proposal]:
    """For headings that no name or alias tells: the column whose name is near, or whose contents they have."""
    taken = set(matching.places.values())
    free = [column for column in columns if column.name not in matching.places]
    found: list[Proposal] = []
    for place, heading in enumerate(sheet.headings):
        if place in taken or not heading:
            continue
        left = [column for column in free if column.name not in {proposal.column for proposal in found}]
        if near := _near_name(heading, left):
            found.append(Proposal(place, near.name, f"its heading is near “{near.label}”"))
            continue
        sample = [row.cells[place] for row in sheet.rows if not blank([row.cells[place]])][:_SAMPLE]
        fitting = [column for column in left if sample and _fits(sample, column, known.get(column.name, ()))]
        if len(fitting) == 1:
            found.append(Proposal(place, fitting[0].name, f"its cells look like {fitting[0].label}"))
    return found


def _near_name(heading: str, columns: Sequence[Column]) -> Column | None:
    calls = {call: column for column in reversed(columns) for call in column.calls() if len(call) > 3}
    near = difflib.get_close_matches(plain(heading), list(calls), n=1, cutoff=0.85)
    return calls[near[0]] if near else None


def _fits(sample: Sequence[Cell], column: Column, known: Collection[str]) -> bool:
    if known:
        names = {plain(name) for name in known}
        return sum(plain(cell_text(cell)) in names for cell in sample) * 10 >= len(sample) * 6
    return column.parse in _TELLING and sum(_parses(cell, column) for cell in sample) * 10 >= len(sample) * 9


def _parses(cell: Cell, column: Column) -> bool:
    try:
        column.parse(cell)
    except ValueError:
        return False
    return True


def unknown_names(
    sheet: Sheet,
    matching: Matching,
    columns: Iterable[Column],
    known: Mapping[str, Collection[str]],
    given: Mapping[str, Mapping[str, str]],
) -> list[Unknown]:
    """Names in the file that are not on record, with those that look like them; and what a person has settled of them (`given`)."""
    found: list[Unknown] = []
    for column in columns:
        if column.name not in matching.places or column.name not in known:
            continue
        place = matching.places[column.name]
        settled = given.get(column.name, {})
        written = Counter(cell_text(row.cells[place]).strip() for row in sheet.rows)
        names = {name.casefold(): name for name in known[column.name]}
        for text, rows in written.most_common():
            if not text or _is_known(text, column, names):
                continue
            near = nearest(text, list(names.values())) if len(found) < _MOST_NAMES else ()
            found.append(Unknown(column.name, matching.heading(column.name), text, rows, near, settled.get(text, "")))
    return found


def _is_known(text: str, column: Column, names: Mapping[str, str]) -> bool:
    if text.casefold() in names:
        return True
    try:
        return str(column.parse(text)).casefold() in names
    except ValueError:
        return False


def nearest(written: str, names: Sequence[str], *, most: int = 3) -> tuple[str, ...]:
    """The names that look like what is written: letter by letter, by its beginning, or by its words' beginnings."""
    wanted = plain(written)
    if not wanted:
        return ()
    parts = [plain(part) for part in re.findall(r"[^\W_]+", written)]
    scored = []
    for name in names:
        other = plain(name)
        score = 0.0
        if other == wanted:
            score = 1.0
        elif len(wanted) >= 3 and other.startswith(wanted):
            score = 0.95
        elif _abbreviates(parts, name):
            score = 0.9
        else:
            matcher = difflib.SequenceMatcher(None, wanted, other)
            if matcher.real_quick_ratio() >= _NEAR and matcher.quick_ratio() >= _NEAR:
                score = matcher.ratio()
        if score >= _NEAR:
            scored.append((-score, name))
    return tuple(name for _, name in sorted(scored)[:most])


def _abbreviates(parts: Sequence[str], name: str) -> bool:
    """ "Sable Fk Elec Coop": each word has the first letter of the name's, and its other letters in their order."""
    whole = [plain(part) for part in re.findall(r"[^\W_]+", name)]
    return 1 < len(parts) == len(whole) and all(_shortens(part, other) for part, other in zip(parts, whole, strict=True))


def _shortens(part: str, other: str) -> bool:
    if not part or not other or part[0] != other[0]:
        return False
    letters = iter(other)
    return all(letter in letters for letter in part)
