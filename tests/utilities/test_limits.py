"""Limits that utilities publish, counted on the utility's own calendar. Values from TRADE.md 2.17 and section 3, each with its source."""

import datetime as dt
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from utilities.limits import Known, due_on, standings
from utilities.terms import Limit
from utilities.workdays import FEDERAL, RESERVE_BANKS, HolidayRule, WorkCalendar

EVER = date(2020, 1, 1)
FEDERAL_KNOWN = [Known(EVER, FEDERAL)]


def of(limits, *, begun, today, met=None, known=None):
    return standings(limits, begun=begun, met=met or {}, known=known or FEDERAL_KNOWN, today=today, name="federal")


def test_maryland_level_1_is_complete_in_5_and_reviewed_in_15_business_days():
    # B16: Code of Maryland Regulations 20.50.09.09 (Level 1), from receipt on Monday 2 March 2026: 9 March, then 30 March.
    comar = [Limit("review", "COMAR 20.50.09.09", days=15, begins="complete"), Limit("complete", "COMAR 20.50.09.09", days=5)]

    complete, review = of(comar, begun={"received": date(2026, 3, 2)}, today=date(2026, 4, 2))

    assert (complete.due_on, review.due_on) == (date(2026, 3, 9), date(2026, 3, 30))
    assert (review.assumed, review.begun_on) == (True, date(2026, 3, 9))
    assert (complete.over, review.over) == (18, 3)  # weekdays of 10 March to 2 April; of 31 March to 2 April
    assert review.over_words == "3 business days over"


def test_mississippi_level_1_allows_10_and_then_15_business_days():
    # 39 Miss. Admin. Code Pt. 4-I-5-102 (Level 1); the days counted on the calendar of 2026: Juneteenth and 3 July are federal days off.
    rule = "39 Miss. Admin. Code Pt. 4-I-5-102"
    limits = [Limit("complete", rule, days=10), Limit("review", rule, days=15, begins="complete")]

    complete, review = of(limits, begun={"received": date(2026, 6, 8), "complete": date(2026, 6, 17)}, met={"complete": date(2026, 6, 17)},
                          today=date(2026, 7, 9))  # fmt: skip

    # June: 9 10 11 12 15 16 17 18 22 23. From 17 June: 18 22 23 24 25 26 29 30, July: 1 2 6 7 8 9 10.
    assert (complete.due_on, complete.over) == (date(2026, 6, 23), 0)
    assert (review.due_on, review.assumed, review.over) == (date(2026, 7, 10), False, 0)


def test_colorado_connects_within_30_business_days_of_the_fee():
    # B17: Colo. Rev. Stat. 40-2-135, 30 business days from 1 October 2026: 16 November 2026.
    (one,) = of([Limit("agreement", "C.R.S. 40-2-135", days=30, begins="fee")], begun={"fee": date(2026, 10, 1)}, today=date(2026, 11, 16))
    assert (one.due_on, one.over) == (date(2026, 11, 16), 0)


def test_the_acknowledgement_and_completeness_of_the_10_kw_process_skip_christmas():
    # B18: numbers of the FERC Small Generator Interconnection Procedures (from memory there), 3 and 10 after 21 December 2026.
    known = FEDERAL_KNOWN
    assert due_on(date(2026, 12, 21), days=3, known=known) == date(2026, 12, 24)
    assert due_on(date(2026, 12, 21), days=10, known=known) == date(2027, 1, 6)


@pytest.mark.parametrize(
    ("day", "federal", "banks"),
    [
        # H1, H6: 5 U.S.C. 6103(b), a Saturday holiday is observed the Friday before; the Reserve Banks stay open (their schedule).
        (date(2026, 7, 3), False, True),
        (date(2027, 7, 5), False, False),  # H2, H7: Sunday 4 July, the Monday after, in both
        (date(2027, 6, 18), False, True),  # H2, H8
        (date(2027, 12, 31), False, True),  # H2, H3: New Year of the next year, observed in this one
        (date(2021, 12, 31), False, True),  # H3
        (date(2022, 6, 20), False, False),  # H4: Juneteenth observed
        (date(2020, 6, 19), True, True),  # H5: no holiday before Pub. L. 117-17
        (date(2028, 11, 23), False, False),  # H9: fourth Thursday
    ],
)
def test_two_calendars_differ_where_their_sources_do(day, federal, banks):
    assert (FEDERAL.is_worked(day), RESERVE_BANKS.is_worked(day)) == (federal, banks)


def test_the_federal_weekdays_off_and_those_on_which_banks_work_are_the_published_ones():
    weekdays = [day for day in np.arange("2021-01-01", "2029-01-01", dtype="datetime64[D]").tolist() if day.weekday() < 5]
    off = [day for day in weekdays if not FEDERAL.is_worked(day)]
    # H1, 5 U.S.C. 6103 and the library `holidays`.
    assert [f"{day:%m-%d}" for day in off if day.year == 2026] == (
        ["01-01", "01-19", "02-16", "05-25", "06-19", "07-03", "09-07", "10-12", "11-11", "11-26", "12-25"]
    )
    # H8.
    assert [day.isoformat() for day in off if RESERVE_BANKS.is_worked(day)] == (
        ["2021-06-18", "2021-12-24", "2021-12-31", "2023-11-10", "2026-07-03", "2027-06-18", "2027-12-24", "2027-12-31", "2028-11-10"]
    )


def test_a_closure_entered_later_moves_a_due_day_to_come_and_none_already_past():
    # Ten business days from Monday 2 November 2026: 3 4 5 6 9 10, then 12 13 16 17 (the 11th is Veterans Day).
    week = frozenset(dt.date(2026, 11, day) for day in (12, 13))
    before, after = Known(EVER, FEDERAL), WorkCalendar("utility", closed=week)

    assert due_on(date(2026, 11, 2), days=10, known=[before]) == date(2026, 11, 17)
    # Known on the day it is due or earlier: two days later. Known on the 18th: the day had passed.
    assert due_on(date(2026, 11, 2), days=10, known=[before, Known(date(2026, 11, 9), after)]) == date(2026, 11, 19)
    assert due_on(date(2026, 11, 2), days=10, known=[before, Known(date(2026, 11, 17), after)]) == date(2026, 11, 19)
    assert due_on(date(2026, 11, 2), days=10, known=[before, Known(date(2026, 11, 18), after)]) == date(2026, 11, 17)


CLOSED = st.frozensets(st.dates(date(2026, 1, 1), date(2026, 12, 31)), max_size=20)


@settings(max_examples=40, deadline=None)
@given(CLOSED, CLOSED, st.dates(date(2026, 2, 1), date(2026, 10, 31)), st.integers(1, 40), st.integers(-40, 90))
def test_due_days_with_closures_are_numpys_and_never_change_once_past(first, second, begun, days, later):
    def by_numpy(closed):
        off = [day for day in holidays_of_2026() if day not in closed] + sorted(closed)
        return np.busday_offset(np.datetime64(begun), days, roll="backward", holidays=np.array(off, "datetime64[D]")).item()

    known_on = begun + dt.timedelta(days=later)
    old, new = WorkCalendar("old", closed=first), WorkCalendar("new", closed=second)
    due = due_on(begun, days=days, known=[Known(EVER, old), Known(known_on, new)])

    assert due_on(begun, days=days, known=[Known(EVER, old)]) == by_numpy(first)
    if known_on <= begun or by_numpy(first) >= known_on:
        assert due == by_numpy(second)
    else:
        assert due == by_numpy(first)


def holidays_of_2026():
    every = np.arange("2026-01-01", "2028-01-01", dtype="datetime64[D]").tolist()
    return [day for day in every if day.weekday() < 5 and not FEDERAL.is_worked(day)]


def test_what_cannot_be_counted_says_what_is_missing_and_calendar_days_stay_calendar_days():
    limits = [
        Limit("connect", "its tariff", days=20, begins="built"),
        Limit("visit", "its web page", words="as soon as crews allow"),
        Limit("acknowledge", "its tariff", days=10, counts="calendar"),
    ]
    known = [Known(EVER, WorkCalendar("utility", holidays=HolidayRule.NONE))]

    told, connect, visit = of(limits, begun={"received": date(2026, 3, 2)}, today=date(2026, 3, 15), known=known)

    assert (told.due_on, told.over, told.over_words, told.calendar) == (date(2026, 3, 12), 3, "3 days over", "all days of the calendar")
    assert (connect.due_on, connect.why) == (None, "the day the system was commissioned is not on record")
    assert (visit.due_on, visit.why, visit.limit.sentence) == (None, "it names no number of days", "as soon as crews allow")
    with pytest.raises(ValueError, match="needs a calendar"):
        due_on(date(2026, 3, 2), days=5, known=[])
