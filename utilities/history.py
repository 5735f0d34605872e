"""Rows to arrays: what the database holds of past and open waits, as the forecast core takes it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from utilities import leadtimes, services
from utilities.leadtimes import CANCELLED, FITTED, NO_DAY, NO_DISTRICT, OPEN, Calendars, History
from utilities.models import District, FitRequest, Outcome, Utility
from utilities.workdays import date_of, day_number

_CODES = {Outcome.OPEN.value: OPEN, Outcome.FITTED.value: FITTED, Outcome.CANCELLED.value: CANCELLED}
_ROW = ("pk", "utility_id", "district_id", "filed_on", "known_from", "outcome", "ended_on", "fitted_after")


@dataclass(frozen=True)
class Waits:
    """The history of all utilities, and the keys of its rows. `request[i]`: primary key of row i of the history."""

    history: History
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
    return Waits(history=history, request=tuple(keys), utilities=utilities, place=place, district=district)


def _numbers(days: Sequence[dt.date | None]) -> np.ndarray[tuple[int], np.dtype[np.int32]]:
    return np.fromiter(_numbered(days), dtype=np.int32, count=len(days))


def _numbered(days: Iterable[dt.date | None]) -> Iterable[int]:
    return (NO_DAY if day is None else day_number(day) for day in days)
