"""A spreadsheet file's bytes to a `Sheet`: its headings and its rows, numbered as the person sees them. Pure."""

import dataclasses
import re
from collections.abc import Collection, Iterator, Sequence
from itertools import islice
from typing import Final

from jobs.core.sheets import layout, separated, workbook
from jobs.core.sheets.cells import Cell, Place, Sheet, SheetRefused

MOST_BYTES: Final = 60_000_000


def read(name: str, data: bytes, *, most_bytes: int = MOST_BYTES, calls: Collection[str] = (), place: Place | None = None) -> Sheet:
    """The table in an .xlsx workbook or a .csv (.tsv, .txt) file.

    CSV may be UTF-8, UTF-16 or Windows-1252, separated by commas, semicolons, tabs or strokes. `calls` are what headings of the wanted
    kind may say (`Column.calls`): by them the sheet is chosen and its headings found, lower down or over two rows; blank rows are
    dropped and still counted, sums below the table are left out with a note. `place`: where a person says that the table stands.
    Raises SheetRefused.
    """
    name = re.split(r"[/\\]", name)[-1]
    kind = name.rpartition(".")[2].lower() if "." in name else ""
    if kind in ("xlsm", "xltm", "xlam"):
        raise SheetRefused(f"{name} is a workbook with macros, which are small programs: save it as .xlsx or .csv and send that.")
    if kind not in ("csv", "tsv", "txt", "xlsx"):
        raise SheetRefused(f"{name} is neither a .csv nor an .xlsx file: save the sheet as one of these and send that.")
    refuse_too_large(name, len(data), most_bytes=most_bytes)
    if not data[:1_000_000].strip() and not data.strip():
        raise SheetRefused(f"{name} is empty: a file with one row of headings and at least one row below it is wanted.")

    place = place or Place()
    if kind != "xlsx":
        return layout.sheet_of(name, layout.numbered(name, separated.table(name, data)), calls=calls, place=place)

    def choose(sheets: Sequence[tuple[str, Iterator[list[Cell]]]]) -> str:
        scores = [layout.score(layout.numbered(name, islice(rows, 200)), calls) for _, rows in sheets]
        return sheets[scores.index(max(scores))][0]  # of equals the first

    rows, chosen, visible, hidden = workbook.table(name, data, wanted=place.sheet, choose=choose)
    sheet = layout.sheet_of(name, layout.numbered(name, rows), calls=calls, place=place)
    told = _not_read(chosen, [other for other in visible if other != chosen], [other for other in hidden if other != chosen])
    return dataclasses.replace(
        sheet,
        table=chosen,
        others=(*visible, *hidden),
        notes=(*told, *sheet.notes),
        from_1904=workbook.counts_from_1904(data),
    )


def refuse_too_large(name: str, size: int, *, most_bytes: int = MOST_BYTES) -> None:
    """Asked of a file's size before its bytes are read into memory too."""
    if size > most_bytes:
        raise SheetRefused(f"{name} is larger than {_megabytes(most_bytes)} MB: split it into several files, each with the headings.")


def _megabytes(size: int) -> str:
    return f"{size / 1_000_000:,.3f}".rstrip("0").rstrip(".")


def _not_read(chosen: str, visible: Sequence[str], hidden: Sequence[str]) -> list[str]:
    if not visible and not hidden:
        return []
    others = [f"“{other}”" for other in visible] + [f"“{other}” (hidden)" for other in hidden]
    return [f"The sheet “{chosen}” is read; not read: {', '.join(others)}."]
