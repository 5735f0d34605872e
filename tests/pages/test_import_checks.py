"""What is wrong with rows of a list of homes: one sentence each, that says what is wrong and what is wanted."""

from __future__ import annotations

import pytest

from jobs.core import importing
from jobs.core.models import Crew, Job
from jobs.core.refusals import Refused
from jobs.pages.homecolumns import share
from tests.homelist import OTTERMERE, bring_in, half_done, home, looked, sentences, sheet, utilities
from tests.make import PNG

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _utilities():
    utilities()


def only(row, *, by) -> str:
    """The one sentence about the one row, without its place."""
    found = sentences(sheet(row), by=by)
    assert len(found) == 1, found
    return found[0]


def test_an_unknown_utility_in_row_812_is_named_with_the_known_one_near_it(dana):
    rows = [home(n, Utility=OTTERMERE) for n in range(2, 902)]
    rows[810]["Utility"] = "Otermere Municipal Ligth"

    seen = looked(sheet(*rows), by=dana)

    assert len(seen.good) == 899
    assert [str(error) for error in seen.errors] == [
        "Row 812, Utility: The utility “Otermere Municipal Ligth” is not known here; near it is Ottermere Municipal Light: "
        "write a known name, or add it under Utilities first."
    ]
    with pytest.raises(Refused, match="One row of 900 need correcting"):
        bring_in(sheet(*rows), by=dana)
    assert not Job.objects.exists()


def test_a_checked_list_of_900_homes_asks_the_database_little(dana, django_assert_max_num_queries):
    data = sheet(*(half_done(n) for n in range(2, 902)))

    with django_assert_max_num_queries(60):
        seen = looked(data, by=dana)

    assert len(seen.good) == 900


def test_a_name_with_none_near_it_says_so(dana):
    assert "no known name is near it" in only(home(1, Utility="Zzyzx"), by=dana)


def test_a_picture_named_as_a_workbook_is_refused_with_what_is_wanted(dana):
    with pytest.raises(Refused, match=r"homes\.xlsx is not an Excel workbook"):
        importing.prepare("jobs", name="homes.xlsx", data=PNG, columns={}, by=dana)


def test_all_that_is_wrong_in_a_row_is_listed_at_once(dana):
    row = half_done(1, Owner="", State="Colorada", Phone="12", Contract_amount="$40,000.005", Commissioned_on="31 Feb 2026")
    row |= {"Utility": "Nobody", "Battery": "perhaps"}

    seen = looked(sheet(row), by=dana)

    assert {(error.column, error.value) for error in seen.errors} == {
        ("Owner", ""),
        ("State", "Colorada"),
        ("Phone", "12"),
        ("Contract amount", "$40,000.005"),
        ("Commissioned on", "31 Feb 2026"),
        ("Utility", "Nobody"),
        ("Battery", "perhaps"),
    }
    assert all(error.wanted.endswith(".") for error in seen.errors)


@pytest.mark.parametrize(
    ("cells", "column", "wanted"),
    [
        ({"Commissioned on": "1 Mar 2026"}, "Commissioned on", "contract signed was on 2 March 2026"),
        ({"Request sent on": "1 Mar 2026"}, "Request sent on", "contract signed was on 2 March 2026"),
        ({"Fitted on": "2 Jun 2026"}, "Fitted on", "request to fit sent was on 3 June 2026"),
        ({"Fitted on": "14 Sep 2026", "Backup verified on": "13 Sep 2026"}, "Backup verified on", "was on 14 September 2026"),
        ({"Commissioned on": "19 Nov 2026"}, "Commissioned on", "19 November 2026 has not come yet at the home"),
        ({"First milestone earned on": "19 Nov 2026"}, "First milestone earned on", "19 November 2026 has not come yet"),
        (
            {"Last known not fitted": "9 Nov 2026", "First known fitted": "9 Nov 2026"},
            "Last known not fitted",
            "must come before the first day it was known fitted",
        ),
        ({"Fitted on": "9 Nov 2026", "First known fitted": "9 Nov 2026"}, "Fitted on", "a day and a bracket: one of the two is wanted"),
        ({"Request sent on": "", "Fitted on": "9 Nov 2026", "Route": ""}, "Request sent on", "the day the request was sent is wanted"),
        ({"Backup verified on": "9 Nov 2026"}, "Fitted on", "Backup is verified and no collar is fitted"),
        ({"Battery": "no"}, "CT check consistent on", "no battery, so it has no consumption CTs"),
        ({"Staged on": ""}, "Staged on", "Collar staged on is empty beside Staged where: the day it was staged is wanted."),
        ({"Fitted serial": "LC-000001"}, "Fitted on", "A fitted serial is given without a fitting"),
        ({"Collar serial": "LC 1"}, "Collar serial", "“LC 1” is not a serial; wanted letters, digits and hyphens"),
        ({"Final milestone share": "30 %"}, "Final milestone share", "The shares add up to 110"),
        ({"Final milestone share": ""}, "Final milestone share", "both shares are wanted, together 100 %"),
        ({"First milestone paid": "$32,000.01"}, "First milestone paid", "$32,000.01 paid is more than the $32,000.00 invoiced"),
        ({"First milestone invoiced": "$32,000.01"}, "First milestone invoiced", "is more than the milestone's $32,000.00 in the plan"),
        ({"First milestone invoice": ""}, "First milestone invoice", "the invoice's number is wanted"),
        ({"First milestone earned on": ""}, "First milestone earned on", "the day it was earned is wanted"),
        ({"First milestone invoiced": ""}, "First milestone invoiced", "without the amount invoiced"),
        ({"Final milestone earned on": "9 Nov 2026"}, "Final milestone earned on", "do not earn this milestone"),
        ({"First milestone paid": "-1"}, "First milestone paid", "-1 is below zero"),
        (
            {"Install day planned": "9 Dec 2026", "Request planned": "8 Dec 2026"},
            "Request planned",
            "cannot be planned before the install day",
        ),
        ({"Time zone": "Europe/Paris"}, "Time zone", "is no zone of the United States"),
        ({"District": "North"}, "District", "The district “North” of Ottermere Municipal Light is not known here"),
        ({"Crew": "Nort crew"}, "Crew", "near it is North crew"),
    ],
)
def test_a_row_says_what_is_wrong_and_what_is_wanted(dana, cells, column, wanted):
    Crew.objects.create(name="North crew")
    seen = looked(sheet(half_done(1) | cells), by=dana)

    # Days in the wrong order may be wrong at both ends; the one asked about stands at its own cell.
    assert column in [error.column for error in seen.errors if wanted in error.wanted], [str(error) for error in seen.errors]


def test_a_milestone_earned_by_its_facts_and_not_invoiced_may_say_its_day(dana):
    unbilled = {"First milestone invoice": "", "First milestone invoiced": "", "First milestone paid": ""}

    assert sentences(sheet(half_done(1) | unbilled), by=dana) == []
    other = half_done(1) | unbilled | {"First milestone earned on": "5 May 2026"}
    assert "The facts given earn this milestone on 4 May 2026" in only(other, by=dana)


def test_homes_serials_and_numbers_that_stand_twice_name_each_other(dana):
    one, other = half_done(1), half_done(2, Collar_serial="lc-000001")
    assert sentences(sheet(one, other), by=dana) == [
        "Row 2, Collar serial: The serial stands also in row 3: keep one of these rows.",
        "Row 3, Collar serial: The serial stands also in row 2: keep one of these rows.",
    ]
    assert "The job number stands also in row 3" in sentences(sheet(home(1), home(1, Street="2 Larch Terrace")), by=dana)[0]
    first, second = home(1), home(1)
    del first["Job number"], second["Job number"]
    assert "This home of this owner stands also in row 3" in sentences(sheet(first, second), by=dana)[0]


def test_a_serial_that_another_site_holds_names_the_site(dana):
    bring_in(sheet(half_done(1)), by=dana)
    holder = Job.objects.get()

    assert only(half_done(2, Collar_serial="LC-000001"), by=dana) == (
        f"Row 2, Collar serial: Serial LC-000001 is registered for job {holder.code} at 1 Larch Terrace; "
        "a serial belongs to one site at a time: check the label, or move it from there first."
    )


def test_a_meter_that_another_home_has_names_the_home(dana):
    bring_in(sheet(half_done(1, Meter_number="55 806 528")), by=dana)

    assert "is on record for job" in only(half_done(2, Meter_number="55 806 528"), by=dana)


def test_two_jobs_at_one_address_are_told_apart_only_by_number(dana):
    bring_in(sheet(home(1)), by=dana)
    bring_in(sheet(home(1) | {"Job number": "LL-1B"}), by=dana)
    row = home(1)
    del row["Job number"]

    assert "give the job number, so that one of them is meant" in only(row, by=dana)


SHARES = {"80 %": 800_000, "80": 800_000, "0.8": 800_000, "33.3333 %": 333_333, "100 %": 1_000_000, "0": 0, "0.5 %": 5_000}


@pytest.mark.parametrize(("written", "millionths"), SHARES.items())
def test_a_share_is_read_as_a_part_of_a_hundred_or_of_one(written, millionths):
    assert share(written) == millionths


@pytest.mark.parametrize("written", ["1", "101 %", "-5 %", "a fifth", "33.33333 %", "80 % of it"])
def test_a_share_that_may_be_two_things_or_none_is_refused(written):
    with pytest.raises(ValueError, match="wanted"):
        share(written)
