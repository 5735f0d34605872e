"""Weeks against ISO 8601. The row of the trade's table of check values is named at each."""

from datetime import date

import pytest

from utilities.weeks import first_day, week_of, weeks_from


# W1. Source: ISO 8601: week 1 is the week with the year's first Thursday.
@pytest.mark.parametrize(
    ("day", "expected"),
    [
        (date(2026, 1, 1), "2026-W01-4"),
        (date(2024, 12, 30), "2025-W01-1"),
        (date(2021, 1, 3), "2020-W53-7"),
        (date(2027, 1, 1), "2026-W53-5"),
        (date(2027, 1, 4), "2027-W01-1"),
        (date(2028, 12, 31), "2028-W52-7"),
    ],
)
def test_the_week_of_a_day(day, expected):
    assert f"{week_of(day)}-{day.isoweekday()}" == expected
    assert f"{day:%G-W%V-%u}" == expected


# W2. Source: ISO 8601: 28 December lies in the last week of its year.
def test_years_of_53_weeks_from_2015_to_2040():
    assert [year for year in range(2015, 2041) if week_of(date(year, 12, 28)) == f"{year}-W53"] == [2015, 2020, 2026, 2032, 2037]


# W3. Source: ISO 8601.
def test_thirteen_weeks_run_over_the_53rd_week_into_the_next_year():
    assert weeks_from(date(2026, 12, 15), 13) == [
        *("2026-W51", "2026-W52", "2026-W53"),
        *(f"2027-W{week:02d}" for week in range(1, 11)),
    ]


def test_a_week_begins_on_its_monday():
    assert first_day("2026-W53") == date(2026, 12, 28)
    assert first_day("2027-W01") == date(2027, 1, 4)


@pytest.mark.parametrize("label", ["2027-W53", "2026-W00"])
def test_a_week_that_its_year_does_not_have_is_refused(label):
    with pytest.raises(ValueError, match="does not exist"):
        first_day(label)


@pytest.mark.parametrize("label", ["", "2026W53", "2026-W5", "26-W05", "2026-W-1", "2026-12-28", "2026-W٠٥"])
def test_what_is_no_week_is_refused(label):
    with pytest.raises(ValueError, match="is not a week"):
        first_day(label)
