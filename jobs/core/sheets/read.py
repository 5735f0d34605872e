"""A spreadsheet file's bytes to a `Sheet`: its headings and its rows, numbered as the person sees them. Pure."""

import csv
import io
import re
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import Final

import python_calamine

from jobs.core.csvout import as_text, unguarded

Cell = str | date  # a date may be a datetime, where a workbook's cell has a time of day

REMARK_HEADING: Final = "What to correct"  # the column that `errors_file` adds and that reading leaves out
MOST_BYTES: Final = 20_000_000
_MOST_CELLS: Final = 20_000_000
_LONGEST_FIELD: Final = 131_072


class SheetRefused(ValueError):
    """The file as a whole cannot be taken. The text is a sentence for the user."""


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One row that is not blank. `cells` are as many as the headings; `beyond` are filled cells right of the last heading."""

    number: int
    cells: tuple[Cell, ...]
    beyond: tuple[Cell, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    name: str
    headings: tuple[str, ...]
    rows: tuple[SheetRow, ...]


def cell_text(cell: Cell) -> str:
    return cell if isinstance(cell, str) else as_text(cell)


def read(name: str, data: bytes, *, most_bytes: int = MOST_BYTES) -> Sheet:
    """The first visible sheet of an .xlsx workbook, or a .csv (.tsv, .txt) file.

    CSV may be UTF-8, UTF-16 with a byte order mark, or Windows-1252, separated by commas, semicolons or tabs. The first row that is
    not blank holds the headings; blank rows are dropped and still counted. Raises SheetRefused.
    """
    name = re.split(r"[/\\]", name)[-1]
    kind = name.rpartition(".")[2].lower() if "." in name else ""
    if kind not in ("csv", "tsv", "txt", "xlsx"):
        raise SheetRefused(f"{name} is neither a .csv nor an .xlsx file: save the sheet as one of these and send that.")
    if not data.strip():
        raise SheetRefused(f"{name} is empty: a file with one row of headings and at least one row below it is wanted.")
    if len(data) > most_bytes:
        raise SheetRefused(f"{name} is larger than {_megabytes(most_bytes)} MB: split it into several files, each with the headings.")

    return _sheet(name, _workbook(name, data) if kind == "xlsx" else _separated(name, data))


def _megabytes(size: int) -> str:
    return f"{size / 1_000_000:,.3f}".rstrip("0").rstrip(".")


def _sheet(name: str, table: Iterable[Sequence[Cell]]) -> Sheet:
    numbered = [(number, cells) for number, cells in enumerate(table, start=1) if not _blank(cells)]
    if len(numbered) < 2:
        raise SheetRefused(f"{name} has no rows below its headings: one row of headings and at least one row below it are wanted.")

    headings = [cell_text(cell).strip() for cell in numbered[0][1]]
    width = len(headings)
    # A column without a heading is kept if anything stands in it: it may be somebody's note, and the errors file gives it back.
    noted = {column for _, cells in numbered[1:] for column, cell in enumerate(cells) if not _blank([cell])}
    remark = REMARK_HEADING.casefold()
    kept = [column for column, heading in enumerate(headings) if heading.casefold() != remark and (heading or column in noted)]
    rows = []
    for number, cells in numbered[1:]:
        padded = [*cells, *[""] * (width - len(cells))]
        beyond = padded[width:]
        row = SheetRow(number, tuple(padded[column] for column in kept), () if _blank(beyond) else tuple(beyond))
        # Where only the remark is left, the person has cleared the row.
        if row.beyond or not _blank(row.cells):
            rows.append(row)
    if not rows:
        raise SheetRefused(f"{name} has nothing but remarks below its headings: at least one row to take is wanted.")
    return Sheet(name, tuple(headings[column] for column in kept), tuple(rows))


def _blank(cells: Iterable[Cell]) -> bool:
    return not any(cell if isinstance(cell, date) else cell.strip() for cell in cells)


# --- text with separators


def _separated(name: str, data: bytes) -> list[list[Cell]]:
    text = _decoded(name, data)
    separator, text = _separator(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    table: list[list[Cell]] = []
    try:
        for fields in reader:
            table.append([unguarded(field) for field in fields])
    except csv.Error as error:
        # Without `strict` a quotation mark that is never closed would swallow all rows below it without a word.
        row = len(table) + 1
        if "field larger" in str(error):
            raise SheetRefused(f"{name} has a cell of more than {_LONGEST_FIELD:,} characters in row {row}: shorten it.") from error
        raise SheetRefused(
            f"{name} cannot be read from row {row} on: a quotation mark there is not closed, or text follows a closed one. "
            "Inside a quoted cell write each quotation mark twice."
        ) from error
    return table


def _decoded(name: str, data: bytes) -> str:
    if data.startswith(b"PK\x03\x04"):
        raise SheetRefused(f"{name} is not a text file but looks like an Excel workbook: give it the ending .xlsx and send it again.")
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise SheetRefused(f"{name} is not a text file but looks like an old Excel workbook: save it as .xlsx or .csv and send that.")
    try:
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            text = data.decode("utf-16")
        elif data.startswith(b"\xef\xbb\xbf"):
            text = data.decode("utf-8")
        else:
            text = _utf8_or_windows(data)
    except UnicodeDecodeError as error:
        raise SheetRefused(f"{name} cannot be read as text: save the sheet as CSV UTF-8 and send that.") from error
    text = text.removeprefix("\ufeff")
    if "\0" in text:
        raise SheetRefused(f"{name} is not a text file, it holds NUL bytes: save the sheet as CSV UTF-8 and send that.")
    if re.match(r"\s*<(!doctype|html|\?xml)", text, re.IGNORECASE):
        raise SheetRefused(f"{name} is a web page and not a sheet: open it in a spreadsheet, save it as CSV UTF-8 and send that.")
    if not text.strip():
        raise SheetRefused(f"{name} is empty: a file with one row of headings and at least one row below it is wanted.")
    return text


def _utf8_or_windows(data: bytes) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252")


def _separator(text: str) -> tuple[str, str]:
    """The separator, and the text without Excel's own first line that names it ("sep=;"), which no spreadsheet shows as a row."""
    if named := re.match(r"sep=([,;\t])\r?\n", text, re.IGNORECASE):
        return named[1], text[named.end() :]

    # Counted outside quoted cells, so that a comma inside a quoted heading does not count.
    lines = [line for line in re.sub(r'"[^"]*"', "", text[:65_536]).splitlines()[:50] if line.strip()]

    def fit(separator: str) -> tuple[bool, float, int]:
        counts = [line.count(separator) for line in lines] or [0]
        return counts[0] > 0, sum(count == counts[0] for count in counts) / len(counts), counts[0]

    return max(",;\t", key=fit), text  # of equals the comma, which stands first


# --- workbooks


def _workbook(name: str, data: bytes) -> list[list[Cell]]:
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise SheetRefused(f"{name} is an old Excel workbook or has a password: save it as .xlsx without a password and send that.")
    if not data.startswith(b"PK\x03\x04"):
        raise SheetRefused(f"{name} is not an Excel workbook: if it is a text file, give it the ending .csv; else save it as .xlsx again.")
    broken = f"{name} is not an Excel workbook or is damaged: open it in a spreadsheet, save it as .xlsx and send that."
    try:
        _refuse_far_cells(name, data)
        with python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data)) as book:
            visible = [
                sheet.name
                for sheet in book.sheets_metadata
                if sheet.visible == python_calamine.SheetVisibleEnum.Visible and sheet.typ == python_calamine.SheetTypeEnum.WorkSheet
            ]
            if not visible:
                raise SheetRefused(f"{name} has no visible sheet: show the sheet with the rows and save it again.")
            # With the empty area above and left of the table, so that rows keep the numbers that the person sees.
            table = book.get_sheet_by_name(visible[0]).to_python(skip_empty_area=False)
    except (python_calamine.CalamineError, zipfile.BadZipFile, EOFError, OSError, NotImplementedError) as error:
        raise SheetRefused(broken) from error
    if not table:
        raise SheetRefused(f"{name} has an empty first sheet, {visible[0]}: move the sheet with the rows to the front and save it again.")
    return [[_cell(value) for value in row] for row in table]


def _refuse_far_cells(name: str, data: bytes) -> None:
    # The reader makes room for the whole rectangle from A1 to the last cell: one letter in XFD1048576, or a small file made to
    # unpack to gigabytes, would take all memory of the process. So the rectangle is measured first, a megabyte at a time.
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        if sum(item.file_size for item in archive.infolist()) > 50 * MOST_BYTES:
            raise SheetRefused(f"{name} unpacks to more than {_megabytes(50 * MOST_BYTES)} MB: save its rows as .csv and send that.")
        for item in archive.infolist():
            if not re.fullmatch(r"xl/worksheets/[^/]+\.xml", item.filename, re.IGNORECASE):
                continue
            rows, columns = _extent(archive, item)
            if rows * columns > _MOST_CELLS:
                raise SheetRefused(
                    f"A sheet of {name} reaches down to row {rows:,} and across {columns:,} columns: "
                    "delete what stands far outside the table, or save the rows to take as .csv."
                )


def _extent(archive: zipfile.ZipFile, item: zipfile.ZipInfo) -> tuple[int, int]:
    rows = columns = 1
    carry = b""
    with archive.open(item) as part:
        while chunk := part.read(1_000_000):
            text = carry + chunk
            for letters, digits in set(re.findall(rb'\br="([A-Z]{1,3})([0-9]{1,7})"', text)):
                rows = max(rows, int(digits))
                columns = max(columns, _column_number(letters))
            carry = text[-32:]
    return rows, columns


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number


def _cell(value: object) -> Cell:
    match value:
        case str():
            return unguarded(value)
        case datetime():
            return value.date() if value.time() == time(0) else value
        case date():
            return value
        case bool():
            return as_text(value)
        case int() | float():
            return _number(value)
        case _:
            return as_text(value)


def _number(value: float) -> str:
    """A number as a spreadsheet shows it: fifteen significant digits, no exponent, no ".0"."""
    text = f"{value:.15g}"
    return format(Decimal(text), "f") if "e" in text else text
