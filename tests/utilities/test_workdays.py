from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from utilities.workdays import FEDERAL, FIRST_DAY, LAST_DAY, HolidayRule, WorkCalendar, date_of, day_number

SATURDAY = date(2026, 11, 28)
DAYS = st.dates(date(2024, 1, 1), date(2028, 1, 1))
CALENDARS = st.builds(
    lambda weekdays, rule, closed, opened: WorkCalendar("any", weekdays, rule, closed - opened, opened),
    st.frozensets(st.integers(0, 6), min_size=1),
    st.sampled_from(HolidayRule),
    st.frozensets(DAYS, max_size=12),
    st.frozensets(DAYS, max_size=12),
)


def test_a_utility_closes_and_opens_days_of_its_own():
    # Thanksgiving 2026 is Thursday 26 November; the crew works on the Saturday instead of the Friday.
    calendar = WorkCalendar("valley", closed=frozenset({date(2026, 11, 27)}), opened=frozenset({SATURDAY}))

    assert [day for day in range(23, 31) if calendar.is_worked(date(2026, 11, day))] == [23, 24, 25, 28, 30]
    assert calendar.nth_after(date(2026, 11, 25), 1) == SATURDAY
    assert calendar.elapsed(date(2026, 11, 25), date(2026, 11, 30)) == 2


def test_an_opened_day_is_worked_on_a_holiday():
    calendar = WorkCalendar("storm crew", opened=frozenset({date(2026, 12, 25)}))

    assert calendar.is_worked(date(2026, 12, 25))
    assert not FEDERAL.is_worked(date(2026, 12, 25))


def test_the_next_worked_day_may_be_the_day_itself():
    assert FEDERAL.next_worked(date(2026, 11, 25)) == date(2026, 11, 25)
    assert FEDERAL.next_worked(date(2026, 11, 26)) == date(2026, 11, 27)
    assert FEDERAL.next_worked(SATURDAY) == date(2026, 11, 30)
    assert WorkCalendar("always", frozenset(range(7)), HolidayRule.NONE).next_worked(FIRST_DAY) == FIRST_DAY


def test_the_days_of_a_stretch_come_with_both_ends():
    assert FEDERAL.worked_between(date(2026, 11, 25), date(2026, 11, 28)).tolist() == [True, False, True, False]


def test_a_day_and_its_number_are_the_same_day():
    assert day_number(date(1970, 1, 1)) == 0
    assert day_number(date(2000, 3, 1)) == 11_017  # Source: POSIX time 951,868,800 s / 86,400 s.
    assert date_of(11_017) == date(2000, 3, 1)


def test_calendars_of_the_same_days_are_equal_whatever_their_names():
    assert WorkCalendar("valley") == WorkCalendar("coast") == FEDERAL
    assert WorkCalendar("valley", closed=frozenset({SATURDAY})) != FEDERAL


@pytest.mark.parametrize(
    ("given_", "sentence"),
    [
        ({"weekdays": frozenset()}, "works on no weekday"),
        ({"weekdays": frozenset({7})}, "a weekday that does not exist"),
        ({"closed": frozenset({SATURDAY}), "opened": frozenset({SATURDAY})}, "2026-11-28 is both closed and opened"),
    ],
)
def test_a_calendar_that_contradicts_itself_is_refused(given_, sentence):
    with pytest.raises(ValueError, match=sentence):
        WorkCalendar("valley", **given_)


def test_what_the_calendars_do_not_reach_is_refused():
    with pytest.raises(ValueError, match="outside the calendars, which reach from 1970-01-01 to 2100-12-31"):
        FEDERAL.is_worked(date(1969, 12, 31))
    with pytest.raises(ValueError, match="outside the calendars"):
        FEDERAL.elapsed(date(2026, 1, 1), LAST_DAY + timedelta(days=1))
    with pytest.raises(ValueError, match="this count leads beyond it"):
        FEDERAL.nth_after(date(2100, 12, 1), 30)
    with pytest.raises(ValueError, match="Count from 1"):
        FEDERAL.nth_after(date(2026, 1, 1), 0)


def slow_is_worked(calendar, day):
    if day in calendar.opened:
        return True
    holiday = calendar.holidays is not HolidayRule.NONE and not WorkCalendar("-", frozenset(range(7)), calendar.holidays).is_worked(day)
    return day.weekday() in calendar.weekdays and not holiday and day not in calendar.closed


@given(CALENDARS, DAYS, st.integers(0, 40), st.integers(1, 15))
def test_counts_are_those_of_a_walk_day_by_day(calendar, day, length, n):
    end = day + timedelta(days=length)
    walk = [day + timedelta(days=step) for step in range(1, 400)]
    worked = [step for step in walk if slow_is_worked(calendar, step)]

    assert calendar.is_worked(day) == slow_is_worked(calendar, day)
    assert calendar.elapsed(day, end) == sum(step <= end for step in worked) == -calendar.elapsed(end, day)
    assert calendar.count(day, end) == sum(slow_is_worked(calendar, day + timedelta(days=step)) for step in range(length))
    assert calendar.nth_after(day, n) == worked[n - 1]
    assert calendar.next_worked(day) == (day if slow_is_worked(calendar, day) else worked[0])


@given(CALENDARS, DAYS, st.integers(1, 15))
def test_as_many_days_have_elapsed_on_the_nth_day_as_were_counted(calendar, day, n):
    assert calendar.elapsed(day, calendar.nth_after(day, n)) == n
