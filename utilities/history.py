"""Rows to arrays: what the database holds of past and open waits, as the forecast core takes it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from django.db.models import QuerySet

from utilities import leadtimes, services
from utilities.leadtimes import CANCELLED, FITTED, NO_DAY, NO_DISTRICT, OPEN, Calendars, History, Promises
from utilities.models import Contact, District, FitRequest, Outcome, Utility, Visit
from utilities.workdays import date_of, day_number

_CODES = {Outcome.OPEN.value: OPEN, Outcome.FITTED.value: FITTED, Outcome.CANCELLED.value: CANCELLED}
_ANNOUNCED = ("request_id", "announced_on", "window_from", "window_to", "withdrawn")
_Named = tuple[int, dt.date, dt.date]  # request, day on which it was named, last day named
ONE_DAY = dt.timedelta(days=1)
_ROW = ("pk", "utility_id", "district_id", "filed_on", "known_from", "outcome", "ended_on", "fitted_after")


@dataclass(frozen=True)
class Waits:
    """The history of all utilities, and the keys of its rows. `request[i]`: primary key of row i of the history."""

    history: History
    promises: Promises  # days that utilities named for its rows
    request: tuple[int, ...]
    utilities: tuple[Utility, ...]
    place: Mapping[int, int]  # of each utility in the arrays, by primary key
    district: Mapping[int, int]

    def calendars(self, as_of: int) -> Calendars:
        """Working days of each utility over what a forecast as of this day needs."""
        first, last = leadtimes.span(self.history, as_of)
        worked = [services.calendar_of(utility).worked_between(date_of(first), date_of(last)) for utility in self.utilities]
        return Calendars.of(worked, first)

    def district_at(self, pk: int | None) -> int:
        return NO_DISTRICT if pk is None else self.district[pk]


def read() -> Waits:
    """All waits in the database, whatever their day: the core rebuilds what was known at an as-of day from their dates."""
    utilities = tuple(Utility.objects.prefetch_related("closures").order_by("pk"))
    place = {utility.pk: number for number, utility in enumerate(utilities)}
    district = {pk: number for number, pk in enumerate(District.objects.order_by("pk").values_list("pk", flat=True))}
    rows = list(FitRequest.objects.waits().order_by("pk").values_list(*_ROW))
    keys, utility, in_district, filed, known_from, outcome, ended, after = zip(*rows, strict=True) if rows else ((),) * len(_ROW)
    history = History.from_columns(
        utility=np.fromiter((place[pk] for pk in utility), dtype=np.int32, count=len(rows)),
        district=np.fromiter((NO_DISTRICT if pk is None else district[pk] for pk in in_district), dtype=np.int32, count=len(rows)),
        filed=_numbers(filed),
        known_from=_numbers(known_from),
        outcome=np.fromiter((_CODES[told] for told in outcome), dtype=np.int32, count=len(rows)),
        by=_numbers(ended),
        after=_numbers(after),
    )
    return Waits(history=history, promises=_promises(keys), request=tuple(keys), utilities=utilities, place=place, district=district)


def named_windows(visits: QuerySet[Visit], contacts: QuerySet[Contact]) -> dict[_Named, dt.date]:
    """First day of each promise: of windows of visits announced, and of last days that a desk named in a contact.

    A visit is announced in a contact that names its last day: the two are one promise. It stays one when the utility moves the visit
    (a newer promise follows), and is none when the contact was a mistake and is withdrawn. Of a day without a window the window
    begins the day after it was named: "for, or by".
    """
    window: dict[_Named, tuple[dt.date, bool]] = {}
    for request, named_on, first, last, withdrawn in visits.order_by("pk").values_list(*_ANNOUNCED):
        if named_on is not None and first is not None and last is not None:
            window[request, named_on, last] = first, withdrawn
    found = {}
    told = contacts.filter(promised_by__isnull=False).order_by("pk").values_list("request_id", "on", "promised_by", "withdrawn")
    for request, named_on, last, withdrawn in told:
        if last is not None and not withdrawn:
            found[request, named_on, last] = window.get((request, named_on, last), (min(named_on + ONE_DAY, last), False))[0]
    by_desk = {(request, named_on, last) for request, named_on, last, _ in told}
    return found | {named: first for named, (first, withdrawn) in window.items() if not withdrawn and named not in by_desk}


def _promises(requests: Sequence[int]) -> Promises:
    """Of these requests, in the order of the history."""
    found = named_windows(Visit.objects.all(), Contact.objects.all())
    row_of = {pk: row for row, pk in enumerate(requests)}
    rows = [(row_of[request], named_on, first, last) for (request, named_on, last), first in found.items() if request in row_of]
    row, named_days, first_days, last_days = zip(*rows, strict=True) if rows else ((),) * 4
    return Promises(row=np.array(row, dtype=np.int32), named_on=_numbers(named_days), first=_numbers(first_days), last=_numbers(last_days))


def _numbers(days: Sequence[dt.date | None]) -> np.ndarray[tuple[int], np.dtype[np.int32]]:
    return np.fromiter(_numbered(days), dtype=np.int32, count=len(days))


def _numbered(days: Iterable[dt.date | None]) -> Iterable[int]:
    return (NO_DAY if day is None else day_number(day) for day in days)
