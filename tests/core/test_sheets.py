"""Sheets to checked rows: matching, checking, the file of errors. No database."""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any, cast

import pytest

from jobs.core import sheets
from jobs.core.csvout import write_xlsx
from jobs.core.sheets import CheckedRow, Column, Kind, Objection, Preview, SheetRefused, parsers

COLUMNS = (
    Column("number", "Job number", aliases=("job", "no"), required=True, parse=parsers.text(at_most=20)),
    Column("address", "Site address", aliases=("addr", "street"), required=True, wanted="the street and number of the home"),
    Column("sent_on", "Request sent on", aliases=("req sent",), parse=parsers.day, wanted="a day such as 3 Jun 2026"),
    Column("serial", "Collar serial", aliases=("serial no",)),
    Column("amount", "Contract amount", aliases=("contract",), parse=parsers.money),
)


def csv_sheet(*lines: str, name: str = "jobs.csv") -> sheets.Sheet:
    return sheets.read(name, "\r\n".join(lines).encode())


def checked(sheet: sheets.Sheet, **more: Any) -> list[CheckedRow]:
    return sheets.check(sheet, sheets.match(sheet.headings, COLUMNS), COLUMNS, **more)


# --- matching


def test_headings_are_matched_by_label_name_and_alias_whatever_their_case_blanks_and_punctuation():
    matching = sheets.match(["JOB-NO.", "Addr", "req_sent", "Collar  Serial #", "Crew"], (*COLUMNS[1:], Column("number", "Job no")))

    assert {name: matching.heading(name) for name in matching.places} == {
        "number": "JOB-NO.",
        "address": "Addr",
        "sent_on": "req_sent",
    }
    assert matching.unused == ("Collar  Serial #", "Crew")
    assert sheets.match(["Serial #"], COLUMNS).heading("serial") == ""
    assert sheets.match(["Serial No."], COLUMNS).heading("serial") == "Serial No."


def test_a_missing_required_column_is_named_and_keeps_rows_from_being_checked():
    sheet = csv_sheet("job,town", "A1,Ottermere")
    matching = sheets.match(sheet.headings, COLUMNS)

    assert [column.name for column in matching.missing] == ["address"]
    assert not matching.complete
    with pytest.raises(SheetRefused) as refused:
        sheets.check(sheet, matching, COLUMNS)
    assert str(refused.value) == "No column for Site address was found: a column of that name, or one matched to it, is wanted."


def test_a_columns_own_label_goes_before_another_columns_alias():
    ambiguous = (Column("owner", "Owner", aliases=("name",)), Column("name", "Name"))

    assert sheets.match(["Name"], ambiguous).places == {"name": 0}


def test_a_heading_that_stands_twice_is_asked_back_only_if_it_is_needed():
    matching = sheets.match(["Job", "Addr", "Addr", "Note", "Note"], COLUMNS)

    assert matching.sentences() == ['The heading "Addr" stands more than once and could be Site address: rename or delete all but one.']
    assert matching.unused == ("Note", "Note")


def test_a_map_goes_before_names_and_can_leave_a_column_out():
    headings = ["Job", "Addr", "Where", "Req sent"]

    matching = sheets.match(headings, COLUMNS, {"address": "where", "sent_on": ""})

    assert matching.places == {"number": 0, "address": 2}
    assert matching.unused == ("Addr", "Req sent")
    assert matching.complete


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (
            {"adress": "Addr"},
            "The map names a column adress, which is not one: number, address, sent_on, serial, amount are the columns.",
        ),
        (
            {"address": "Home"},
            'The map names "Home" for Site address, and the sheet has no such heading: one of its own is wanted.',
        ),
        (
            {"address": "Addr", "serial": "Addr"},
            'The map gives the heading "Addr" to two columns: one column for each heading is wanted.',
        ),
    ],
)
def test_a_map_that_does_not_fit_is_refused(given, sentence):
    assert sheets.match(["Job", "Addr"], COLUMNS, given).sentences()[0] == sentence


# --- checking


def test_a_row_longer_than_the_headings_is_an_error_of_that_row_only():
    rows = checked(csv_sheet("job,addr", "A1,4417 Old Sawmill Road, rear", "A2,9 Elm St"))

    assert [row.good for row in rows] == [False, True]
    assert str(rows[0].errors[0]) == (
        "Row 2: The row has more cells than there are headings ( rear): put a cell that holds a comma in quotation marks."
    )


def test_every_row_gives_values_or_errors_that_name_row_heading_value_and_what_is_wanted():
    rows = checked(csv_sheet("job,Addr,req sent,contract", 'A1, 9 Elm St ,2026-06-03,"$8,640.00"', "A2,,never,8640.123", "A3,x,,"))

    assert rows[0].good
    assert rows[0].values == {"number": "A1", "address": "9 Elm St", "sent_on": date(2026, 6, 3), "amount": 864_000}
    assert [(error.row, error.column, error.value) for error in rows[1].errors] == [
        (3, "Addr", ""),
        (3, "req sent", "never"),
        (3, "contract", "8640.123"),
    ]
    assert rows[1].errors[0].wanted == "Site address is empty: the street and number of the home is wanted."
    assert all(error.wanted for error in rows[1].errors)
    assert rows[1].values == {"number": "A2"}
    assert rows[2].values == {"number": "A3", "address": "x", "sent_on": None, "amount": None}


def test_a_column_that_the_sheet_does_not_have_is_not_among_the_values():
    assert "serial" not in checked(csv_sheet("job,addr", "A1,9 Elm St"))[0].values


def test_what_a_kind_has_against_a_row_joins_its_errors():
    utilities = {"Ottermere Municipal Light"}

    def unknown_utility(rows: Sequence[CheckedRow]) -> Iterable[Objection]:
        for row in rows:
            if row.values["serial"] not in utilities:
                yield Objection(row.number, "serial", f'No utility is called "{row.values["serial"]}": add it first, or correct the name.')

    lines = ["job,addr,serial no", *["A,x,Ottermere Municipal Light"] * 810, "B,y,Otermere Light"]
    rows = checked(csv_sheet(*lines), check_all=unknown_utility)

    assert [row.number for row in rows if not row.good] == [812]
    assert rows[-1].errors == (
        sheets.RowError(812, "serial no", "Otermere Light", 'No utility is called "Otermere Light": add it first, or correct the name.'),
    )
    assert str(rows[-1].errors[0]) == 'Row 812, serial no: No utility is called "Otermere Light": add it first, or correct the name.'


def test_doubles_inside_the_file_name_each_other():
    sheet = csv_sheet("job,addr,serial no", "A1,x,MC-1", "A2,y,MC-2", "A3,z,mc-1", "A4,q,", "A5,r,")

    rows = checked(sheet, check_all=lambda rows: sheets.doubles(rows, ["serial"], what="The serial"))

    assert [[error.wanted for error in row.errors] for row in rows] == [
        ["The serial stands also in row 4: keep one of these rows."],
        [],
        ["The serial stands also in row 2: keep one of these rows."],
        [],
        [],
    ]


def test_an_objection_stands_beside_what_is_wrong_with_the_cells_and_may_be_about_a_column_that_the_sheet_has_not():
    sheet = csv_sheet("job,addr", "A1,")

    row = checked(sheet, check_all=lambda rows: [Objection(2, "serial", "A serial is wanted."), Objection(2, "", "The row is odd.")])[0]

    assert [str(error) for error in row.errors] == [
        "Row 2, addr: Site address is empty: the street and number of the home is wanted.",
        "Row 2, Collar serial: A serial is wanted.",
        "Row 2: The row is odd.",
    ]


def test_doubles_are_told_by_all_their_values_and_many_are_not_listed_out():
    sheet = csv_sheet("job,addr", *["A1,x"] * 8, "A1,y")

    found = list(sheets.doubles(checked(sheet), ["number", "address"], what="The home"))

    assert len(found) == 8
    assert found[0].wanted == "The home stands also in rows 3, 4, 5, 6, 7 and more: keep one of these rows."


def test_a_small_class_is_a_kind():
    class Homes:
        name = "homes"
        columns = COLUMNS

        def check_all(self, rows: Sequence[CheckedRow]) -> Iterable[Objection]:
            return sheets.doubles(rows, ["number"], what="The job number")

        def preview(self, rows: Sequence[CheckedRow]) -> Preview:
            return Preview(new=len(rows), changed=0, unchanged=0, words=("0 messages will be sent.",))

        def apply_row(self, row: CheckedRow, by: Any) -> sheets.Applied:
            return "new"

    kind = cast(Kind, Homes())  # what the frame itself asks of a kind
    sheet = csv_sheet("job,addr", "A1,x", "A2,y", "A1,z")
    rows = sheets.check(sheet, sheets.match(sheet.headings, kind.columns), kind.columns, check_all=kind.check_all)

    assert kind.preview([row for row in rows if row.good]).new == 1


# --- the file of errors


def test_the_errors_file_holds_the_rows_to_correct_with_a_remark():
    sheet = csv_sheet("job,Addr,town", "A1,9 Elm St,Quill", 'A2,,"Sable, Fork"')

    text = sheets.errors_file(sheet, checked(sheet))

    assert text == (
        "job,Addr,town,What to correct\r\n"
        'A2,,"Sable, Fork","Row 3, Addr: Site address is empty: the street and number of the home is wanted."\r\n'
    )


def test_the_errors_file_sent_again_as_it_is_gives_the_same_errors():
    sheet = csv_sheet("job,Addr,,req sent", "A1,,=HYPERLINK(1),never", "A2,ok,,2026-06-03", "-A3,,+x,'=y", "A4,b,c,2026-06-03,too,many")
    rows = checked(sheet)

    again = sheets.read("errors.csv", sheets.errors_file(sheet, rows).encode())
    in_a_workbook = sheets.read("errors.xlsx", sheets.errors_workbook(sheet, rows))

    bad = [row for row in rows if row.errors]
    assert [row.number for row in bad] == [2, 4, 5]
    assert again.headings == sheet.headings
    assert [(row.cells, row.beyond) for row in again.rows] == [(row.row.cells, row.row.beyond) for row in bad]
    assert [[error.wanted for error in row.errors] for row in checked(again)] == [[error.wanted for error in row.errors] for row in bad]
    # A workbook has no row that is longer than the others: what stood beyond the headings is a column without one.
    assert in_a_workbook.headings == (*sheet.headings, "", "")
    assert [row.cells for row in in_a_workbook.rows] == [(*row.row.cells, *(row.row.beyond or ("", ""))) for row in bad]


def test_a_mended_errors_file_is_taken_with_its_remarks_left_standing():
    sheet = csv_sheet("job,Addr", "A1,", "A2,y")
    sent_again = sheets.errors_file(sheet, checked(sheet)).replace("A1,,", "A1,9 Elm St,")

    rows = checked(sheets.read("jobs.csv", sent_again.encode()))

    assert [(row.good, dict(row.values)) for row in rows] == [(True, {"number": "A1", "address": "9 Elm St"})]


def test_days_of_a_workbook_stay_days_in_the_errors_file():
    sheet = sheets.read("jobs.xlsx", write_xlsx(["job", "addr", "req sent"], [["A1", "", date(2026, 6, 3)]]))

    assert "A1,,2026-06-03," in sheets.errors_file(sheet, checked(sheet))
    assert sheets.read("again.xlsx", sheets.errors_workbook(sheet, checked(sheet))).rows[0].cells == ("A1", "", date(2026, 6, 3))
