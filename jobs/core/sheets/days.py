"""Days as a sheet may write them, and whether its columns put the month or the day first. Pure.

day_order(cells)                  # "month", "day", "either" or "" where no cell says it in figures only
read_day("03/04/26", order="day")  # 3 April 2026
"""

import re
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Final, Literal

from jobs.core import words
from jobs.core.sheets.cells import Cell

Order = Literal["month", "day"]
ORDERS: Final[dict[Order, str]] = {"month": "month/day/year", "day": "day/month/year"}

# A day's serial number counts from the last day of 1899, because the first spreadsheets took 1900 for a leap year: right from
# 1 March 1900 on. Source: ECMA-376 part 1, section 18.17.4.1 (date base 1900 and 1904).
FROM_1900: Final = date(1899, 12, 30)
FROM_1904: Final = date(1904, 1, 1)
# What counts as a serial number: five digits from 1954 to 2119, so that no house number or amount becomes a day.
_FIRST_SERIAL, _LAST_SERIAL = 20_000, 80_000

_TIME: Final = r"(?:(?:T|\s+)[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?\s*(?:[ap]\.?\s?m\.?)?(?:Z|[+-][0-9]{2}:?[0-9]{2})?)?"
_WEEKDAY: Final = re.compile(r"(?:mon|tue|tues|wed|thu|thur|thurs|fri|sat|sun)(?:day|nesday|rsday|urday|sday)?\.?,?\s+", re.IGNORECASE)
_FIGURES: Final = re.compile(
    r"(?P<a>[0-9]{1,2})(?P<mark>[/.-])(?P<b>[0-9]{1,2})(?P=mark)(?P<year>[0-9]{4}|[0-9]{2})" + _TIME, re.IGNORECASE
)
_YEAR_FIRST: Final = re.compile(
    r"(?P<year>[0-9]{4})(?P<mark>[/.-]?)(?P<month>[0-9]{1,2})(?P=mark)(?P<day>[0-9]{1,2})" + _TIME, re.IGNORECASE
)
_SERIAL: Final = re.compile(r"([0-9]{5})(?:\.[0-9]+)?")
_NAMED: Final = re.compile(
    r"(?:(?P<day>[0-9]{1,2})(?:st|nd|rd|th)?[\s./-]+(?:de\s+)?(?P<month>[^\W\d]+)|(?P<month2>[^\W\d]+)[\s./-]+(?P<day2>[0-9]{1,2})(?:st|nd|rd|th)?)"
    r"[\s.,/-]+(?:del?\s+)?'?(?P<year>[0-9]{4}|[0-9]{2})" + _TIME,
    re.IGNORECASE,
)
_MONTHS: Final = {"ene": "Jan", "abr": "Apr", "ago": "Aug", "dic": "Dec", "setiembre": "Sep"} | {
    spanish: english[:3] for spanish, english in zip(words.MONTHS["es"], words.MONTHS["en"], strict=True)
}


def day_order(cells: Iterable[Cell]) -> tuple[Literal["month", "day", "either", ""], str]:
    """What the cells of a column that are written in figures only say together, and one of those that do not say it.

    "month" or "day" where some of them can be read one way only and none the other way; "either" where none decides, or where they
    contradict each other; "" where there is nothing to decide.
    """
    ways: set[str] = set()
    doubtful = ""
    for cell in cells:
        if isinstance(cell, date) or not (found := _FIGURES.fullmatch(cell.strip())):
            continue
        first, second = int(found["a"]), int(found["b"])
        if first > 12 >= second:
            ways.add("day")
        elif second > 12 >= first:
            ways.add("month")
        elif first != second:
            doubtful = doubtful or cell.strip()
    if not doubtful:
        # Each cell says it by itself, or both readings are the same day.
        return ("month" if "month" in ways else "day" if ways else ""), ""
    if len(ways) == 1:
        return ("month" if "month" in ways else "day"), doubtful
    return "either", doubtful


def read_day(cell: Cell, *, order: Order = "month", serials_from: date = FROM_1900) -> date:
    """A cell's day. Raises ValueError with a sentence."""
    if isinstance(cell, datetime):
        return cell.date()
    if isinstance(cell, date):
        return cell
    typed = " ".join(cell.replace("\u202f", " ").replace("\xa0", " ").split())
    if found := _SERIAL.fullmatch(typed):
        if _FIRST_SERIAL <= (serial := int(found[1])) <= _LAST_SERIAL:
            return serials_from + timedelta(days=serial)
        raise ValueError(f'"{typed}" is a number and not a day: a day such as 3 Jun 2026 is wanted.')
    typed = _WEEKDAY.sub("", typed, count=1) if _WEEKDAY.match(typed) else typed
    if (found := _YEAR_FIRST.fullmatch(typed)) and (found["mark"] or len(found["month"] + found["day"]) == 4):
        return words.parse_day(f"{found['year']}-{found['month'].zfill(2)}-{found['day'].zfill(2)}")
    if found := _FIGURES.fullmatch(typed):
        month, day = (found["a"], found["b"]) if order == "month" else (found["b"], found["a"])
        if int(month) > 12 >= int(day):
            raise ValueError(
                f'"{typed}" has a month {int(month)}, and the days of this column are read as {ORDERS[order]}: '
                'a day such as "18 Nov 2026" or "2026-11-18" is wanted.'
            )
        return words.parse_day(f"{month}/{day}/{found['year']}")
    if found := _NAMED.fullmatch(typed):
        month, day = found["month"] or found["month2"], found["day"] or found["day2"]
        year = found["year"] if len(found["year"]) == 4 else f"20{found['year']}"
        return words.parse_day(f"{day} {_MONTHS.get(month.lower(), month)} {year}")
    return words.parse_day(typed)
