"""The bytes of a .csv, .tsv or .txt file to rows of texts. Pure."""

import csv
import io
import re
from collections.abc import Iterator
from typing import Final

from jobs.core.csvout import unguarded
from jobs.core.sheets.cells import Cell, SheetRefused

_LONGEST_FIELD: Final = 131_072


def table(name: str, data: bytes) -> Iterator[list[Cell]]:
    """Every row, the blank ones too, one at a time: a file of nothing but line ends must not fill the memory."""
    text = _decoded(name, data)
    separator, text = _separator(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    row = 0
    try:
        for fields in reader:
            row += 1
            yield [unguarded(field) for field in fields]
    except csv.Error as error:
        # Without `strict` a quotation mark that is never closed would swallow all rows below it without a word.
        if "field larger" in str(error):
            raise SheetRefused(f"{name} has a cell of more than {_LONGEST_FIELD:,} characters in row {row + 1}: shorten it.") from error
        raise SheetRefused(
            f"{name} cannot be read from row {row + 1} on: a quotation mark there is not closed, or text follows a closed one. "
            "Inside a quoted cell write each quotation mark twice."
        ) from error


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
            text = _unmarked(data)
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


def _unmarked(data: bytes) -> str:
    """Without a byte order mark: UTF-16 if every other byte of the beginning is nought, else UTF-8, else Windows-1252."""
    start = data[:2000]
    if len(start) >= 4 and len(data) % 2 == 0:
        for odd, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
            zeros = start[odd::2].count(0)
            # Latin letters in UTF-16: nearly every second byte is nought, and none of the others is.
            if zeros * 10 >= len(start[odd::2]) * 8 and not start[1 - odd :: 2].count(0):
                return data.decode(encoding)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("cp1252")


def _separator(text: str) -> tuple[str, str]:
    """The separator, and the text without Excel's own first line that names it ("sep=;"), which no spreadsheet shows as a row."""
    if named := re.match(r"sep=([,;\t|])\r?\n", text, re.IGNORECASE):
        return named[1], text[named.end() :]

    # Counted outside quoted cells, so that a comma inside a quoted heading does not count.
    lines = [line for line in re.sub(r'"[^"]*"', "", text[:65_536]).splitlines()[:50] if line.strip()]
    # A title above the table has few separators or none: the line with the most is taken for the headings.
    top = lines[:6]

    def fit(separator: str) -> tuple[bool, float, int]:
        counts = [line.count(separator) for line in lines] or [0]
        first = counts[0] or max(line.count(separator) for line in top or [""])
        return first > 0, sum(count == first for count in counts) / len(counts), first

    return max(",;\t|", key=fit), text  # of equals the comma, which stands first
