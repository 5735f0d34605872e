"""Where the table stands, how its days are written, what a workbook lost, what is refused before it is opened. No database."""

from __future__ import annotations

import io
import tracemalloc
import zipfile
from datetime import date

import pytest
import xlsxwriter
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.core import sheets
from jobs.core.csvout import write_csv, write_xlsx
from jobs.core.sheets import Column, Figure, Place, SheetRefused, hints, parsers
from jobs.core.sheets.days import FROM_1904, day_order, read_day

CALLS = {"owner", "street", "city", "contractsigned", "price"}
COLUMNS = (
    Column("owner", "Owner", required=True),
    Column("street", "Street"),
    Column("signed_on", "Contract signed", parse=parsers.day),
    Column("meter", "Meter number", code=True),
)


def read(text: str, *, calls=CALLS, place: Place | None = None) -> sheets.Sheet:
    return sheets.read("homes.csv", text.encode(), calls=calls, place=place)


# --- the table


@pytest.mark.parametrize("lead", ["", "\n\n", "Homes 2026\n", "Homes,2026\n,,\nprinted,11/18/2026,by Ana\n"])
def test_headings_are_found_lower_down_and_what_stood_above_is_said(lead):
    sheet = read(f"{lead}Owner,Street,City,Note\nRosa,9 Elm,Quill,x\n")

    assert sheet.headings == ("Owner", "Street", "City", "Note")
    assert [row.cells[0] for row in sheet.rows] == ["Rosa"]
    assert bool(sheet.notes) == bool(lead.strip())


def test_headings_over_two_rows_are_read_as_one():
    sheet = read("Owner,Contract,,Site\n,signed,price,street\nRosa,2026-03-04,8640,9 Elm\n")

    assert sheet.headings == ("Owner", "Contract signed", "price", "street")
    assert sheet.headings_in == (1, 2)
    assert sheet.notes == ("The headings span rows 1 and 2; they are read as one: “street”.",)


def test_a_person_says_where_headings_of_unknown_names_stand():
    text = "Kunde,Hof\nA,B\nOrt,Weg\nQuill,Elm\n"

    assert read(text).headings == ("Kunde", "Hof")
    assert read(text, place=Place(row=3)).headings == ("Ort", "Weg")
    assert read(text, place=Place(row=1, lines=2)).headings == ("Kunde A", "Hof B")
    with pytest.raises(SheetRefused, match="has no headings in row 9 with rows below them"):
        read(text, place=Place(row=9))


@pytest.mark.parametrize(
    ("last", "why"),
    [
        ("Total,,,\n", "it holds the sums of the rows above"),
        ("Grand total:,,,9000\n", "it holds the sums of the rows above"),
        ('\n,,,"$9,000.00"\n', "it holds figures only, below a blank row"),
        ("\nprices without tax,,,\n", "it holds one remark only, below the table"),
    ],
)
def test_sums_and_remarks_at_the_end_are_left_out_with_a_word(last, why):
    sheet = read(f"Owner,Street,City,Price\nRosa,9 Elm,Quill,9000\n{last}")

    assert [row.cells[0] for row in sheet.rows] == ["Rosa"]
    assert why in sheet.notes[0]


@pytest.mark.parametrize("last", ["Total Comfort LLC,9 Elm,Quill,\n", ",,,9000\n", "Ana,,,\n"])
def test_what_may_be_a_record_is_never_left_out(last):
    assert len(read(f"Owner,Street,City,Price\nRosa,9 Elm,Quill,9000\n{last}").rows) == 2


def test_headings_that_a_printer_repeated_are_left_out():
    sheet = read("Owner,Street\nRosa,9 Elm\nOwner,Street\nBo,1 Fir\n")

    assert [row.cells[0] for row in sheet.rows] == ["Rosa", "Bo"]
    assert sheet.notes == ("Row 3 is left out: it holds the headings once more.",)


def test_utf_16_without_a_mark_is_read_and_windows_letters_stay():
    for encoding in ("utf-16-le", "utf-16-be"):
        assert sheets.read("a.csv", "Owner,Street\nPeña,9 Elm".encode(encoding)).rows[0].cells == ("Peña", "9 Elm")
    assert sheets.read("a.csv", "Owner|Street\nPeña|9 Elm".encode("cp1252")).rows[0].cells == ("Peña", "9 Elm")


# --- days


@pytest.mark.parametrize(
    "written",
    [
        "3 Jun 2026", "June 3, 2026", "3rd June 2026", "3-Jun-26", "Jun-3-2026", "Wed, June 3, 2026", "3. Jun 2026",
        "2026-06-03",
        "2026/6/3", "20260603", "2026-06-03T00:00:00", "2026-06-03 00:00", "2026-06-03T09:30:00Z", "6/3/2026", "06/03/26", "6-3-2026",
        "06.03.2026", "6/3/2026 12:00 AM", "3 de junio de 2026", "46176", "46176.0",
    ],
)  # fmt: skip
def test_a_day_is_read_in_the_common_forms(written):
    # 46176: ECMA-376 part 1, 18.17.4.1; the same number as a spreadsheet program gives for 3 June 2026 (from memory).
    assert read_day(written) == date(2026, 6, 3)


@given(st.dates(date(1962, 1, 1), date(2118, 1, 1)))
@settings(max_examples=60)
def test_every_day_comes_back_from_each_order_and_from_its_serial_number(day):
    assert read_day(f"{day.month}/{day.day}/{day.year}", order="month") == day
    assert read_day(f"{day.day}.{day.month}.{day.year}", order="day") == day
    assert read_day(str((day - date(1899, 12, 30)).days)) == day
    assert read_day(str((day - FROM_1904).days), serials_from=FROM_1904) == day


@pytest.mark.parametrize(
    ("cells", "order"),
    [
        (["3/4/2026", "25/4/2026"], "day"),
        (["3/4/2026", "4/25/2026"], "month"),
        (["3/4/2026", "4/4/2026"], "either"),
        (["3/4/2026", "4/25/2026", "25/4/2026"], "either"),
        (["4/4/2026", "2026-03-04", "soon", ""], ""),
        (["4/25/2026"], "month"),
        ([date(2026, 3, 4)], ""),
    ],
)
def test_the_order_of_days_is_what_the_column_says_or_is_asked(cells, order):
    assert day_order(cells)[0] == order


def test_a_day_against_the_columns_order_is_an_error_and_never_turned_round():
    with pytest.raises(ValueError, match="has a month 25, and the days of this column are read as month/day/year"):
        read_day("25/12/2026", order="month")
    with pytest.raises(ValueError, match="is a number and not a day"):
        read_day("12345")


def test_days_of_one_column_are_asked_about_once_with_both_readings():
    sheet = read("Owner,Contract signed\nA,3/4/2026\nB,5/6/2026\n")
    matching = sheets.match(sheet.headings, COLUMNS)

    known, asked = hints.orders(sheet, matching, COLUMNS, {})
    settled, none = hints.orders(sheet, matching, COLUMNS, {"signed_on": "day"})

    assert (known, [question.words for question in asked]) == (
        {},
        ["In “Contract signed”, is 3/4/2026 4 March 2026 (month/day/year) or 3 April 2026 (day/month/year)?"],
    )
    assert (settled, none) == ({"signed_on": "day"}, [])
    rows = sheets.check(sheet, matching, COLUMNS, orders=settled)
    assert [row.values["signed_on"] for row in rows] == [date(2026, 4, 3), date(2026, 6, 5)]


# --- numbers by which something is known


def test_lost_zeros_are_named_shortened_and_rounded_numbers_refused():
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    page = book.add_worksheet()
    page.write_row(0, 0, ["Owner", "Meter number"])
    for row, value in enumerate(["0012345", 12346, 1234567890123456789, "1.23E+11"], start=1):
        page.write(row, 0, "x")
        if isinstance(value, str):
            page.write_string(row, 1, value)
        else:
            page.write_number(row, 1, value)
    page.write_number(5, 1, 12347, book.add_format({"num_format": "0000000"}))
    page.write(5, 0, "x")
    book.close()
    sheet = sheets.read("a.xlsx", out.getvalue())
    matching = sheets.match(sheet.headings, COLUMNS)

    rows = sheets.check(sheet, matching, COLUMNS)

    assert [row.values.get("meter") for row in rows] == ["0012345", "12346", None, None, "0012347"]
    assert "a workbook keeps 15 digits" in rows[2].errors[0].wanted
    assert "was shortened by a spreadsheet" in rows[3].errors[0].wanted
    assert isinstance(sheet.rows[1].cells[1], Figure)


# --- names


@pytest.mark.parametrize(
    ("written", "first"),
    [
        ("Sable Fk Elec Coop", "Sable Fork Electric Cooperative"),
        ("sable fork electric", "Sable Fork Electric Cooperative"),
        ("Otermere Municipal Light", "Ottermere Municipal Light"),
        ("Quillback Bay Power Dist.", "Quillback Bay Power District"),
        ("Nonesuch", None),
        ("--", None),
    ],
)
def test_a_name_near_one_on_record_is_proposed(written, first):
    names = ["Ottermere Municipal Light", "Sable Fork Electric Cooperative", "Quillback Bay Power District", "Upper Wend Light & Water"]

    assert next(iter(hints.nearest(written, names)), None) == first


# --- hostile and huge


def refusal(name: str, data: bytes) -> str:
    with pytest.raises(SheetRefused) as refused:
        sheets.read(name, data)
    return str(refused.value)


def with_part(name: str, text: bytes = b"x") -> bytes:
    out = io.BytesIO(write_xlsx(["job"], [["A1"]]))
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, text)
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "data", "sentence"),
    [
        ("a.xlsm", b"PK\x03\x04", "is a workbook with macros"),
        ("a.xlsx", with_part("xl/vbaProject.bin"), "holds macros, which are small programs"),
        ("a.xlsx", with_part("xl/externalLinks/externalLink1.xml"), "takes values from other files"),
        ("a.xlsx", with_part("xl/worksheets/sheet9.xml", b'<!DOCTYPE x [<!ENTITY a "aaaa">]>'), "holds definitions that no workbook needs"),
        ("a.csv", b"job\n" + b"\n" * 2_000_000, "has no rows below its headings"),
        ("a.csv", b"\n" * 5_000_000, "is empty"),
        ("a.csv", b"job\n" + b"," * 20_000, "has no rows below its headings"),
        ("a.csv", b"job,b\n" + b"," * 20_000 + b"x", "more than 16,384 columns in row 2"),
        ("a.csv", b"job\n" + b"x\n" * 200_002, "has more than 200,000 rows"),
    ],
)  # fmt: skip
def test_what_would_run_fetch_or_fill_the_memory_is_refused_with_a_sentence(name, data, sentence):
    assert sentence in refusal(name, data)


def test_a_workbook_with_a_password_on_its_parts_is_refused():
    data = bytearray(write_xlsx(["job"], [["A1"]]))
    at = data.find(b"PK\x01\x02")
    while at >= 0:
        data[at + 8] |= 1  # "encrypted", bit 0 of the general purpose flag: APPNOTE.TXT 4.4.4
        at = data.find(b"PK\x01\x02", at + 4)

    assert "has a password" in refusal("a.xlsx", bytes(data))


def test_a_part_that_says_less_of_itself_than_it_unpacks_to_is_refused():
    data = bytearray(with_part("xl/sharedStrings.xml", b"<sst>" + b" " * 3_000_000 + b"</sst>"))
    at = data.rfind(b"PK\x01\x02")
    data[at + 24 : at + 28] = (100).to_bytes(4, "little")  # uncompressed size: APPNOTE.TXT 4.3.12

    assert "is damaged" in refusal("a.xlsx", bytes(data))


def test_a_gigabyte_of_nothing_in_a_small_workbook_is_refused_before_it_is_unpacked():
    out = io.BytesIO(write_xlsx(["job"], [["A1"]]))
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED, compresslevel=1) as archive, archive.open("xl/worksheets/sheet2.xml", "w") as part:
        for _ in range(60):
            part.write(b"<row/>" * 170_000)
    data = out.getvalue()

    tracemalloc.start()
    sentence = refusal("a.xlsx", data)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert "unpacks to 200 times its size and more" in sentence
    assert peak < 3 * len(data) + 5_000_000


@given(
    st.binary(max_size=300),
    st.sampled_from(["a.csv", "a.xlsx", "a.txt"]),
    st.sampled_from([b"", b"PK\x03\x04", b"\xff\xfe", b"\xd0\xcf\x11\xe0"]),
)
@settings(max_examples=150, deadline=None)
def test_any_bytes_are_read_or_refused_with_a_sentence(data, name, start):
    said, sheet = "", None
    try:
        sheet = sheets.read(name, start + data, calls=CALLS)
    except SheetRefused as refused:
        said = str(refused)

    assert (said.startswith(name) and said.endswith(".")) or (sheet and all(len(row.cells) == len(sheet.headings) for row in sheet.rows))


def test_texts_of_ten_thousand_characters_come_back_equal():
    rows = [[sign + "é😀\n\",;'" * 1_700, sign * 10_000] for sign in ("=", "+", "-", "@", "'=")]

    for name, data in (("a.csv", "".join(write_csv(["a", "b"], rows)).encode()), ("a.xlsx", write_xlsx(["a", "b"], rows))):
        assert [list(row.cells) for row in sheets.read(name, data).rows] == rows
