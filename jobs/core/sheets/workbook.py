"""The bytes of an .xlsx workbook to rows of cells: what it shows, and nothing that it would do. Pure."""

import html
import io
import re
import zipfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from typing import Final

import python_calamine

from jobs.core.csvout import as_text, unguarded
from jobs.core.sheets.cells import Cell, Figure, SheetRefused

MOST_CELLS: Final = 20_000_000
MOST_UNPACKED: Final = 1_000_000_000
_MOST_PARTS: Final = 5_000
_PIECE: Final = 1_000_000
# A sheet of text packs to a tenth or a twentieth; what packs to less than a two-hundredth was made to fill a memory.
_MOST_RATIO: Final = 200
_LOOKED_AT: Final = re.compile(r"xl/(workbook\.xml|sharedStrings\.xml|styles\.xml|_rels/[^/]+|worksheets/[^/]+\.xml)", re.IGNORECASE)
_ZEROS_ONLY: Final = re.compile(r'numFmtId="([0-9]+)" formatCode="(0{2,15})"')


@dataclass
class _Part:
    """What one sheet's own text tells that the reader of cells does not: how far it reaches, errors, and zeros shown in front."""

    rows: int = 1
    columns: int = 1
    shown: dict[int, dict[int, str]] = field(default_factory=dict)  # by row and column from 0, what stands there instead


Choose = Callable[[Sequence[tuple[str, Iterator[list[Cell]]]]], str]


def table(name: str, data: bytes, *, wanted: str, choose: Choose) -> tuple[Iterator[list[Cell]], str, list[str], list[str]]:
    """The rows of one sheet, its name, the names of the visible sheets and those of the hidden ones.

    wanted: the sheet's name, or "" for `choose`, which is given each visible sheet's name and rows where there are several.
    """
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        raise SheetRefused(f"{name} is an old Excel workbook or has a password: save it as .xlsx without a password and send that.")
    if not data.startswith(b"PK\x03\x04"):
        raise SheetRefused(f"{name} is not an Excel workbook: if it is a text file, give it the ending .csv; else save it as .xlsx again.")
    broken = f"{name} is not an Excel workbook or is damaged: open it in a spreadsheet, save it as .xlsx and send that."
    try:
        parts = _looked_through(name, data)
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        sheets = [sheet for sheet in book.sheets_metadata if sheet.typ == python_calamine.SheetTypeEnum.WorkSheet]
        visible = [sheet.name for sheet in sheets if sheet.visible == python_calamine.SheetVisibleEnum.Visible]
        hidden = [sheet.name for sheet in sheets if sheet.name not in visible]
        if wanted and wanted not in (*visible, *hidden):
            known = ", ".join((*visible, *hidden))
            raise SheetRefused(f"{name} has no sheet “{wanted}”: one of {known} is wanted.")
        if not visible and not wanted:
            raise SheetRefused(f"{name} has no visible sheet: show the sheet with the rows and save it again.")

        def rows(sheet: str) -> Iterator[list[Cell]]:
            return _rows(book.get_sheet_by_name(sheet), parts.get(sheet, _Part()))

        filled = [sheet for sheet in visible if book.get_sheet_by_name(sheet).total_height] if len(visible) > 1 and not wanted else visible
        chosen = wanted or (choose([(sheet, rows(sheet)) for sheet in filled]) if len(filled) > 1 else (filled or visible)[0])
        if not book.get_sheet_by_name(chosen).total_height:
            raise SheetRefused(f"{name} has an empty first sheet, {chosen}: move the sheet with the rows to the front and save it again.")
        return rows(chosen), chosen, visible, hidden
    except (python_calamine.CalamineError, zipfile.BadZipFile, EOFError, OSError, NotImplementedError, RuntimeError) as error:
        raise SheetRefused(broken) from error


def counts_from_1904(data: bytes) -> bool:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        book = archive.read("xl/workbook.xml") if "xl/workbook.xml" in archive.namelist() else b""
    return re.search(rb'<workbookPr [^>]*date1904="(1|true)"', book) is not None


def _rows(sheet: python_calamine.CalamineSheet, part: _Part) -> Iterator[list[Cell]]:
    # The empty area above and left of the table comes too, so that rows keep the numbers that the person sees.
    same: dict[str, str] = {}  # one and the same text for equal cells: a column of states would else be kept once a row
    for number, row in enumerate(sheet.iter_rows()):
        cells = [_cell(value, same) for value in row]
        for column, shown in part.shown.get(number, {}).items():
            if column < len(cells):
                cells[column] = Figure(shown) if shown[0].isdigit() else shown
        yield cells


def _cell(value: object, same: dict[str, str]) -> Cell:
    match value:
        case str():
            return same.setdefault(value, unguarded(value)) if len(value) < 40 and len(same) < 50_000 else unguarded(value)
        case datetime():
            return value.date() if value.time() == time(0) else value
        case date():
            return value
        case bool():
            return as_text(value)
        case int() | float():
            return Figure(_number(value))
        case _:
            return as_text(value)


def _number(value: float) -> str:
    """A number as a spreadsheet shows it: fifteen significant digits, no exponent, no ".0"."""
    text = f"{value:.15g}"
    return format(Decimal(text), "f") if "e" in text else text


# --- looked through before it is opened


def _looked_through(name: str, data: bytes) -> dict[str, _Part]:
    """By sheet what its own text tells; refuses what would fill the memory, run, or fetch.

    The reader makes room for the whole rectangle from A1 to the last cell: one letter in XFD1048576, or a small file made to unpack to
    gigabytes, would take all memory of the process. So every part is unpacked a megabyte at a time first, which also proves that none
    unpacks to more than the file says of it.
    """
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        items = archive.infolist()
        _refuse_by_their_names(name, items)
        unpacked = sum(item.file_size for item in items)
        if unpacked > MOST_UNPACKED:
            raise SheetRefused(f"{name} unpacks to more than {MOST_UNPACKED // 1_000_000:,} MB: save its rows as .csv and send that.")
        for item in items:
            if item.file_size > 50_000_000 and item.file_size > _MOST_RATIO * max(1, item.compress_size):
                raise SheetRefused(f"{name} unpacks to {_MOST_RATIO} times its size and more: save its rows as .csv and send that.")
        known = {item.filename for item in items}
        styles = _zero_styles(archive.read("xl/styles.xml")) if "xl/styles.xml" in known else {}
        parts: dict[str, _Part] = {}
        for item in items:
            if not _LOOKED_AT.fullmatch(item.filename):
                continue
            sheet = "worksheets/" in item.filename
            part = _looked_at(name, archive, item, styles if sheet else {}, cells=sheet)
            parts[item.filename.rpartition("/")[2].casefold()] = part
            if part.rows * part.columns > MOST_CELLS:
                raise SheetRefused(
                    f"A sheet of {name} reaches down to row {part.rows:,} and across {part.columns:,} columns: "
                    "delete what stands far outside the table, or save the rows to take as .csv."
                )
        return {sheet: parts[file] for sheet, file in _files_of_sheets(archive, known).items() if file in parts}


def _refuse_by_their_names(name: str, items: Sequence[zipfile.ZipInfo]) -> None:
    if len(items) > _MOST_PARTS:
        raise SheetRefused(f"{name} has {len(items):,} parts, more than a workbook has: save its rows as .csv and send that.")
    if any(item.flag_bits & 1 for item in items):
        raise SheetRefused(f"{name} has a password: save it as .xlsx without a password and send that.")
    names = [item.filename.casefold() for item in items]
    if any(part.endswith("vbaproject.bin") or "/macrosheets/" in part for part in names):
        raise SheetRefused(f"{name} holds macros, which are small programs: save it as .xlsx without macros and send that.")
    if any("/externallinks/" in part for part in names):
        raise SheetRefused(
            f"{name} takes values from other files, which may have changed since: "
            "copy its cells, paste them as values into a new workbook and send that."
        )
    if not any(part == "xl/workbook.xml" for part in names) and any(part in ("content.xml", "word/document.xml") for part in names):
        raise SheetRefused(f"{name} is a document of another kind: save the sheet as .xlsx or .csv and send that.")


def _looked_at(name: str, archive: zipfile.ZipFile, item: zipfile.ZipInfo, zeros: dict[bytes, int], *, cells: bool) -> _Part:
    part = _Part()
    carry = b""
    with archive.open(item) as opened:
        while chunk := opened.read(_PIECE):
            text = carry + chunk
            if b"<!DOCTYPE" in text or b"<!ENTITY" in text:
                raise SheetRefused(f"{name} holds definitions that no workbook needs: save its rows as .csv and send that.")
            if cells:
                # Up to the last whole cell; the rest is looked at with the next piece.
                end = text.rfind(b"</c>") + 4 if b"</c>" in text else 0
                _measure(part, text)
                _special(part, text[:end], zeros)
                carry = text[end:][-4096:] if end else text[-4096:]
            else:
                carry = text[-16:]
        if cells:
            _special(part, carry, zeros)
    return part


def _measure(part: _Part, text: bytes) -> None:
    for letters, digits in set(re.findall(rb'\br="([A-Z]{1,3})([0-9]{1,7})"', text)):
        part.rows = max(part.rows, int(digits))
        part.columns = max(part.columns, _column_number(letters))


_CELL_WITH_A_VALUE: Final = re.compile(
    rb'<c r="([A-Z]{1,3})([0-9]{1,7})"([^>]*)>(?:<f[^>]*/>|<f[^>]*>[^<]*</f>)?<v>([^<]{1,40})</v>'
)  # of cells, the few that `_special` asks for


def _special(part: _Part, text: bytes, zeros: dict[bytes, int]) -> None:
    """Errors, which the reader gives as empty cells, and numbers that are shown with zeros in front."""
    if not zeros and b't="e"' not in text:
        return
    for letters, digits, told, value in _CELL_WITH_A_VALUE.findall(text):
        column = _column_number(letters) - 1
        if b't="e"' in told:
            shown = html.unescape(value.decode("utf-8", "replace"))
        elif b" t=" not in told and (style := re.search(rb's="([0-9]+)"', told)) and style[1] in zeros and value.isdigit():
            shown = value.decode().zfill(zeros[style[1]])
        else:
            continue
        part.shown.setdefault(int(digits) - 1, {})[column] = shown


def _zero_styles(styles: bytes) -> dict[bytes, int]:
    """By number of style the digits of those whose numbers are shown with zeros in front ("00000")."""
    text = styles.decode("utf-8", "replace")
    formats = {number: len(code) for number, code in _ZEROS_ONLY.findall(text)}
    cells = re.search(r"<cellXfs.*?</cellXfs>", text, re.DOTALL)
    used = re.findall(r'<xf [^>]*?numFmtId="([0-9]+)"', cells[0]) if cells and formats else []
    return {str(place).encode(): formats[number] for place, number in enumerate(used) if number in formats}


def _files_of_sheets(archive: zipfile.ZipFile, known: set[str]) -> dict[str, str]:
    """By name of a sheet the file that holds it, without its folder."""
    if not {"xl/workbook.xml", "xl/_rels/workbook.xml.rels"} <= known:
        return {}
    book, relations = (archive.read(part).decode("utf-8", "replace") for part in ("xl/workbook.xml", "xl/_rels/workbook.xml.rels"))
    targets = {}
    for relation in re.findall(r"<Relationship [^>]*>", relations):
        key, target = re.search(r'\bId="([^"]+)"', relation), re.search(r'\bTarget="([^"]+)"', relation)
        if key and target:
            targets[key[1]] = target[1].rpartition("/")[2].casefold()
    found = {}
    for sheet in re.findall(r"<sheet [^>]*>", book):
        called, key = re.search(r'\bname="([^"]*)"', sheet), re.search(r'\br:id="([^"]+)"', sheet)
        if called and key and key[1] in targets:
            found[html.unescape(called[1])] = targets[key[1]]
    return found


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + letter - 64
    return number
