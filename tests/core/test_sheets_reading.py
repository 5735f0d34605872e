"""Files to sheets, and files that are refused. No database."""

import io
import zipfile
from datetime import date, datetime
from typing import Any

import pytest
import xlsxwriter

from jobs.core import sheets
from jobs.core.csvout import write_xlsx
from jobs.core.sheets import SheetRefused


def csv_sheet(*lines: str, name: str = "jobs.csv") -> sheets.Sheet:
    return sheets.read(name, "\r\n".join(lines).encode())


def refusal(name: str, data: bytes, **more: Any) -> str:
    with pytest.raises(SheetRefused) as refused:
        sheets.read(name, data, **more)
    return str(refused.value)


def workbook(cells: dict[tuple[int, int], object], *, hidden_first: bool = False) -> bytes:
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    if hidden_first:
        aside = book.add_worksheet("lists")
        aside.write(0, 0, "not this one")
        aside.hide()
    sheet = book.add_worksheet("homes")
    sheet.activate()
    sheet.set_first_sheet()
    day = book.add_format({"num_format": "m/d/yyyy"})
    moment = book.add_format({"num_format": "m/d/yyyy h:mm"})
    for (row, column), value in cells.items():
        if isinstance(value, datetime):
            sheet.write_datetime(row, column, value, moment if value.hour else day)
        else:
            sheet.write(row, column, value)
    book.close()
    return out.getvalue()


# --- reading text


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_a_text_file_is_read_in_every_usual_encoding_and_separator(encoding, separator, line_end):
    lead = "\ufeff" if encoding in ("utf-16-le", "utf-16-be") else ""
    text = lead + line_end.join([f"Job{separator}Owner", "", f"A1{separator}Peña", f"A2{separator}“Rosa”", ""])

    sheet = sheets.read("jobs.csv", text.encode(encoding))

    assert sheet.headings == ("Job", "Owner")
    assert [(row.number, row.cells) for row in sheet.rows] == [(3, ("A1", "Peña")), (4, ("A2", "“Rosa”"))]


def test_rows_are_numbered_as_a_spreadsheet_shows_them():
    sheet = csv_sheet("", "job,note", "A1,one", ",", '" ",', 'A2,"two', 'lines"', "A3,three")

    assert [(row.number, row.cells[0]) for row in sheet.rows] == [(3, "A1"), (6, "A2"), (7, "A3")]
    assert sheet.rows[1].cells[1] == "two\r\nlines"


@pytest.mark.parametrize(
    ("text", "headings"),
    [
        ("a;b;c\n1,5;2;3\n4,5;5;6", ("a", "b", "c")),
        ('"Name, first";b\nx;y', ("Name, first", "b")),
        ('"a;b;c;d",e\n"1;2;3;4",5', ("a;b;c;d", "e")),
        ("a,b\n1,x;y;z\n2,q", ("a", "b")),
        ("a;b;c, d, e, f\n1;2;3\n4;5;6", ("a", "b", "c, d, e, f")),
        ("sep=;\na,b;c\n1;2", ("a,b", "c")),
        ("only one\nvalue", ("only one",)),
    ],
)
def test_the_separator_is_found_where_others_stand_in_the_cells(text, headings):
    assert sheets.read("jobs.csv", text.encode()).headings == headings


def test_short_rows_are_filled_up_and_a_column_without_a_heading_is_kept_only_if_it_holds_something():
    sheet = csv_sheet("job,,note,", "A1", "A2,,n,remark")

    assert sheet.headings == ("job", "note", "")
    assert [row.cells for row in sheet.rows] == [("A1", "", ""), ("A2", "n", "remark")]


# --- reading workbooks


def test_a_workbook_is_read_from_its_first_visible_sheet_with_its_own_row_numbers():
    data = workbook({(2, 1): "Job", (2, 2): "Sent", (4, 1): "A1", (6, 1): 1002}, hidden_first=True)

    sheet = sheets.read("C:\\homes\\Jobs.XLSX", data)

    assert sheet.name == "Jobs.XLSX"
    assert sheet.headings == ("Job", "Sent")
    assert [(row.number, row.cells) for row in sheet.rows] == [(5, ("A1", "")), (7, ("1002", ""))]


def test_numbers_come_as_a_spreadsheet_shows_them_and_days_stay_days():
    values = [7, 1.5, 0.1 + 0.2, 5551230123, 12345678901234567, True, "=1", datetime(2026, 6, 3), datetime(2026, 6, 3, 9, 30)]  # noqa: DTZ001
    cells: dict[tuple[int, int], object] = {(0, column): f"h{column}" for column in range(len(values))}
    cells |= {(1, column): value for column, value in enumerate(values) if value != "=1"}

    row = sheets.read("jobs.xlsx", workbook(cells)).rows[0]

    # Excel keeps fifteen significant digits.
    assert row.cells[:7] == ("7", "1.5", "0.3", "5551230123", "12345678901234600", "yes", "")
    assert row.cells[7:] == (date(2026, 6, 3), datetime(2026, 6, 3, 9, 30))  # noqa: DTZ001
    assert sheets.cell_text(row.cells[8]) == "2026-06-03 09:30"


# --- refused files


OLD_EXCEL = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 100


@pytest.mark.parametrize(
    ("name", "data", "sentence"),
    [
        (
            "jobs.xlsx",
            b"job,addr\nA1,9 Elm St\n",
            "jobs.xlsx is not an Excel workbook: if it is a text file, give it the ending .csv; else save it as .xlsx again.",
        ),
        (
            "jobs.xlsx",
            b"PK\x03\x04 and nothing else",
            "jobs.xlsx is not an Excel workbook or is damaged: open it in a spreadsheet, save it as .xlsx and send that.",
        ),
        (
            "jobs.xlsx",
            OLD_EXCEL,
            "jobs.xlsx is an old Excel workbook or has a password: save it as .xlsx without a password and send that.",
        ),
        (
            "jobs.csv",
            write_xlsx(["job"], [["A1"]]),
            "jobs.csv is not a text file but looks like an Excel workbook: give it the ending .xlsx and send it again.",
        ),
        (
            "jobs.csv",
            OLD_EXCEL,
            "jobs.csv is not a text file but looks like an old Excel workbook: save it as .xlsx or .csv and send that.",
        ),
        ("jobs.csv", b"job\nA\0B\n", "jobs.csv is not a text file, it holds NUL bytes: save the sheet as CSV UTF-8 and send that."),
        ("jobs.csv", b"job\nA\x81B\n", "jobs.csv cannot be read as text: save the sheet as CSV UTF-8 and send that."),
        ("jobs.csv", b"\xef\xbb\xbfjob\nPe\xf1a\n", "jobs.csv cannot be read as text: save the sheet as CSV UTF-8 and send that."),
        (
            "jobs.csv",
            b"<!DOCTYPE html><table>",
            "jobs.csv is a web page and not a sheet: open it in a spreadsheet, save it as CSV UTF-8 and send that.",
        ),
        ("jobs.ods", b"PK\x03\x04", "jobs.ods is neither a .csv nor an .xlsx file: save the sheet as one of these and send that."),
        ("jobs", b"job\nA1\n", "jobs is neither a .csv nor an .xlsx file: save the sheet as one of these and send that."),
        ("jobs.csv", b"", "jobs.csv is empty: a file with one row of headings and at least one row below it is wanted."),
        ("jobs.csv", b"\xef\xbb\xbf \r\n", "jobs.csv is empty: a file with one row of headings and at least one row below it is wanted."),
        (
            "jobs.csv",
            b"job,addr\n,\n",
            "jobs.csv has no rows below its headings: one row of headings and at least one row below it are wanted.",
        ),
        (
            "jobs.csv",
            b'job,addr\nA1,x\nA2,"9 Elm St\nA3,z\n',
            "jobs.csv cannot be read from row 3 on: a quotation mark there is not closed, or text follows a closed one. "
            "Inside a quoted cell write each quotation mark twice.",
        ),
        (
            "jobs.csv",
            b"job,addr\nA1," + b"x" * 140_000,
            "jobs.csv has a cell of more than 131,072 characters in row 2: shorten it.",
        ),
        (
            "jobs.csv",
            b"job,What to correct\n,Row 2: something\n",
            "jobs.csv has nothing but remarks below its headings: at least one row to take is wanted.",
        ),
    ],
)
def test_a_file_that_cannot_be_taken_is_refused_with_what_is_wrong_and_what_is_wanted(name, data, sentence):
    assert refusal(name, data) == sentence


def test_a_file_of_more_than_60_megabytes_is_refused():
    sentence = "jobs.csv is larger than 60 MB: split it into several files, each with the headings."
    assert refusal("jobs.csv", b"job\n" + b"x" * 59_999_997) == sentence


def test_a_limit_of_bytes_is_itself_allowed():
    data = b"job\n" + b"x\n" * 498

    assert len(sheets.read("jobs.csv", data, most_bytes=1_000).rows) == 498
    assert refusal("jobs.csv", data + b"x", most_bytes=1_000).startswith("jobs.csv is larger than 0.001 MB")


def test_a_workbook_without_a_visible_sheet_or_with_an_empty_one_is_refused():
    with zipfile.ZipFile(io.BytesIO(workbook({(0, 0): "job", (1, 0): "A1"}))) as whole:
        parts = {item.filename: whole.read(item) for item in whole.infolist()}
    parts["xl/workbook.xml"] = parts["xl/workbook.xml"].replace(b'name="homes"', b'name="homes" state="hidden"')

    assert refusal("jobs.xlsx", zipped(parts)) == "jobs.xlsx has no visible sheet: show the sheet with the rows and save it again."
    assert refusal("jobs.xlsx", workbook({})) == (
        "jobs.xlsx has an empty first sheet, homes: move the sheet with the rows to the front and save it again."
    )


def zipped(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    return out.getvalue()


def test_a_forgotten_cell_in_the_last_corner_is_refused_before_it_takes_all_memory():
    data = workbook({(0, 0): "job", (1, 0): "A1", (1_048_575, 16_383): "x"})

    assert refusal("jobs.xlsx", data) == (
        "A sheet of jobs.xlsx reaches down to row 1,048,576 and across 16,384 columns: "
        "delete what stands far outside the table, or save the rows to take as .csv."
    )


def test_a_small_file_that_unpacks_to_gigabytes_is_refused():
    out = io.BytesIO(workbook({(0, 0): "job", (1, 0): "A1"}))
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED, compresslevel=1) as archive, archive.open("xl/media/x.bin", "w") as part:
        for _ in range(101):
            part.write(bytes(10_000_000))

    assert refusal("jobs.xlsx", out.getvalue()) == "jobs.xlsx unpacks to more than 1,000 MB: save its rows as .csv and send that."


def test_a_workbook_cut_short_is_refused():
    data = workbook({(0, 0): "job", (1, 0): "A1"})

    assert "is damaged" in refusal("jobs.xlsx", data[: len(data) // 2])
