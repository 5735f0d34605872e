"""The rows of the list of utilities: who waits, the median wait with its interval, the pace, the last contact, the profile's age."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Max

from jobs.core import clock, rules, words
from utilities import outlooks, services, shown, versions
from utilities.models import Contact, Outlook, Utility
from utilities.shown import Pace
from utilities.waitcurve import LATELY, WaitCurve


@dataclass(frozen=True)
class Row:
    utility: Utility
    pace: Pace | None
    median: str  # "day 129", of the calendar, from fittings on record
    between: str  # its interval
    lately: str
    pace_words: str  # of the alarm; empty where it keeps its pace
    last_contact_on: dt.date | None
    profile: str
    profile_late: bool


def rows(utilities: Sequence[Utility], *, today: dt.date) -> list[Row]:
    """One query each for what is stored, however many rows. Take the utilities with `closures` and `versions` prefetched."""
    paces = shown.paces(utilities)
    curves = dict(Outlook.objects.filter(utility__in=[one.pk for one in utilities]).values_list("utility_id", "curve"))
    changed = {change.utility.pk: change.how_much for change in outlooks.alarms(today=today)}
    asked = Contact.objects.filter(utility__in=[one.pk for one in utilities], withdrawn=False).order_by()
    last = dict(asked.values_list("utility_id").annotate(last=Max("on")))
    most = rules.number("profile_days")
    return [_row(one, paces.get(one.pk), curves.get(one.pk), changed.get(one.pk, ""), last.get(one.pk), most) for one in utilities]


def _row(utility: Utility, pace: Pace | None, curve: dict[str, object] | None, changed: str, last: dt.date | None, most: int) -> Row:
    median, between, lately = "not known", "", ""
    if curve:
        found = WaitCurve.from_json(curve)
        lately = f"{words.count(found.fitted_lately, 'fitting')} in {LATELY} days"
        if found.fitted:
            day = found.day_of(50)
            low, high = found.median_between()
            median = f"day {words.number(day)}" if day is not None else "not reached yet"
            between = f"{_day(low)} to {_day(high)}" if low is not None else ""
    here = clock.today_in(utility.zone)
    version = services.version_of(utility, here)
    return Row(
        utility=utility,
        pace=pace,
        median=median,
        between=between,
        lately=lately,
        pace_words=changed,
        last_contact_on=last,
        profile=versions.confirmed_words(version, today=here) if version else "Nothing on record",
        profile_late=version is None or versions.is_old(version, today=here, most=most),
    )


def _day(day: int | None) -> str:
    return "later" if day is None else words.number(day)
