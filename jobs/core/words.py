"""Days, times, money, numbers and ranges in words: for the office in English, for homeowners in English and Spanish.

Days are never all in digits, and no word depends on the locale of the machine. Month and weekday names are those of
the Unicode CLDR; the tests compare them with Babel's.
"""

import re
from collections.abc import Sequence
from datetime import date, datetime, time
from typing import Final, Literal

from jobs.core import money

Lang = Literal["en", "es"]

NARROW: Final = "\u202f"  # narrow no-break space, between a number and its unit
EN_DASH: Final = "\u2013"
MINUS: Final = "\u2212"

_MONTHS_EN = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"]
_MONTHS_ES = ["enero", "febrero", "marzo", "abril", "mayo", "junio", "julio", "agosto", "septiembre", "octubre", "noviembre", "diciembre"]
MONTHS: Final[dict[Lang, list[str]]] = {"en": _MONTHS_EN, "es": _MONTHS_ES}
_WEEKDAYS_EN = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]
_WEEKDAYS_ES = ["lunes", "martes", "miércoles", "jueves", "viernes", "sábado", "domingo"]
_SMALL = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"]
_TWO_WEEKS = 14

# The zones of the United States and its territories (IANA tz database, zone.tab, read 2026-11-25) and the names people
# there call them by. Arizona keeps Mountain Standard Time all year: "Mountain Time" would be an hour wrong in summer.
_ZONE_WORDS: Final[dict[str, tuple[str, str]]] = {
    "Eastern": ("Eastern Time", "hora del Este"),
    "Central": ("Central Time", "hora del Centro"),
    "Mountain": ("Mountain Time", "hora de la Montaña"),
    "Arizona": ("Arizona Time", "hora de Arizona"),
    "Pacific": ("Pacific Time", "hora del Pacífico"),
    "Alaska": ("Alaska Time", "hora de Alaska"),
    "Hawaii": ("Hawaii Time", "hora de Hawái"),
    "Aleutian": ("Hawaii-Aleutian Time", "hora de Hawái y Aleutianas"),
    "Atlantic": ("Atlantic Time", "hora del Atlántico"),
    "Chamorro": ("Chamorro Time", "hora de Chamorro"),
    "Samoa": ("Samoa Time", "hora de Samoa"),
}
_ZONES_OF: Final[dict[str, str]] = {
    "Eastern": "America/New_York America/Detroit America/Kentucky/Louisville America/Kentucky/Monticello "
    "America/Indiana/Indianapolis America/Indiana/Vincennes America/Indiana/Winamac America/Indiana/Marengo "
    "America/Indiana/Petersburg America/Indiana/Vevay US/Eastern US/Michigan US/East-Indiana",
    "Central": "America/Chicago America/Indiana/Tell_City America/Indiana/Knox America/Menominee "
    "America/North_Dakota/Center America/North_Dakota/New_Salem America/North_Dakota/Beulah US/Central US/Indiana-Starke",
    "Mountain": "America/Denver America/Boise US/Mountain",
    "Arizona": "America/Phoenix US/Arizona",
    "Pacific": "America/Los_Angeles US/Pacific",
    "Alaska": "America/Anchorage America/Juneau America/Sitka America/Metlakatla America/Yakutat America/Nome US/Alaska",
    "Hawaii": "Pacific/Honolulu US/Hawaii",
    "Aleutian": "America/Adak US/Aleutian",
    "Atlantic": "America/Puerto_Rico America/St_Thomas",
    "Chamorro": "Pacific/Guam Pacific/Saipan",
    "Samoa": "Pacific/Pago_Pago US/Samoa",
}
_ZONES: Final = {zone: name for name, zones in _ZONES_OF.items() for zone in zones.split()}
HOME_ZONES: Final = tuple(_ZONES)


# Days


def day(d: date) -> str:
    """For sentences in the office: "3 June 2026"."""
    return f"{d.day} {_MONTHS_EN[d.month - 1]} {d.year}"


def day_short(d: date, *, today: date) -> str:
    """For tables in the office: "Thu 12 Nov" within two weeks of today either way, else "3 Jun 2026"."""
    if abs((d - today).days) <= _TWO_WEEKS:
        return f"{_WEEKDAYS_EN[d.weekday()][:3]} {_day_month(d, short=True)}"
    return f"{_day_month(d, short=True)} {d.year}"


def day_long_home(d: date, *, lang: Lang) -> str:
    """For homeowners: "Thursday, November 19", "jueves 19 de noviembre"."""
    if lang == "es":
        return f"{_WEEKDAYS_ES[d.weekday()]} {d.day} de {_MONTHS_ES[d.month - 1]}"
    return f"{_WEEKDAYS_EN[d.weekday()]}, {_MONTHS_EN[d.month - 1]} {d.day}"


def bracket(after: date | None, by: date, *, today: date | None = None) -> str:
    """A day known only as (after, by], in words: "between 9 and 12 November".

    after: the last day it was known not to have happened; None if nothing is known before.
    by: the first day it was known to have happened. Never the middle. If `by` is the day after `after`, the day is known.

    The year is said when it is not today's.
    """
    if after is None:
        return f"by {_with_year(by, today=today)}"
    _refuse_empty(after, by)
    if (by - after).days == 1:
        return f"on {_with_year(by, today=today)}"
    if after.year != by.year:
        return f"between {day(after)} and {day(by)}"
    first = str(after.day) if after.month == by.month else _day_month(after)
    return f"between {first} and {_with_year(by, today=today)}"


def bracket_short(after: date | None, by: date, *, today: date | None = None) -> str:
    """The same for a table: "9\u201312 Nov", over a month's end "28 Oct to 3 Nov"."""
    if after is None:
        return f"by {_with_year(by, today=today, short=True)}"
    _refuse_empty(after, by)
    if (by - after).days == 1:
        return _with_year(by, today=today, short=True)
    return _days_to(after, by, today=today)


def days_short(first: date, last: date, *, today: date) -> str:
    """Some days on end, for a table: "12\u201314 Dec", over a month's end "28 Oct to 3 Nov", a single one "Thu 12 Nov"."""
    return day_short(first, today=today) if first == last else _days_to(first, last, today=today)


def _days_to(first: date, last: date, *, today: date | None) -> str:
    if first.year != last.year:
        return f"{_day_month(first, short=True)} {first.year} to {_day_month(last, short=True)} {last.year}"
    if first.month == last.month:
        return f"{first.day}{EN_DASH}{_with_year(last, today=today, short=True)}"
    return f"{_day_month(first, short=True)} to {_with_year(last, today=today, short=True)}"


def parse_day(text: str) -> date:
    """A typed day: "18 Nov 2026", "November 18, 2026", "11/18/26" and "11/18/2026" (month/day/year), "2026-11-18".

    Two digits of a year are of this century. Raises ValueError with a sentence for anything else.
    """
    typed = " ".join(text.replace(",", " ").split())
    for pattern in _TYPED_DAYS:
        if found := pattern.fullmatch(typed):
            break
    else:
        raise ValueError(f"{_quoted(typed)} is not a day. {_DAY_WANTED}")
    month = _month_number(found["month"])
    if month is None:
        raise ValueError(f'"{typed}" has no month we know. {_DAY_WANTED}')
    if not 1 <= month <= 12:
        raise ValueError(f'"{typed}" has a month {month}. Days typed with strokes are month/day/year. {_DAY_WANTED}')
    year = int(found["year"]) + (2000 if len(found["year"]) == 2 else 0)
    if not 1900 <= year <= 2199:
        raise ValueError(f'"{typed}" is in the year {year}. A year from 1900 to 2199 is wanted.')
    try:
        return date(year, month, int(found["day"]))
    except ValueError:
        raise ValueError(f'"{typed}" is not in the calendar: {_MONTHS_EN[month - 1]} {year} has no day {int(found["day"])}.') from None


_DAY_WANTED = 'Write it like "18 Nov 2026", "11/18/2026" (month/day/year) or "2026-11-18".'
_TYPED_DAYS = (
    re.compile(r"(?P<year>[0-9]{4})-(?P<month>[0-9]{2})-(?P<day>[0-9]{2})"),
    re.compile(r"(?P<month>[0-9]{1,2})/(?P<day>[0-9]{1,2})/(?P<year>[0-9]{2}|[0-9]{4})"),
    re.compile(r"(?P<day>[0-9]{1,2}) (?P<month>[A-Za-z]+)\.? (?P<year>[0-9]{4})"),
    re.compile(r"(?P<month>[A-Za-z]+)\.? (?P<day>[0-9]{1,2}) (?P<year>[0-9]{4})"),
)


# Times


def time_office(t: time | datetime, *, seconds: bool = False) -> str:
    """For the office: "14:30"; with seconds on the call only. A datetime must already be in the zone meant."""
    return f"{t.hour:02d}:{t.minute:02d}" + (f":{t.second:02d}" if seconds else "")


def time_zone_office(at: datetime) -> str:
    """Written out for the office: "14:30 MST". `at` must be aware and in the site's zone."""
    if at.tzinfo is None:
        raise ValueError("A time with its zone is wanted: this one has no zone.")
    return f"{time_office(at)} {at.tzname()}"


def zone_words(zone: str, *, lang: Lang) -> str:
    """What people at the home call their zone: America/Denver is "Mountain Time", "hora de la Montaña"."""
    try:
        english, spanish = _ZONE_WORDS[_ZONES[zone]]
    except KeyError:
        raise ValueError(f'"{zone}" is not a time zone of the United States or its territories, such as America/Denver.') from None
    return spanish if lang == "es" else english


def time_home(t: time | datetime, *, zone_words: str, lang: Lang) -> str:
    """For homeowners: "5:30 p.m. Mountain Time", "5:30 p. m., hora de la Montaña"."""
    hour = t.hour % 12 or 12
    if lang == "es":
        return f"{hour}:{t.minute:02d} {'a. m.' if t.hour < 12 else 'p. m.'}, {zone_words}"
    return f"{hour}:{t.minute:02d} {'a.m.' if t.hour < 12 else 'p.m.'} {zone_words}"


# Money, numbers, ranges


def money_home(amount_minor: int, *, lang: Lang, currency: str | None = None) -> str:
    """For homeowners: "$8,640.00". Spanish in the United States writes it the same way (CLDR es-US)."""
    return money.shown(amount_minor, currency=currency)


def money_about(expected_minor: int, *, low_minor: int, high_minor: int, currency: str | None = None) -> str:
    """Expected money, rounded to thousands: "about $131,000 ($96,000 to $160,000)"."""
    middle, low, high = (money.shown_whole(m, currency=currency, step=1000) for m in (expected_minor, low_minor, high_minor))
    return f"about {middle} ({low} to {high})"


def about(expected: float, *, low: float, high: float, noun: str) -> str:
    """An expected number with its range: "about 82 collars (60 to 107)"."""
    middle = round(expected)
    return f"about {number(middle)} {noun if middle == 1 else plural(noun)} ({number(round(low))} to {number(round(high))})"


def in_hundred(share: float) -> str:
    """A probability from 0 to 1: "8 in 100", below one in a hundred "fewer than 1 in 100"."""
    if not 0 <= share <= 1:
        raise ValueError(f"A probability lies between 0 and 1: {share}.")
    if share < 0.01:
        return "fewer than 1 in 100"
    if 0.99 < share < 1:
        return "more than 99 in 100"
    return f"{round(share * 100)} in 100"


def number(n: int) -> str:
    """A whole number with thousands by comma and a true minus: "1,204"."""
    return (MINUS if n < 0 else "") + f"{abs(n):,}"


def watts(w: float) -> str:
    return f"{number(round(w))}{NARROW}W"


def kilowatt_hours(wh: float) -> str:
    """Energy given in Wh: "12.1 kWh"."""
    sign = MINUS if round(wh / 1000, 1) < 0 else ""
    return f"{sign}{abs(wh) / 1000:,.1f}{NARROW}kWh"


def hours_told(hours: float, *, lang: Lang = "en") -> str:
    """ "9.9", "17": a tenth below ten hours, whole ones from there on; nobody knows a run time closer."""
    told = f"{hours:.0f}" if hours >= 9.95 else f"{hours:.1f}"
    return told.replace(".", ",") if lang == "es" else told


def percent(share: float) -> str:
    """A share from 0 to 1: "67 %"."""
    return f"{number(round(share * 100))}{NARROW}%"


def count(n: int, noun: str) -> str:
    """How many, in words up to ten: "three homes", "one home", "no homes", "1,204 homes"."""
    amount = _SMALL[n] if 0 <= n <= 10 else number(n)
    return f"{amount} {noun if n == 1 else plural(noun)}"


def plural(noun: str) -> str:
    """The plural of a noun that the office uses: homes, utilities, addresses, people, business days."""
    if noun == "person" or noun.endswith(" person"):
        return noun[: -len("person")] + "people"
    if noun.endswith(("s", "x", "ch", "sh")):
        return noun + "es"
    if noun.endswith("y") and noun[-2:-1] not in ("a", "e", "i", "o", "u"):
        return noun[:-1] + "ies"
    return noun + "s"


def listed(things: Sequence[str], *, last: str = "and") -> str:
    """Things in a sentence: "a", "a and b", "a, b and c"."""
    if len(things) < 2:
        return "".join(things)
    return f"{', '.join(things[:-1])} {last} {things[-1]}"


def _day_month(d: date, *, short: bool = False) -> str:
    name = _MONTHS_EN[d.month - 1]
    return f"{d.day} {name[:3] if short else name}"


def _with_year(d: date, *, today: date | None, short: bool = False) -> str:
    year = f" {d.year}" if today is not None and d.year != today.year else ""
    return _day_month(d, short=short) + year


def _refuse_empty(after: date, by: date) -> None:
    if after >= by:
        raise ValueError(f"The bracket is empty: {day(after)} does not come before {day(by)}.")


def _month_number(text: str) -> int | None:
    if text.isdigit():
        return int(text)
    typed = text.lower()
    if typed == "sept":
        return 9
    for place, name in enumerate(_MONTHS_EN, start=1):
        if typed in (name.lower(), name[:3].lower()):
            return place
    return None


def _quoted(text: str) -> str:
    return f'"{text}"' if text else "An empty field"
