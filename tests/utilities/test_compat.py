"""A home's survey against the list that a utility takes, and reports of one fitting against each other. Rules are our own."""

import datetime as dt

import pytest

from utilities.agreement import Report, agree
from utilities.compat import CANNOT_TELL, DOES_NOT, FITS, Surveyed, compare
from utilities.terms import Terms

D = dt.date
TERMS = Terms(meter_forms=("2S", "12S"), meter_classes=("200",), sockets=("ring",), voltages=("120/240",), revisions=("any",))
HOME = Surveyed(meter_form="FM 2S", meter_class=200, socket="ring", voltage="120/240", in_socket="none")


def test_a_home_whose_every_fact_stands_in_the_list_fits_the_list_and_is_never_approved():
    found = compare(HOME, TERMS)
    assert (found.answer, found.missing) == (FITS, ())
    assert "approved" not in repr(found)


@pytest.mark.parametrize(
    ("change", "against"),
    [
        ({"meter_form": "4S"}, "meter form 4S, taken: 2S, 12S"),
        ({"meter_class": 320}, "meter class 320, taken: 200"),
        ({"voltage": "120/208"}, "service voltage 120/208, taken: 120/240"),
        ({"socket": "ringless"}, "socket ringless, taken: ring"),
    ],
)
def test_one_fact_outside_the_list_decides_even_where_others_are_missing(change, against):
    found = compare(Surveyed(**{**HOME.__dict__, "socket": "", **change}), TERMS)
    assert found.answer == DOES_NOT
    assert against in found.against


def test_what_is_missing_is_named_whether_it_is_ours_to_see_or_theirs_to_tell():
    found = compare(
        Surveyed(meter_form="2S", voltage="not known", in_socket="surge arrester"), Terms(meter_forms=("2S",), voltages=("120/240",))
    )

    assert found.answer == CANNOT_TELL
    assert found.missing == (
        "which meter class the utility takes", "which socket the utility takes", "the service voltage of this home",
        "which collar revision the utility takes", "which device in the socket the utility takes",
    )  # fmt: skip


def test_reports_that_agree_leave_the_days_that_none_contradicts():
    reports = [Report("homeowner", D(2026, 9, 14), serial="LL-1"), Report("gateway", D(2026, 9, 12), D(2026, 9, 10), "LL-1")]
    found = agree(reports, registered="LL-1", not_fitted_on=D(2026, 9, 1), sent_on=D(2026, 6, 3))
    assert (found.after, found.by, found.serial, found.conflicts) == (D(2026, 9, 10), D(2026, 9, 12), "LL-1", ())


def test_reports_that_contradict_each_other_what_was_seen_or_the_serial_are_named():
    reports = [
        Report("utility", D(2026, 9, 2), D(2026, 9, 1)),
        Report("gateway", D(2026, 9, 12), D(2026, 9, 10), "LL-2"),
        Report("homeowner", D(2026, 9, 12), None, "LL-3"),
    ]
    found = agree(reports, registered="LL-1", not_fitted_on=D(2026, 9, 5), sent_on=D(2026, 6, 3))

    assert (found.after, found.by) == (None, None)
    assert found.conflicts == (
        "The utility says fitted by 2026-09-02; a visit of 2026-09-05 found none.",
        "The utility says fitted by 2026-09-02, the gateway not yet on 2026-09-10.",
        "The gateway gives serial LL-2, the homeowner LL-3.",
        "Serial LL-2 was reported; LL-1 is registered for this home.",
    )
