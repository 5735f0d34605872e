"""The rows of a file to a table: which of them are the headings, and which at the end are none of the records. Pure."""

import re
from collections.abc import Collection, Iterable, Sequence
from datetime import date
from statistics import median_low
from typing import Final

from jobs.core.sheets.cells import REMARK_HEADING, Cell, Place, Sheet, SheetRefused, SheetRow, blank, cell_text
from jobs.core.sheets.parsers import plain

MOST_ROWS: Final = 200_000
MOST_COLUMNS: Final = 16_384
_DEEPEST: Final = 30  # headings are looked for in so many rows that are not blank
_SUM_WORDS: Final = re.compile(r"(grand |sub-?\s*)?(totals?|sums?|count|average|avg|mean)\b.{0,60}", re.IGNORECASE)
_FIGURE: Final = re.compile(r"\(?[-+]?\s*[$€£]?\s*[0-9][0-9.,\s]*%?\)?")

Numbered = list[tuple[int, Sequence[Cell]]]


def numbered(name: str, table: Iterable[Sequence[Cell]]) -> Numbered:
    """The rows that are not blank, with the numbers that a spreadsheet shows."""
    rows: Numbered = []
    for number, cells in enumerate(table, start=1):
        if blank(cells):
            continue
        if len(rows) > MOST_ROWS:
            raise SheetRefused(f"{name} has more than {MOST_ROWS:,} rows: split it into several files, each with the headings.")
        if len(cells) > MOST_COLUMNS:
            raise SheetRefused(f"{name} has more than {MOST_COLUMNS:,} columns in row {number}: delete what stands outside the table.")
        rows.append((number, cells))
    return rows


def sheet_of(name: str, rows: Numbered, *, calls: Collection[str], place: Place) -> Sheet:
    """calls: what headings of this kind may say, as `plain` writes it. Raises SheetRefused."""
    if len(rows) < 2:
        raise SheetRefused(f"{name} has no rows below its headings: one row of headings and at least one row below it are wanted.")
    at, lines = _said(name, rows, place) if place.row else _found(rows, calls)
    below = rows[at + lines :]
    if not below:
        raise SheetRefused(f"{name} has no rows below its headings in row {rows[at][0]}: at least one row below them is wanted.")

    headings = _headings(rows, at, lines, calls)
    width = len(headings)
    # A column without a heading is kept if anything stands in it: it may be somebody's note, and the errors file gives it back.
    noted = {column for _, cells in below for column, cell in enumerate(cells) if not blank([cell])}
    remark = REMARK_HEADING.casefold()
    kept = [column for column, heading in enumerate(headings) if heading.casefold() != remark and (heading or column in noted)]
    table = []
    for number, cells in below:
        padded = [*cells, *[""] * (width - len(cells))]
        beyond = padded[width:]
        row = SheetRow(number, tuple(padded[column] for column in kept), () if blank(beyond) else tuple(beyond))
        # Where only the remark is left, the person has cleared the row.
        if row.beyond or not blank(row.cells):
            table.append(row)
    named = tuple(headings[column] for column in kept)
    # A file of nobody's kind, such as one that was written here, is read as it stands.
    table, notes = _without_sums(table, named, last_above=rows[at + lines - 1][0]) if _known(named, calls) >= 2 else (table, [])
    if not table:
        raise SheetRefused(f"{name} has nothing but remarks below its headings: at least one row to take is wanted.")
    if at:
        above = "; ".join(_short(cells) for _, cells in rows[:at][:3])
        notes.insert(0, f"The headings were found in row {rows[at][0]}; what stands above them is left out: {above}.")
    if lines > 1:
        notes.insert(0, f"The headings span rows {rows[at][0]} and {rows[at + lines - 1][0]}; they are read as one: “{named[-1]}”.")
    return Sheet(name, named, tuple(table), headings_in=(rows[at][0], lines), notes=tuple(notes))


# --- headings


def score(rows: Numbered, calls: Collection[str]) -> int:
    """How many headings of this kind the best row or pair of rows has: which of several sheets is meant."""
    return max((_known(_headings(rows, at, lines, calls), calls) for at, lines in _candidates(rows)), default=0)


def _candidates(rows: Numbered) -> list[tuple[int, int]]:
    deepest = min(_DEEPEST, len(rows))
    return [(at, lines) for at in range(deepest) for lines in (1, 2) if at + lines <= deepest]


def _known(headings: Sequence[str], calls: Collection[str]) -> int:
    return len({plain(heading) for heading in headings if heading} & set(calls))


def _found(rows: Numbered, calls: Collection[str]) -> tuple[int, int]:
    """By the names of this kind's columns; where hardly any is known, by the shape: the first row about as wide as those below it."""
    if calls:
        # Of equals the one row before the pair, and the higher before the lower.
        best = max(_candidates(rows), key=lambda c: (_known(_headings(rows, c[0], c[1], calls), calls), -c[1], -c[0]))
        known = _known(_headings(rows, best[0], best[1], calls), calls)
        if known >= 2 and best[0] + best[1] < len(rows):
            return best
    filled = [sum(not blank([cell]) for cell in cells) for _, cells in rows[:_DEEPEST]]
    usual = median_low(filled)
    if usual >= 3:
        for at, count in enumerate(filled[:-1]):
            if count * 2 >= usual:
                return at, 1
    return 0, 1


def _said(name: str, rows: Numbered, place: Place) -> tuple[int, int]:
    at = next((at for at, (number, _) in enumerate(rows) if number == place.row), None)
    lines = place.lines or 1
    if at is None or at + lines >= len(rows):
        raise SheetRefused(f"{name} has no headings in row {place.row} with rows below them: the number of the row of headings is wanted.")
    return at, lines


def _headings(rows: Numbered, at: int, lines: int, calls: Collection[str]) -> list[str]:
    """One text a column. A heading over two rows is both texts, where the upper one stands for the columns right of it too."""
    if lines == 1:
        return [cell_text(cell).strip() for cell in rows[at][1]]
    lower = [_heading(cell) for cell in rows[at + lines - 1][1]]
    upper = [_heading(cell) for cell in rows[at][1]]
    width = max(len(upper), len(lower))
    upper += [""] * (width - len(upper))
    lower += [""] * (width - len(lower))
    headings, over = [], ""
    for above, below in zip(upper, lower, strict=True):
        over = above or over
        whole = f"{over} {below}".strip() if below else above
        headings.append(below if plain(whole) not in calls and below and plain(below) in calls else whole)
    return headings


def _heading(cell: Cell) -> str:
    return " ".join(cell_text(cell).split())


# --- the end of the table


def _without_sums(rows: list[SheetRow], headings: Sequence[str], *, last_above: int) -> tuple[list[SheetRow], list[str]]:
    notes: list[str] = []
    while rows:
        before = rows[-2].number if len(rows) > 1 else last_above
        if not (what := _no_record(rows[-1], headings, alone=rows[-1].number > before + 1)):
            break
        notes.insert(0, f"Row {rows[-1].number} ({_short(rows[-1].cells)}) is left out: {what}.")
        rows = rows[:-1]
    once_more = tuple(heading.casefold() for heading in headings)
    again = [row for row in rows if tuple(cell_text(cell).strip().casefold() for cell in row.cells) == once_more]
    if again:
        numbers = {row.number for row in again}
        rows = [row for row in rows if row.number not in numbers]
        notes.append(f"Row {', '.join(map(str, sorted(numbers)))} is left out: it holds the headings once more.")
    return rows, notes


def _no_record(row: SheetRow, headings: Sequence[str], *, alone: bool) -> str:
    """What a last row is, if not a record. `alone`: a blank row stands above it."""
    filled = [cell for cell in row.cells if not blank([cell])]
    named = sum(bool(heading) for heading in headings)
    if row.beyond or not filled or named < 3 or len(filled) * 2 > named:
        return ""
    first = cell_text(filled[0]).strip()
    if _SUM_WORDS.fullmatch(first):
        return "it holds the sums of the rows above"
    if not alone:
        return ""
    if all(isinstance(cell, str) and _FIGURE.fullmatch(cell.strip()) for cell in filled):
        return "it holds figures only, below a blank row, like the sums of the rows above"
    if len(filled) == 1 and not isinstance(filled[0], date):
        return "it holds one remark only, below the table"
    return ""


def _short(cells: Sequence[Cell]) -> str:
    told = ", ".join(cell_text(cell).strip() for cell in cells if not blank([cell]))
    return f"“{told[:60]}…”" if len(told) > 60 else f"“{told}”"
