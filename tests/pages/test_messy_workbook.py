"""The contractor's own workbook: read, asked about, mended and brought in, against a list of what must come out (tests/messy.py)."""

from __future__ import annotations

import dataclasses

import pytest

from jobs.core import importing
from jobs.core.models import Job
from jobs.core.sheets import errors_workbook
from tests import messy
from tests.homelist import utilities

pytestmark = pytest.mark.django_db

ASKED = "In “Contract signed”, is 03/04/26 4 March 2026 (month/day/year) or 3 April 2026 (day/month/year)? An answer is wanted: "
MAP = {
    "days": {"contract_signed_on": "month"},
    "values": {"region": {"Mass.": "MA"}, "utility": {"Ottermere Muni Light": "Ottermere Municipal Light"}},
}


def looked(by, **said):
    return importing.look_at("jobs", name="homes.xlsx", data=messy.workbook(), columns=said, by=by)


def test_the_table_is_found_and_what_is_left_out_or_lost_is_said(dana):
    utilities()

    opened = looked(dana)

    assert opened.sheet.headings == messy.HEADINGS
    assert [row.number for row in opened.sheet.rows] == [7, 8, 9, 11, 12, 13]
    assert opened.notes == messy.NOTES
    assert set(opened.matching.unused) == {"Who to reach", "Notes"}


def test_what_cannot_be_told_is_asked_once_and_proposed_never_guessed(dana):
    utilities()

    opened = looked(dana)

    assert opened.problems == (ASKED + "month/day/year or day/month/year.",)
    assert opened.rows == ()
    assert {(one.heading, one.written, one.rows, one.near[:1]) for one in opened.unknown} == {
        ("State", "Mass.", 1, ("Massachusetts",)),
        ("Utility name", "Ottermere Muni Light", 1, ("Ottermere Municipal Light",)),
    }
    [email] = opened.proposals
    assert (opened.sheet.headings[email.place], email.column, email.why) == ("Who to reach", "email", "its cells look like E-mail")
    decided = looked(dana, days={"contract_signed_on": "month"})
    assert {error.row for error in decided.errors if error.column in ("State", "Utility name")} == {8}


def test_every_row_comes_out_as_worked_out_by_hand(dana):
    utilities()

    rows = {row.number: row for row in looked(dana, **MAP).rows}

    assert {number: [(e.column, e.value) for e in row.errors] for number, row in rows.items() if row.errors} == {
        number: [(column, value) for column, value, _ in wrong] for number, wrong in messy.WRONG.items()
    }
    for number, wrong in messy.WRONG.items():
        for error, (_, _, sentence) in zip(rows[number].errors, wrong, strict=True):
            assert sentence in error.wanted
    for number, wanted in messy.GOOD.items():
        assert {name: rows[number].values[name] for name in wanted} == wanted
    assert rows[7].values["postal_code"] == "01060"
    assert rows[7].values["contract_amount"] == 864_000


def test_the_rows_to_correct_are_mended_and_sent_by_themselves_and_the_names_settled_before_are_remembered(dana):
    utilities()
    without_money = MAP | {"contract_amount": "", "first_share": "", "final_share": ""}
    without_money |= {"owner": "Customer", "street": "Site address", "number": "Our number", "city": "Town"}
    without_money |= {"region": "State", "postal_code": "ZIP", "utility": "Utility name", "account_number": "account no"}
    without_money |= {"contract_signed_on": "Contract signed", "commissioned_on": "Commissioned on", "email": "Who to reach"}
    data = messy.workbook()
    run = importing.prepare("jobs", name="homes.xlsx", data=data, columns=without_money, by=dana)
    run = importing.apply(run, good_rows_only=True, by=dana)
    assert (run.counts["new"], run.counts["left_out"]) == (3, 3)
    opened = importing.opened(run, by=dana)

    to_mend = importing.rows_to_mend(run, opened)
    [row] = [row for row in to_mend if row.number == 13]
    cells = tuple("451000000001" if cell == "4.51E+11" else cell for cell in row.row.cells)
    mended = [dataclasses.replace(row, row=dataclasses.replace(row.row, cells=cells))]
    again = importing.prepare("jobs", name="to-correct.xlsx", data=errors_workbook(opened.sheet, mended), columns={}, by=dana)
    second = importing.look(again, by=dana)

    assert second.matching.heading("email") == "Who to reach"
    assert "email" in second.remembered
    assert second.choices.values["region"]["Mass."] == "MA"
    assert importing.apply(again, by=dana).counts["new"] == 1
    assert set(Job.objects.values_list("contractor_number", flat=True)) == {"H-2", "H-3", "H-4", "H-6"}
    assert Job.objects.get(contractor_number="H-3").homeowner == '=HYPERLINK("https://evil.example","Ann")'
