"""Tables to CSV and XLSX, and back through the reader of sheets to the same texts. No database."""

import csv
import io
import zipfile
from datetime import UTC, date, datetime, time, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from jobs.core.csvout import as_text, guarded, unguarded, write_csv, write_xlsx
from jobs.core.sheets import read

ANY_TEXT = st.text(alphabet=st.one_of(st.characters(codec="utf-8", exclude_characters="\0"), st.sampled_from("=+-@'\t\r\n\",; é😀")))
# XML 1.0 has no other control characters, and turns every CR into LF (section 2.11).
XLSX_TEXT = st.text(alphabet=st.one_of(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), st.sampled_from("=+-@'\t\n\",; é😀")))
TABLES = st.integers(1, 5).flatmap(
    lambda width: st.tuples(
        st.lists(st.text("abcxyz=;,\"' +", min_size=1).filter(str.strip), min_size=width, max_size=width),
        st.lists(st.lists(ANY_TEXT, min_size=width, max_size=width), min_size=1, max_size=6),
    )
)


def test_lines_end_with_crlf_and_fields_are_quoted_as_rfc_4180_says():
    # RFC 4180 section 2: rules 1 (CRLF), 6 (line breaks, quotes, commas in quotes) and 7 (a quote is written twice).
    lines = list(write_csv(["job", "note"], [["A1", 'said "later", then\nhung up'], ["A2", ""]]))

    assert lines == ["job,note\r\n", 'A1,"said ""later"", then\nhung up"\r\n', "A2,\r\n"]


def test_a_cell_with_another_separator_or_blanks_at_an_end_is_quoted_too():
    # RFC 4180 section 2 rule 5 allows quotes around any field.
    assert next(write_csv(["a;b", "c\td", " e", "f ", "g h"], [])) == '"a;b","c\td"," e","f ",g h\r\n'


def test_values_are_written_in_one_way():
    values = [None, True, False, 7, Decimal("1E+3"), Decimal("8640.00"), 0.25, date(2026, 6, 3), time(9, 30), "Łukasz"]

    assert [as_text(value) for value in values] == ["", "yes", "no", "7", "1000", "8640.00", "0.25", "2026-06-03", "09:30", "Łukasz"]


def test_an_instant_is_written_in_utc_and_a_wall_time_without_a_zone():
    # RFC 3339 section 5.6.
    at = datetime(2026, 6, 3, 9, 30, tzinfo=timezone(timedelta(hours=-6)))

    assert as_text(at) == "2026-06-03T15:30:00Z"
    assert as_text(datetime(2026, 6, 3, 9, 30)) == "2026-06-03 09:30"  # noqa: DTZ001
    assert as_text(datetime(2026, 6, 3, 9, 30, 5)) == "2026-06-03 09:30:05"  # noqa: DTZ001


@pytest.mark.parametrize(
    "text", ["=1+1", "+1 303 555 0142", "-x", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "-5+2", "-1.5.2", "＝1", "'=1", "''=1"]
)
def test_a_cell_that_a_spreadsheet_could_run_gets_an_apostrophe_and_loses_it_on_reading(text):
    # Source: OWASP, "CSV Injection".
    assert guarded(text) == f"'{text}"
    assert unguarded(guarded(text)) == text


@pytest.mark.parametrize("text", ["-60.01", "-5", "", "'", "O'Hara", "'tis", "a=b", "1-2", " =1"])
def test_other_cells_stay_as_they_are(text):
    assert guarded(text) == text
    assert unguarded(text) == text


@given(ANY_TEXT)
@example("'-5")
def test_guarding_is_always_undone(text):
    assert unguarded(guarded(text)) == text


@given(ANY_TEXT)
def test_no_cell_that_is_not_a_number_begins_like_a_formula(text):
    line = next(write_csv([text], []))

    field = next(csv.reader(io.StringIO(line, newline="")))[0]
    assert not field.startswith(("=", "+", "-", "@", "\t", "\r", "\n")) or Decimal(field) < 1


@given(TABLES)
@example((["a;b;c", "d"], [["x;y;z", "w"]]))
@example((["only"], [["=1"], ["+1"], ["-1"], ["@1"], ["\t1"], ["line\r\nbreak\rin\nit"], ['"']]))
def test_what_is_written_as_csv_is_read_back_as_the_same_texts(table):
    headings, rows = table
    rows = [row for row in rows if any(cell.strip() for cell in row)] or [["é😀"] * len(headings)]

    for lead, encoding in (("", "utf-8"), ("\ufeff", "utf-8"), ("", "utf-16")):
        sheet = read("out.csv", (lead + "".join(write_csv(headings, rows))).encode(encoding))

        assert sheet.headings == tuple(heading.strip() for heading in headings)
        assert [row.cells for row in sheet.rows] == [tuple(row) for row in rows]
        assert not any(row.beyond for row in sheet.rows)


@given(TABLES)
def test_another_reader_of_rfc_4180_sees_the_same_fields(table):
    headings, rows = table

    text = "".join(write_csv(headings, rows))

    # Source: Python's csv module as the second reader.
    assert [list(map(unguarded, row)) for row in csv.reader(io.StringIO(text, newline=""), strict=True)] == [headings, *rows]


@given(st.lists(st.lists(XLSX_TEXT, min_size=2, max_size=2), min_size=1, max_size=5))
@example([["=1+1", "https://home.example"], ["'=1", "''=1"], ["12", "007"], ["_x0041_", "a\tb\nc"]])
def test_what_is_written_as_a_workbook_is_read_back_as_the_same_texts(rows):
    rows = [row for row in rows if any(cell.strip() for cell in row)] or [["é😀", "'"]]

    sheet = read("out.xlsx", write_xlsx(["left", "right"], rows))

    assert [row.cells for row in sheet.rows] == [tuple(row) for row in rows]


def test_a_workbook_holds_numbers_and_days_as_such_and_no_formula_or_link():
    row = [7, Decimal("-60.01"), date(2026, 6, 3), True, "=1+1", "https://home.example", datetime(2026, 6, 3, tzinfo=UTC), None]

    data = write_xlsx([f"column {n}" for n in range(8)], [row])

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        sheet_xml = archive.read("xl/worksheets/sheet1.xml").decode()
    assert "<f>" not in sheet_xml
    assert "hyperlink" not in sheet_xml
    assert "<v>-60.01</v>" in sheet_xml
    assert read("out.xlsx", data).rows[0].cells == (
        "7",
        "-60.01",
        date(2026, 6, 3),
        "yes",
        "=1+1",
        "https://home.example",
        "2026-06-03T00:00:00Z",
        "",
    )


def test_the_same_table_gives_the_same_bytes():
    assert write_xlsx(["a"], [["b"]]) == write_xlsx(["a"], [["b"]])


def test_a_text_longer_than_a_cell_may_hold_is_cut_visibly():
    # Source: Excel specifications and limits, 32,767 characters in a cell.
    cell = read("out.xlsx", write_xlsx(["a"], [["x" * 40_000]])).rows[0].cells[0]

    assert isinstance(cell, str)
    assert len(cell) == 32_767
    assert cell.endswith("x…")


def test_a_day_before_the_workbooks_calendar_stays_a_text():
    assert read("out.xlsx", write_xlsx(["a"], [[date(1899, 12, 31)]])).rows[0].cells == ("1899-12-31",)
