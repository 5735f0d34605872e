"""Holidays and business days against the statutes, and against numpy. The row of the trade's table of check values is named at each."""

from datetime import date, timedelta

import holidays
import numpy as np
import pytest

from utilities.workdays import COOLING_OFF, FEDERAL, RESCISSION, RESERVE_BANKS, HolidayRule, WorkCalendar

WEEKDAYS = WorkCalendar("weekdays", holidays=HolidayRule.NONE)


def weekdays_off(calendar, first, end):
    days = [first + timedelta(days=n) for n in range((end - first).days)]
    return [day for day in days if day.weekday() < 5 and not calendar.is_worked(day)]


def off_in(year):
    return [(day.month, day.day) for day in weekdays_off(FEDERAL, date(year, 1, 1), date(year + 1, 1, 1))]


# H1. Source: 5 U.S.C. 6103(a); 4 July 2026 is a Saturday, observed on the Friday before: 6103(b).
def test_federal_days_off_in_2026():
    assert off_in(2026) == [(1, 1), (1, 19), (2, 16), (5, 25), (6, 19), (7, 3), (9, 7), (10, 12), (11, 11), (11, 26), (12, 25)]


# H2. Source: 5 U.S.C. 6103(a), (b); 4 July 2027 is a Sunday, observed on the Monday after: E.O. 11582.
def test_federal_days_off_in_2027_hold_two_new_years_days():
    assert off_in(2027) == [(1, 1), (1, 18), (2, 15), (5, 31), (6, 18), (7, 5), (9, 6), (10, 11), (11, 11), (11, 25), (12, 24), (12, 31)]


# H3. Source: 5 U.S.C. 6103(b): 1 January 2022 is a Saturday. The library lists the day in 2021.
def test_new_years_day_observed_on_31_december_belongs_to_the_year_before():
    assert not FEDERAL.is_worked(date(2021, 12, 31))
    assert date(2021, 12, 31) in holidays.country_holidays("US", years=[2021]).keys()  # noqa: SIM118 - `in` alone loads other years
    assert date(2021, 12, 31) not in holidays.country_holidays("US", years=[2022]).keys()  # noqa: SIM118


# H4. Source: 5 U.S.C. 6103(a): Juneteenth 2022 is a Sunday; E.O. 11582.
def test_juneteenth_2022_is_observed_on_monday_the_twentieth():
    assert not FEDERAL.is_worked(date(2022, 6, 20))


# H5. Source: Pub. L. 117-17, in force from 17 June 2021.
def test_juneteenth_is_no_holiday_before_its_law():
    assert FEDERAL.is_worked(date(2020, 6, 19))


# H6. Source: holiday schedule of the Federal Reserve Banks: a holiday on a Saturday is not moved.
def test_reserve_banks_are_open_on_friday_3_july_2026_and_the_federal_government_is_not():
    assert RESERVE_BANKS.is_worked(date(2026, 7, 3))
    assert not FEDERAL.is_worked(date(2026, 7, 3))


# H7. Source: the same schedule: a holiday on a Sunday is moved to the Monday; E.O. 11582.
def test_both_are_closed_on_monday_5_july_2027():
    assert not RESERVE_BANKS.is_worked(date(2027, 7, 5))
    assert not FEDERAL.is_worked(date(2027, 7, 5))


# H8. Source: the same schedule, and 5 U.S.C. 6103(b).
def test_days_from_2021_to_2028_that_are_federal_days_off_with_the_reserve_banks_open():
    off = weekdays_off(FEDERAL, date(2021, 1, 1), date(2029, 1, 1))

    assert [str(day) for day in off if RESERVE_BANKS.is_worked(day)] == [
        "2021-06-18",
        "2021-12-24",
        "2021-12-31",
        "2023-11-10",
        "2026-07-03",
        "2027-06-18",
        "2027-12-24",
        "2027-12-31",
        "2028-11-10",
    ]
    assert not [day for day in weekdays_off(RESERVE_BANKS, date(2021, 1, 1), date(2029, 1, 1)) if FEDERAL.is_worked(day)]


# H9. Source: 5 U.S.C. 6103(a): the fourth Thursday in November.
def test_thanksgiving_2028_is_23_november():
    assert not FEDERAL.is_worked(date(2028, 11, 23))
    assert FEDERAL.is_worked(date(2028, 11, 16))
    assert FEDERAL.is_worked(date(2028, 11, 30))


# B1-B6. Source: numpy.busday_count with the days off of H1, H2; by hand B4: 21 weekdays less Veterans Day and Thanksgiving.
@pytest.mark.parametrize(
    ("first", "end", "weekdays", "federal"),
    [
        pytest.param(date(2026, 1, 1), date(2027, 1, 1), 261, 250, id="B1"),
        pytest.param(date(2027, 1, 1), date(2028, 1, 1), 261, 249, id="B2"),
        pytest.param(date(2024, 1, 1), date(2025, 1, 1), 262, 251, id="B3"),
        pytest.param(date(2026, 11, 1), date(2026, 12, 1), 21, 19, id="B4"),
        pytest.param(date(2027, 12, 1), date(2028, 1, 1), 23, 21, id="B5"),
        pytest.param(date(2025, 12, 22), date(2026, 1, 5), 10, 8, id="B6"),
    ],
)
def test_business_days_of_a_stretch(first, end, weekdays, federal):
    assert (WEEKDAYS.count(first, end), FEDERAL.count(first, end)) == (weekdays, federal)
    assert np.busday_count(first, end) == weekdays


# B7-B11, B16-B18. Source: numpy.busday_offset(..., roll="backward"); and the rule named.
@pytest.mark.parametrize(
    ("day", "n", "expected"),
    [
        pytest.param(date(2026, 6, 30), 3, date(2026, 7, 6), id="B7"),
        pytest.param(date(2026, 7, 1), 10, date(2026, 7, 16), id="B8"),
        pytest.param(date(2025, 12, 22), 10, date(2026, 1, 7), id="B9"),
        pytest.param(date(2026, 1, 2), 30, date(2026, 2, 17), id="B10"),
        pytest.param(date(2026, 7, 4), 1, date(2026, 7, 6), id="B11"),
        pytest.param(date(2026, 3, 2), 5, date(2026, 3, 9), id="B16-complete-COMAR-20.50.09.09"),
        pytest.param(date(2026, 3, 2), 20, date(2026, 3, 30), id="B16-review-COMAR-20.50.09.09"),
        pytest.param(date(2026, 10, 1), 30, date(2026, 11, 16), id="B17-C.R.S.-40-2-135"),
        pytest.param(date(2026, 12, 21), 3, date(2026, 12, 24), id="B18-FERC-SGIP-3"),
        pytest.param(date(2026, 12, 21), 10, date(2027, 1, 6), id="B18-FERC-SGIP-10"),
    ],
)
def test_nth_federal_business_day_after_a_day(day, n, expected):
    off = weekdays_off(FEDERAL, date(2025, 1, 1), date(2028, 1, 1))

    assert FEDERAL.nth_after(day, n) == expected
    assert np.busday_offset(day, n, roll="backward", holidays=off) == expected


# B11. Rolled forward first, the Saturday's Monday is taken for day 0: a day late.
def test_rolling_forward_from_a_closed_day_is_a_day_late():
    off = weekdays_off(FEDERAL, date(2026, 1, 1), date(2027, 1, 1))

    assert np.busday_offset(date(2026, 7, 4), 1, roll="forward", holidays=off) == date(2026, 7, 7)


# B12. Source: numpy.busday_count(d + 1, e + 1).
def test_elapsed_business_days_leave_out_the_first_day_and_count_the_last():
    after, upto = date(2026, 6, 26), date(2026, 7, 10)

    assert FEDERAL.elapsed(after, upto) == 9
    assert (upto - after).days == 14
    assert np.busday_count(date(2026, 6, 27), date(2026, 7, 11), holidays=[date(2026, 7, 3)]) == 9


# B13-B15. Source: 12 CFR 1026.2(a)(6) and comment 2(a)(6)-2: all days but Sundays and the dates of 5 U.S.C. 6103(a) themselves.
@pytest.mark.parametrize(
    ("day", "expected"),
    [
        pytest.param(date(2026, 7, 1), date(2026, 7, 6), id="B13"),  # Thu 2, Fri 3, not Sat 4 nor Sun 5, Mon 6
        pytest.param(date(2021, 7, 2), date(2021, 7, 6), id="B14"),  # Sat 3, not Sun 4, Mon 5 (observed), Tue 6
        pytest.param(date(2026, 11, 25), date(2026, 11, 30), id="B15"),  # not Thu 26, Fri 27, Sat 28, not Sun 29, Mon 30
    ],
)
def test_rescission_ends_three_business_days_after(day, expected):
    assert RESCISSION.nth_after(day, 3) == expected


# Source: 16 CFR 429.0: Saturdays count, Sundays and federal holidays do not.
def test_cooling_off_counts_saturdays():
    assert COOLING_OFF.nth_after(date(2026, 9, 3), 3) == date(2026, 9, 8)  # Fri 4, Sat 5, not Sun 6 nor Labor Day, Tue 8


# O1. Source: 47 CFR 64.1200(a)(10): within ten business days; numpy. The outbox honours an opt-out at once; this is the last day it might.
@pytest.mark.parametrize(
    ("asked", "last"),
    [
        (date(2026, 6, 26), date(2026, 7, 13)),
        (date(2026, 6, 27), date(2026, 7, 13)),
        (date(2026, 12, 18), date(2027, 1, 5)),
        (date(2026, 11, 13), date(2026, 11, 30)),
    ],
)
def test_the_last_day_to_honour_an_opt_out_is_ten_business_days_on(asked, last):
    off = weekdays_off(FEDERAL, date(2026, 1, 1), date(2028, 1, 1))
    assert FEDERAL.nth_after(asked, 10) == last
    assert np.busday_offset(np.datetime64(asked), 10, roll="backward", holidays=np.array(off, dtype="datetime64[D]")) == np.datetime64(last)
