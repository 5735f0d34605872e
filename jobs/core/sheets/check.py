"""A matched sheet to rows with values or errors, and the errors to a file that can be mended and sent again. Pure."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Final, Literal, Protocol, runtime_checkable

from jobs.core.csvout import write_csv, write_xlsx
from jobs.core.sheets import parsers
from jobs.core.sheets.cells import REMARK_HEADING, Cell, Sheet, SheetRow, cell_text
from jobs.core.sheets.columns import Column, Matching
from jobs.core.sheets.days import FROM_1900, FROM_1904, Order, read_day
from jobs.core.sheets.parsers import Parser

# What a formula leaves that cannot be worked out. Source: ECMA-376 part 1, section 18.17.3 (error values).
_FAULTS: Final = frozenset({"#DIV/0!", "#GETTING_DATA", "#N/A", "#NAME?", "#NULL!", "#NUM!", "#REF!", "#SPILL!", "#VALUE!"})


@dataclass(frozen=True, slots=True)
class RowError:
    """One thing to correct: the row's number, the heading in the file (or the column's label), what stands there, and a sentence."""

    row: int
    column: str
    value: str
    wanted: str

    def __str__(self) -> str:
        place = f"Row {self.row}, {self.column}" if self.column else f"Row {self.row}"
        return f"{place}: {self.wanted}"


@dataclass(frozen=True, slots=True)
class CheckedRow:
    """A row with its values by column name, and what is wrong with it.

    A column that the sheet does not have is not among the values; an empty cell is None. Where there are errors, the values are those
    cells that could be read.
    """

    row: SheetRow
    values: Mapping[str, Any]
    errors: tuple[RowError, ...] = ()

    @property
    def number(self) -> int:
        return self.row.number

    @property
    def good(self) -> bool:
        return not self.errors


@dataclass(frozen=True, slots=True)
class Objection:
    """What a kind has against a row, by the column's name; `check` adds heading and value."""

    row: int
    column: str
    wanted: str


CheckAll = Callable[[Sequence[CheckedRow]], Iterable[Objection]]


@dataclass(frozen=True, slots=True)
class Preview:
    """What applying would do: how many rows are new, changed, unchanged, and sentences that say what follows from them."""

    new: int
    changed: int
    unchanged: int
    words: tuple[str, ...] = ()


Applied = Literal["new", "changed", "unchanged"]


@dataclass(frozen=True, slots=True)
class Question:
    """What a kind must know of the whole file before its rows are checked. `choices`: the answer as kept, and its words.

    The answer stands among each row's values under the question's name.
    """

    name: str
    words: str
    choices: Mapping[str, str]


@runtime_checkable
class Together(Protocol):
    """A kind that can write many plain rows in a few statements, where they do not touch each other."""

    def apply_together(self, rows: Sequence[CheckedRow], by: Any) -> Sequence[Applied] | None:
        """What was done with each row; None where they must be applied one by one, and then nothing was written."""
        ...


class Kind(Protocol):
    """A kind of import: a small class in its app's `imports.py`, which its AppConfig.ready registers (`importing.register`)."""

    @property
    def name(self) -> str: ...

    @property
    def words(self) -> str:
        """What its rows are, as the choice of kinds says it: "Homes", "Requests to fit, past and open"."""
        ...

    @property
    def right(self) -> str:
        """Who may bring it in: "core.add_jobs". A column may ask a further right (`Column.right`)."""
        ...

    @property
    def columns(self) -> Sequence[Column]: ...

    @property
    def questions(self) -> Sequence[Question]: ...

    def check_all(self, rows: Sequence[CheckedRow]) -> Iterable[Objection]:
        """What a cell alone cannot tell: an unknown utility, a serial that another site holds, doubles inside the file (`doubles`)."""
        ...

    def preview(self, rows: Sequence[CheckedRow]) -> Preview:
        """Takes good rows only."""
        ...

    def hold(self, rows: Sequence[CheckedRow]) -> None:
        """Lock the records that these rows will change, in one order (by number), before the first is written.

        A chunk of rows is one transaction: if it locked its records one by one, it and a person's act could each hold what the other
        wants.
        """
        ...

    def apply_row(self, row: CheckedRow, by: Any) -> Applied:
        """Write one good row by the functions behind the acts. `by` is the actor, a type that this pure module cannot know."""
        ...


def check(
    sheet: Sheet,
    matching: Matching,
    columns: Sequence[Column],
    *,
    check_all: CheckAll | None = None,
    answers: Mapping[str, str] | None = None,
    orders: Mapping[str, Order] | None = None,
    values: Mapping[str, Mapping[str, str]] | None = None,
) -> list[CheckedRow]:
    """Every row of the sheet, checked. `answers` (to a kind's questions) stand among each row's values.

    `orders`: by column whether its days have the month or the day first. `values`: by column, what is written and what is meant.
    Raises SheetRefused where the matching leaves something open.
    """
    matching.refuse_if_incomplete()
    readers = [
        (column, matching.places[column.name], _reader(column, sheet, (orders or {}).get(column.name), (values or {}).get(column.name, {})))
        for column in columns
        if column.name in matching.places
    ]
    rows = [_checked(row, matching, readers, answers or {}) for row in sheet.rows]
    if check_all is None:
        return rows

    labels = {column.name: column.label for column in columns}
    objections: dict[int, list[RowError]] = {}
    by_number = {row.number: row for row in rows}
    for objection in check_all(rows):
        row = by_number[objection.row]
        heading = matching.heading(objection.column) or labels.get(objection.column, "")
        error = RowError(row.number, heading, _written(row.row, matching, objection.column), objection.wanted)
        objections.setdefault(row.number, []).append(error)
    return [replace(row, errors=(*row.errors, *objections[row.number])) if row.number in objections else row for row in rows]


Reader = tuple[Column, int, Parser]


def _reader(column: Column, sheet: Sheet, order: Order | None, meant: Mapping[str, str]) -> Parser:
    parse = column.parse
    if parse is parsers.day:
        parse = partial(read_day, order=order or "month", serials_from=FROM_1904 if sheet.from_1904 else FROM_1900)
    if column.code:
        parse = parsers.whole_number_kept(parse)
    if not meant:
        return parse
    return lambda cell: parse(meant.get(cell_text(cell).strip()) or cell)


def _checked(row: SheetRow, matching: Matching, readers: Sequence[Reader], answers: Mapping[str, str]) -> CheckedRow:
    values: dict[str, Any] = dict(answers)
    errors: list[RowError] = []
    if row.beyond:
        # Most often a comma inside a cell without quotation marks, which moves all cells after it one column on.
        beyond = ", ".join(cell_text(cell) for cell in row.beyond)
        wanted = f"The row has more cells than there are headings ({beyond}): put a cell that holds a comma in quotation marks."
        return CheckedRow(row, values, (RowError(row.number, "", beyond, wanted),))

    for column, place, parse in readers:
        cell = row.cells[place]
        try:
            values[column.name] = _value(cell, column, parse)
        except ValueError as error:
            errors.append(RowError(row.number, matching.heading(column.name), cell_text(cell), str(error)))
    return CheckedRow(row, values, tuple(errors))


def _value(cell: Cell, column: Column, parse: Parser) -> Any:
    if isinstance(cell, str):
        if not cell or not cell.strip():
            if column.required:
                raise ValueError(column.empty_sentence())
            return None
        if cell in _FAULTS:
            raise ValueError(f"The cell's formula came to no value ({cell}): {column.wanted or 'a value'}, or an empty cell, is wanted.")
    return parse(cell)


def _written(row: SheetRow, matching: Matching, name: str) -> str:
    return cell_text(row.cells[matching.places[name]]) if name in matching.places else ""


def doubles(rows: Sequence[CheckedRow], names: Sequence[str], *, what: str) -> Iterator[Objection]:
    """An objection to each of two or more rows whose values in `names` are all the same, naming the other row.

    `what` begins the sentence: "The serial". Case does not count. Rows where one of the values is missing are left alone.
    """
    found: dict[tuple[Any, ...], list[int]] = {}
    for row in rows:
        key = tuple(row.values.get(name) for name in names)
        if None not in key:
            found.setdefault(tuple(part.casefold() if isinstance(part, str) else part for part in key), []).append(row.number)

    for numbers in found.values():
        for number in numbers if len(numbers) > 1 else ():
            others = [str(other) for other in numbers if other != number]
            rows_named = f"row {others[0]}" if len(others) == 1 else f"rows {', '.join(others[:5])}{' and more' if len(others) > 5 else ''}"
            yield Objection(number, names[0], f"{what} stands also in {rows_named}: keep one of these rows.")


def errors_file(sheet: Sheet, rows: Iterable[CheckedRow]) -> str:
    """The rows to correct as CSV: the file's own columns and "What to correct". It can be sent again as it is."""
    return "".join(write_csv(*errors_table(sheet, rows)))


def errors_workbook(sheet: Sheet, rows: Iterable[CheckedRow]) -> bytes:
    """The same as an .xlsx workbook."""
    return write_xlsx(*errors_table(sheet, rows))


def errors_table(sheet: Sheet, rows: Iterable[CheckedRow]) -> tuple[list[str], list[list[Cell]]]:
    """Headings and rows of both."""
    table: list[list[Cell]] = []
    for row in rows:
        if row.errors:
            remark = " ".join(str(error) for error in row.errors)
            # Cells beyond the headings stand beyond the remark too, so that sent again they are refused again.
            table.append([*row.row.cells, remark, *row.row.beyond])
    return [*sheet.headings, REMARK_HEADING], table
