"""Tables to files that a spreadsheet can open: CSV by RFC 4180, and XLSX.

Pure: no Django, no database. `jobs.core.sheets.read` reads both back to the same texts.
"""

import math
import re
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import IO, Final

import xlsxwriter

# A spreadsheet takes a cell that begins with one of these for a formula and may run it. The full-width forms count too: some
# spreadsheets fold them. Source: OWASP, "CSV Injection".
_STARTS_A_FORMULA: Final = r"=+\-@\t\r\n＝＋－＠"
_RISKY = re.compile(f"'*[{_STARTS_A_FORMULA}]")
_GUARDED = re.compile(f"'+[{_STARTS_A_FORMULA}]")
_NEGATIVE_NUMBER = re.compile(r"-[0-9]+(\.[0-9]+)?")

# More than RFC 4180 asks for: with the other separators inside quotes too, a reader that guesses the separator from the text
# cannot guess wrong. Blanks at the ends are quoted because some readers take them off.
_NEEDS_QUOTES = re.compile(r'[",;|\t\r\n]|^\s|\s$')

_LONGEST_XLSX_TEXT: Final = 32_767  # Excel specifications and limits: total number of characters that a cell can contain
_MOST_XLSX_ROWS: Final = 1_048_576  # the same source: worksheet size
_A_FIXED_DAY: Final = datetime(2000, 1, 1, tzinfo=UTC)


def guarded(text: str) -> str:
    """The text with an apostrophe before it if a spreadsheet would take it for a formula. A plain negative number stays a number.

    A text that already begins with apostrophes and then such a sign gets one more, so that `unguarded` always gives the text back.
    """
    return f"'{text}" if _RISKY.match(text) and not _NEGATIVE_NUMBER.fullmatch(text) else text


def unguarded(text: str) -> str:
    """The text without the apostrophe that `guarded`, or a person for the same reason, put before it."""
    return text[1:] if _GUARDED.match(text) else text


def as_text(value: object) -> str:
    """The one way a value is written: days as 2026-06-03, instants as RFC 3339 in UTC, yes and no, nothing for None."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case datetime() if value.tzinfo is not None:
            return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
        case datetime():
            return value.isoformat(" ", timespec="minutes" if not (value.second or value.microsecond) else "auto")
        case date():
            return value.isoformat()
        case time():
            return value.isoformat(timespec="minutes" if not (value.second or value.microsecond) else "auto")
        case Decimal():
            return format(value, "f")
        case float():
            return "" if math.isnan(value) else repr(value)
        case _:
            return str(value)


def write_csv(headings: Sequence[str], rows: Iterable[Sequence[object]]) -> Iterator[str]:
    """The lines of a CSV file, each with its CRLF (RFC 4180), safe to open in a spreadsheet.

    One line at a time, so that a long export can be streamed. Encode as UTF-8, `marked` where a spreadsheet opens it.
    """
    yield _line(headings)
    for row in rows:
        yield _line(row)


def marked(lines: Iterable[str]) -> Iterator[str]:
    """The lines of a CSV file after the mark by which a spreadsheet knows that it is UTF-8."""
    yield "\ufeff"
    yield from lines


def _line(row: Sequence[object]) -> str:
    fields = [_field(guarded(as_text(value))) for value in row]
    # A line of one empty field would be a blank line, which readers drop.
    return ('""' if fields == [""] else ",".join(fields)) + "\r\n"


def _field(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if _NEEDS_QUOTES.search(text) else text


def write_xlsx(headings: Sequence[str], rows: Iterable[Sequence[object]], *, title: str = "Sheet1") -> bytes:
    """The bytes of a workbook with one sheet (`xlsx_file`)."""
    with xlsx_file(headings, rows, title=title) as file:
        return file.read()


class TooLong(ValueError):
    """More rows than a workbook's sheet can hold. The text is a sentence for the user."""


def xlsx_file(headings: Sequence[str], rows: Iterable[Sequence[object]], *, title: str = "Sheet1") -> IO[bytes]:
    """A workbook with one sheet, as an open temporary file: each row goes to disk as it is written, so memory stays flat.

    Texts stay texts: none is taken for a formula or a link. Numbers and days are written as such; an amount of money is a Decimal and
    shows its cents. The same table gives the same bytes. `title`: the sheet's name, at most 31 characters. A text too long for a cell is
    cut and ends in "…". Raises TooLong.
    """
    out = tempfile.SpooledTemporaryFile(max_size=1_000_000)  # noqa: SIM115 - the caller closes it, when it has been sent
    try:
        # `write_string` below never makes a formula or a link; the options hold should another `write` come beside it.
        book = xlsxwriter.Workbook(out, {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
        try:
            _fill(book, headings, rows, title=title)
        finally:
            book.close()
    except BaseException:
        out.close()
        raise
    out.seek(0)
    return out


def _fill(book: xlsxwriter.Workbook, headings: Sequence[str], rows: Iterable[Sequence[object]], *, title: str) -> None:
    book.set_properties({"created": _A_FIXED_DAY})
    bold = book.add_format({"bold": True})
    day = book.add_format({"num_format": "yyyy-mm-dd"})
    amount = book.add_format({"num_format": "#,##0.00"})
    sheet = book.add_worksheet(title[:31])
    sheet.freeze_panes(1, 0)

    for column, heading in enumerate(headings):
        sheet.write_string(0, column, _xlsx_text(heading), bold)
    for number, row in enumerate(rows, start=1):
        if number >= _MOST_XLSX_ROWS:
            most = _MOST_XLSX_ROWS - 1
            raise TooLong(f"A sheet holds {most:,} rows below its headings and there are more: save as CSV, or narrow them.")
        for column, value in enumerate(row):
            if isinstance(value, Decimal) and value.is_finite():
                sheet.write_number(number, column, value, amount)
            elif isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value):
                sheet.write_number(number, column, value)
            elif isinstance(value, date) and not isinstance(value, datetime) and value.year >= 1900:
                sheet.write_datetime(number, column, datetime(value.year, value.month, value.day), day)  # noqa: DTZ001 - a sheet knows no zone
            elif text := as_text(value):
                sheet.write_string(number, column, _xlsx_text(text))


def chosen(
    headings: Sequence[str], rows: Iterable[Sequence[object]], columns: Sequence[str]
) -> tuple[Sequence[str], Iterable[Sequence[object]]]:
    """The table with these of its columns only, in this order; all of it where none is named. Raises ValueError with a sentence."""
    if not columns:
        return headings, rows
    if unknown := [column for column in columns if column not in headings]:
        raise ValueError(f"There is no column {unknown[0]}: {', '.join(headings)} are the columns.")
    places = [headings.index(column) for column in dict.fromkeys(columns)]
    return [headings[place] for place in places], ([row[place] for place in places] for row in rows)


def _xlsx_text(text: str) -> str:
    # A workbook marks texts as texts, so only what `unguarded` would take off again on reading needs the apostrophe.
    text = guarded(text) if _GUARDED.match(text) else text
    return text if len(text) <= _LONGEST_XLSX_TEXT else text[: _LONGEST_XLSX_TEXT - 1] + "…"
