"""Weeks as ISO 8601 counts them: Monday to Sunday, and the week belongs to the year that holds its Thursday.

2027-01-01 is a day of 2026-W53, so a label is never made of the calendar year and a week number apart.
"""

from __future__ import annotations

from datetime import date, timedelta


def week_of(day: date) -> str:
    """The label of the week that holds `day`, such as "2026-W53"."""
    year, week, _ = day.isocalendar()
    return f"{year:04d}-W{week:02d}"


def first_day(label: str) -> date:
    """The Monday of the week with this label.

    Raises ValueError if it is no label of a week, or the year has no such week.
    """
    year, mark, week = label.partition("-W")
    if not (mark and len(year) == 4 and len(week) == 2 and year.isascii() and week.isascii() and year.isdigit() and week.isdigit()):
        raise ValueError(f"{label!r} is not a week. Write it as 2026-W53.")
    try:
        return date.fromisocalendar(int(year), int(week), 1)
    except ValueError:
        raise ValueError(f"{label!r} does not exist: a year has 52 weeks, some have 53.") from None


def weeks_from(day: date, n: int) -> list[str]:
    """The labels of `n` weeks in a row, beginning with the week of `day`."""
    return [week_of(day + timedelta(weeks=ahead)) for ahead in range(n)]
