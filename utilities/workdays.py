"""Working days: of the federal government, of a utility, of a bank, of a right to cancel.

Pure. A day is a `datetime.date`; its number, where an array is wanted, counts days since 1970-01-01.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from functools import cache, lru_cache

import holidays
import numpy as np
import numpy.typing as npt

FIRST_DAY = date(1970, 1, 1)
LAST_DAY = date(2100, 12, 31)

MONDAY_TO_FRIDAY = frozenset(range(5))
MONDAY_TO_SATURDAY = frozenset(range(6))


class HolidayRule(StrEnum):
    """Which public holidays a calendar closes on, besides its own closures."""

    # 5 U.S.C. 6103(a) and (b), E.O. 11582: a Saturday holiday is observed on the Friday before, a Sunday holiday on the Monday after.
    FEDERAL = "federal"
    # The dates of 6103(a) themselves; an observed day is a business day.
    FEDERAL_DATES = "federal_dates"
    # Holiday schedule of the Federal Reserve Banks: a Saturday holiday is not moved, a Sunday holiday is observed on the Monday after.
    RESERVE_BANKS = "reserve_banks"
    NONE = "none"


@dataclass(frozen=True)
class WorkCalendar:
    """Which days are worked: some weekdays less holidays and closures, and single days opened besides.

    weekdays: 0 Monday to 6 Sunday. closed, opened: single days; an opened day is worked even on a holiday or a Sunday.
    Two calendars are equal when the same days are worked by the same rules, whatever their names.

    Raises ValueError if no weekday is worked, a weekday is not 0 to 6, or one day is both closed and opened.
    """

    name: str = field(compare=False)
    weekdays: frozenset[int] = MONDAY_TO_FRIDAY
    holidays: HolidayRule = HolidayRule.FEDERAL
    closed: frozenset[date] = frozenset()
    opened: frozenset[date] = frozenset()

    def __post_init__(self) -> None:
        if not self.weekdays:
            raise ValueError(f"The calendar {self.name} works on no weekday. Choose at least one.")
        if not self.weekdays <= frozenset(range(7)):
            raise ValueError(f"The calendar {self.name} names a weekday that does not exist. Weekdays are 0 (Monday) to 6 (Sunday).")
        if both := self.closed & self.opened:
            raise ValueError(f"{min(both)} is both closed and opened in the calendar {self.name}. Keep one of the two.")

    def is_worked(self, day: date) -> bool:
        return bool(_worked(self)[_number(day)])

    def nth_after(self, day: date, n: int) -> date:
        """The n-th worked day after `day`, which is not counted itself.

        From a closed day the count starts at the next worked day: the first after a Saturday is the Monday. (That is numpy's
        roll="backward"; roll="forward" is a day late there.)
        """
        if n < 1:
            raise ValueError(f"The {n}th working day after a day does not exist. Count from 1.")
        return self._nth(int(_running(self)[_number(day)]) + n)

    def next_worked(self, day: date) -> date:
        """`day` itself if it is worked, else the first worked day after it."""
        return self._nth(int(_running(self)[_number(day - timedelta(days=1))]) + 1 if day > FIRST_DAY else 1)

    def elapsed(self, after: date, upto: date) -> int:
        """Worked days in (after, upto]; negative when `upto` comes first."""
        running = _running(self)
        return int(running[_number(upto)]) - int(running[_number(after)])

    def count(self, first: date, end: date) -> int:
        """Worked days in [first, end), as numpy.busday_count."""
        return self.elapsed(first, end) + self.is_worked(first) - self.is_worked(end)

    def worked_between(self, first: date, last: date) -> npt.NDArray[np.bool_]:
        """(days,) whether each day from `first` to `last`, both included, is worked. Read-only."""
        return _worked(self)[_number(first) : _number(last) + 1]

    def _nth(self, count: int) -> date:
        days = _days(self)
        if count > days.size:
            raise ValueError(f"The calendar {self.name} is known up to {LAST_DAY}; this count leads beyond it. Ask for fewer days.")
        return date_of(days[count - 1])


def day_number(day: date) -> int:
    """Days since 1970-01-01."""
    return (day - FIRST_DAY).days


def date_of(number: int | np.integer) -> date:
    return FIRST_DAY + timedelta(days=int(number))


FEDERAL = WorkCalendar("federal")
RESERVE_BANKS = WorkCalendar("Federal Reserve Banks", holidays=HolidayRule.RESERVE_BANKS)

# 12 CFR 1026.2(a)(6), for the right of rescission: all days but Sundays and the dates of 5 U.S.C. 6103(a); comment 2(a)(6)-2: an
# observed day counts as a business day.
RESCISSION = WorkCalendar("Regulation Z rescission", weekdays=MONDAY_TO_SATURDAY, holidays=HolidayRule.FEDERAL_DATES)

# 16 CFR 429.0: all days but Sundays and federal holidays. It does not say which day counts when a holiday is observed on another one:
# both are left out here, so that the homeowner's three days to cancel are never counted short.
COOLING_OFF = WorkCalendar("FTC cooling-off", weekdays=MONDAY_TO_SATURDAY, holidays=HolidayRule.FEDERAL)


def _number(day: date) -> int:
    if not FIRST_DAY <= day <= LAST_DAY:
        raise ValueError(f"{day} is outside the calendars, which reach from {FIRST_DAY} to {LAST_DAY}.")
    return day_number(day)


@cache
def _holidays(rule: HolidayRule) -> npt.NDArray[np.datetime64]:
    # All years at once: New Year's Day observed on 31 December stands in the list of the year before.
    years = range(FIRST_DAY.year, LAST_DAY.year + 1)
    if rule is HolidayRule.NONE:
        days: list[date] = []
    elif rule is HolidayRule.RESERVE_BANKS:
        days = sorted(holidays.financial_holidays("FED", years=years))
    else:
        days = sorted(holidays.country_holidays("US", years=years, observed=rule is HolidayRule.FEDERAL))
    return np.array(days, dtype="datetime64[D]")


# Each calendar takes about 0.4 MB here; a page shows few of them, and a forecast of all utilities reads each one once.
@lru_cache(maxsize=64)
def _worked(calendar: WorkCalendar) -> npt.NDArray[np.bool_]:
    every_day = np.arange(np.datetime64(FIRST_DAY), np.datetime64(LAST_DAY) + 1)
    rule = np.busdaycalendar([weekday in calendar.weekdays for weekday in range(7)], _holidays(calendar.holidays))
    worked = np.is_busday(every_day, busdaycal=rule)
    worked[[_number(day) for day in calendar.closed]] = False
    worked[[_number(day) for day in calendar.opened]] = True
    worked.setflags(write=False)
    return worked


@lru_cache(maxsize=64)
def _running(calendar: WorkCalendar) -> npt.NDArray[np.int32]:
    return np.cumsum(_worked(calendar), dtype=np.int32)


@lru_cache(maxsize=64)
def _days(calendar: WorkCalendar) -> npt.NDArray[np.intp]:
    return np.flatnonzero(_worked(calendar))
