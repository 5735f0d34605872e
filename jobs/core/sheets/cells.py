"""What a sheet is made of: its cells, its rows, and how it was found in its file. Pure."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Final

from jobs.core.csvout import as_text

Cell = str | date  # a date may be a datetime, where a workbook's cell has a time of day

REMARK_HEADING: Final = "What to correct"  # the column that `errors_file` adds and that reading leaves out


class Figure(str):
    """A cell that a workbook keeps as a number, as a spreadsheet shows it. What stood there as a text is a plain str."""

    __slots__ = ()


class SheetRefused(ValueError):
    """The file as a whole cannot be taken. The text is a sentence for the user."""


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One row that is not blank. `cells` are as many as the headings; `beyond` are filled cells right of the last heading."""

    number: int
    cells: tuple[Cell, ...]
    beyond: tuple[Cell, ...] = ()


@dataclass(frozen=True, slots=True)
class Place:
    """Where in a file a person says that the table stands; what is not said is found. `row`: of the headings, from 1."""

    sheet: str = ""
    row: int = 0
    lines: int = 0


@dataclass(frozen=True, slots=True)
class Sheet:
    """A table and how it was found.

    `table` names the sheet inside a workbook and `others` all the sheets that could be read instead, hidden ones too. `notes` are
    sentences about what was left out or is not certain. `headings_in`: the first row of the headings and how many rows they span.
    """

    name: str
    headings: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    table: str = ""
    others: tuple[str, ...] = ()
    headings_in: tuple[int, int] = (1, 1)
    notes: tuple[str, ...] = ()
    from_1904: bool = False  # how the workbook counts its days, where a cell holds the number only


def cell_text(cell: Cell) -> str:
    return cell if isinstance(cell, str) else as_text(cell)


def blank(cells: Iterable[Cell]) -> bool:
    return not any(cell if isinstance(cell, date) else cell.strip() for cell in cells)
