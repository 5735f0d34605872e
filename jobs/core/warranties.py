"""When a warranty begins: on the day of the event that its terms name, part by part (TRADE.md D15). Pure.

The maker's terms decide; this derives their day from the home's dated facts and says which fact it is. It advises on nothing.
"""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from jobs.core import kinds as k
from jobs.core.states import Facts, Known


def _first(kind: str) -> Callable[[Facts], Known | None]:
    return lambda facts: facts.first(kind)


def _verified(facts: Facts) -> Known | None:
    """The first passed verification: a later one after a removal begins no warranty anew."""
    voided = {fact.value.get("record") for fact in facts.of(k.VERIFICATION_VOIDED)}
    passed = [f for f in facts.of(k.VERIFICATION) if f.value.get("result") == "passed" and f.value.get("record") not in voided]
    return passed[0] if passed else None


# The events that terms name: in words, and the fact whose day counts.
EVENTS: Final[dict[str, tuple[str, Callable[[Facts], Known | None]]]] = {
    "installation": ("installation", _first(k.INSTALLED)),
    "commissioning": ("commissioning", _first(k.COMMISSIONED)),
    "permission": ("permission to operate", _first(k.PERMISSION_TO_OPERATE)),
    "fitting": ("fitting of the collar", _first(k.COLLAR_FITTED)),
    "verification": ("verification of the backup", _verified),
}
PARTS: Final = ("workmanship", "inverter", "battery", "collar", "solar modules")


@dataclass(frozen=True)
class Start:
    event: str  # in words
    begins_on: dt.date | None  # None: the event has not happened
    ends_on: dt.date | None  # the last day


def start(event: str, *, months: int, facts: Facts) -> Start:
    """The first and last day of a term of so many months from an event. Of a fitting known by a bracket: the first day known fitted."""
    words, fact_of = EVENTS[event]
    fact = fact_of(facts)
    if fact is None:
        return Start(words, None, None)
    return Start(words, fact.day, after_months(fact.day, months) - dt.timedelta(days=1))


def after_months(day: dt.date, months: int) -> dt.date:
    """The same day of a later month, or its last day where it is shorter: 31 January and one month is 28 February."""
    year, month = divmod(day.month - 1 + months, 12)
    year, month = day.year + year, month + 1
    return dt.date(year, month, min(day.day, calendar.monthrange(year, month)[1]))
