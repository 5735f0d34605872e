"""Why a forecast says what it says, in words."""

import datetime as dt
from dataclasses import replace

import pytest

from utilities.reasons import Why, part_of_month

D = dt.date
AS_OF = D(2026, 11, 24)
FULL = Why(own=31, counted=30.2, lent=12.4, own_weight=0.71, pace=0.7143, promises_kept=5, promises_made=9)


def test_own_history_borrowed_history_pace_and_promises_stand_in_one_sentence():
    # 1 / 0.7143 = 1.4.
    assert FULL.whole == (
        "From 31 own fittings and borrowed history worth 12; this utility now works 1.4 times slower than in its past; "
        "promises kept: 5 of 9."
    )


def test_own_fittings_that_count_less_with_age_are_said_with_both_numbers():
    told = replace(FULL, own=200, counted=48.7, pace=None, promises_made=0)

    assert told.whole == "From 200 own fittings, which count as 49 today, and borrowed history worth 12."
    assert replace(told, lent=0.2).whole == "From 200 own fittings, which count as 49 today."


@pytest.mark.parametrize(
    ("pace", "said"),
    [
        (0.5, "this utility now works 2.0 times slower than in its past"),
        (1.3, "this utility now works 1.3 times faster than in its past"),
        (0.04, "this utility now fits almost nothing, beside its past"),
        (0.0, "this utility now fits almost nothing, beside its past"),
        (None, ""),
    ],
)
def test_the_pace_is_said_as_times_slower_or_faster(pace, said):
    assert replace(FULL, pace=pace).pace_words == said


def test_thin_history_is_said_first_and_plainly():
    assert Why().whole == "No request is finished anywhere yet, so these days say little."
    assert Why(own=0, borrowed=8, pooled=True, thin=True).whole == (
        "No requests are finished here, so these days come from all utilities together (eight fittings)."
    )
    few = Why(own=1, borrowed=8, pooled=True, thin=True, lent=30.0, promises_kept=1, promises_made=2)
    assert few.whole == (
        "Only one request is finished here, so these days come from all utilities together (nine fittings). Promises kept: 1 of 2."
    )
    assert Why(own=6, thin=True, counted=6.0, lent=22.0).whole == (
        "Only six requests are finished here, so these days are rough. From six own fittings and borrowed history worth 22."
    )


@pytest.mark.parametrize(
    ("days", "weekdays", "said"),
    [
        (4.1, 5, "has lately moved 4 days a week"),
        (1.4, 5, "has lately stood still"),  # 0.28 of a day of filing in a working day
        (1.6, 5, "has lately moved 2 days a week"),
        (1.3, 4, "has lately moved 1 day a week"),
        (None, 5, "has lately stood still"),
    ],
)
def test_a_front_says_where_it_is_and_how_it_moves(days, weekdays, said):
    told = Why(own=80, front_on=D(2026, 5, 15), front_days_a_week=days).front_words(as_of=AS_OF, weekdays=weekdays)

    assert told == f"This utility serves in order of filing. It is now at requests sent in mid-May and {said}."


def test_no_front_is_said_where_none_is_seen():
    assert FULL.front_words(as_of=AS_OF) == ""


@pytest.mark.parametrize(
    ("day", "said"),
    [
        (D(2026, 5, 1), "early May"),
        (D(2026, 5, 10), "early May"),
        (D(2026, 5, 11), "mid-May"),
        (D(2026, 5, 20), "mid-May"),
        (D(2026, 5, 21), "late May"),
        (D(2025, 12, 31), "late December 2025"),
    ],
)
def test_a_part_of_a_month_is_rough_on_purpose(day, said):
    assert part_of_month(day, as_of=AS_OF) == said


def test_a_district_and_a_promise_are_said():
    assert Why(own=9, lent=3, district_factor=1.3).sentence.endswith("its district is served 1.3 times faster than the whole utility.")
    assert Why(own=9, lent=3, district_factor=0.8).sentence.endswith("its district is served 1.2 times slower than the whole utility.")
    assert Why(promise=(D(2026, 12, 2), D(2026, 12, 2))).promise_words == "It has promised to come on 2 December 2026."
    assert Why(promise=(D(2026, 12, 2), D(2026, 12, 4))).promise_words == "It has promised to come from 2 December 2026 to 4 December 2026."


def test_the_table_says_the_same_in_figures():
    assert FULL.rows(as_of=AS_OF) == [
        ("Own fittings on record", "31"),
        ("Of them counting today, faded by age", "30"),
        ("Borrowed from all utilities, worth", "12 requests"),
        ("Weight of its own history", "71 in 100"),
        ("Pace beside its past", "works 1.4 times slower"),
        ("Promises kept", "5 of 9"),
    ]
    front = replace(FULL, pace=None, front_on=D(2026, 5, 15), front_days_a_week=4.1, promises_made=0).rows(as_of=AS_OF)
    assert front[4:] == [
        ("Now at requests sent in", "mid-May"),
        ("In a week that front", "has lately moved 4 days"),
        ("Promises kept", "none has come due"),
    ]


def test_a_row_kept_before_these_were_known_reads_all_the_same():
    assert Why.from_kept({"own": 7, "borrowed": 0, "pooled": False, "thin": True}) == Why(own=7, thin=True)
    kept = {"own": 7, "front_on": "2026-05-15", "promise": ["2026-12-02", "2026-12-04"], "promises_kept": 3, "promises_made": 4}
    assert Why.from_kept(kept) == Why(
        own=7, front_on=D(2026, 5, 15), promise=(D(2026, 12, 2), D(2026, 12, 4)), promises_kept=3, promises_made=4
    )
