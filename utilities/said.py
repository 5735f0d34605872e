"""Forecasts as pages say them: read from what is stored, in words. Nothing is worked out here but what a page asks of its kept dates.

shown = current(request)          # None where nothing is stored yet
shown.q50, shown.sentence         # "half of such requests are fitted by 14 March 2027, nine in ten by 2 May 2027"
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from django.db.models import Case, DateField, OuterRef, Q, QuerySet, Subquery, When

from jobs.core import words
from jobs.core.lists import empty_last
from jobs.core.models import Job
from utilities import leadtimes, planned, services
from utilities.leadtimes import BEYOND, Calendars, Quantiles
from utilities.models import FitRequest, Forecast, Outcome, Utility
from utilities.models.requests import FitRequestQuerySet
from utilities.reasons import Why
from utilities.workdays import day_number

MILLION = 1_000_000
HALF = 49  # place of 50 in a hundred among the 99
SOONEST_HALF = (empty_last("half_on"), "filed_on", "code")
FAR_YEARS = 2  # what lies beyond is said as "later than"


@dataclass(frozen=True)
class Shown:
    """A stored forecast as a page says it. A day beyond the horizon is None."""

    as_of: dt.date
    filed_on: dt.date
    asked: bool  # False: "if asked by filed_on"
    days: tuple[dt.date | None, ...]  # by which the collar is fitted with 1 ... 99 in a hundred
    p_never: float
    why: Why

    def at(self, percent: int) -> dt.date | None:
        return self.days[percent - 1]

    @property
    def q10(self) -> dt.date | None:
        return self.at(10)

    @property
    def q50(self) -> dt.date | None:
        return self.at(50)

    @property
    def q80(self) -> dt.date | None:
        return self.at(80)

    @property
    def q90(self) -> dt.date | None:
        return self.at(90)

    @property
    def sentence(self) -> str:
        """Without its capital and full stop: it stands inside a sentence."""
        half, nine = (day_words(day, as_of=self.as_of) for day in (self.q50, self.q90))
        told = (
            f"half of such requests are fitted by {half}, nine in ten by {nine}"
            if half != nine
            else f"half of such requests are fitted {half}"
        )
        return told if self.asked else f"if asked by {words.day(self.filed_on)}, {told}"

    @property
    def never_words(self) -> str:
        return f"{words.in_hundred(self.p_never)} are never fitted"


def day_words(day: dt.date | None, *, as_of: dt.date) -> str:
    """A day in words; far away "later than November 2028"."""
    if day is None or is_far(day, as_of=as_of):
        return f"later than {words.day(_far(as_of)).partition(' ')[2]}"
    return words.day(day)


def day_short(day: dt.date | None, *, as_of: dt.date, today: dt.date) -> str:
    """The same for a table: "14 Mar 2027", "later than Nov 2028"."""
    if day is None or is_far(day, as_of=as_of):
        return f"later than {words.day_short(_far(as_of), today=dt.date.min).partition(' ')[2]}"
    return words.day_short(day, today=today)


def is_far(day: dt.date, *, as_of: dt.date) -> bool:
    """Whether a day is said as "later than"."""
    return day > _far(as_of)


def _far(as_of: dt.date) -> dt.date:
    return as_of.replace(year=as_of.year + FAR_YEARS, day=28)


def current(request: FitRequest) -> Shown | None:
    """The newest stored forecast of an open request."""
    return current_of([request]).get(request.pk)


def current_of(requests: Iterable[FitRequest]) -> dict[int, Shown]:
    """By primary key, of those that are open."""
    wanted = [request.pk for request in requests if request.is_open]
    rows = Forecast.objects.filter(request__in=wanted, newest=True)
    return {row.request_id: shown(row) for row in rows if row.request_id is not None}


def by_half(requests: FitRequestQuerySet) -> list[int]:
    """Primary keys of open requests, the soonest half day first; those without a forecast last, oldest first."""
    return list(with_half(requests).order_by(*SOONEST_HALF).values_list("pk", flat=True))


def with_half(requests: FitRequestQuerySet) -> FitRequestQuerySet:
    """Each open request with `half_on`, the day by which half of such are fitted, so that lists can be sorted by it."""
    newest = Forecast.objects.filter(request=OuterRef("pk"), newest=True)
    told = Case(When(outcome=Outcome.OPEN, then=Subquery(newest.values("half_on")[:1])), output_field=DateField())
    return requests.annotate(half_on=told)


def half_on(as_of: dt.date, offsets: Sequence[int] | npt.NDArray[np.integer]) -> dt.date | None:
    """The day of 50 in a hundred, of 99 day offsets from the as-of day; None beyond the horizon."""
    offset = int(offsets[HALF])
    return None if offset == BEYOND else as_of + dt.timedelta(days=offset)


def if_asked(job: Job) -> Shown | str:
    """Of a home whose request is not sent: the forecast if it is sent on its planned day, or which fact is missing to make one."""
    row = Forecast.objects.filter(job=job, request__isnull=True, newest=True).first()
    if row is not None:
        return shown(row)
    return planned.missing(job, services.service_of(job)) or "tonight's forecasts"


def of_utility(utility: Utility) -> Shown | None:
    """Of a request that this utility would have got on the as-of day: how long requests wait here."""
    return of_utilities([utility]).get(utility.pk)


def of_utilities(utilities: Iterable[Utility] | QuerySet[Utility]) -> dict[int, Shown]:
    rows = Forecast.objects.filter(utility__in=list(utilities), request__isnull=True, job__isnull=True, newest=True)
    return {row.utility_id: shown(row) for row in rows}


def shown(row: Forecast) -> Shown:
    return Shown(
        as_of=row.as_of,
        filed_on=row.filed_on,
        asked=row.job_id is None,
        days=tuple(
            None if offset == BEYOND else row.as_of + dt.timedelta(days=int(offset)) for offset in leadtimes.unpack(row.offsets).tolist()
        ),
        p_never=row.p_never_millionths / MILLION,
        why=Why.from_kept(row.why),
    )


def chance_by(request: FitRequest, day: dt.date) -> float | None:
    """Chance, 0 to 1, that the request is fitted on or before a day, by its newest stored forecast."""
    row = Forecast.objects.filter(request=request, newest=True).select_related("utility").first()
    return None if row is None else chance_of(row, day)


def chance_of(row: Forecast, day: dt.date) -> float:
    """The same of a stored forecast; of a home not asked for yet: if asked by its day."""
    as_of = day_number(row.as_of)
    last = row.as_of + dt.timedelta(days=leadtimes.HORIZON)
    calendars = Calendars.of([services.calendar_of(row.utility).worked_between(row.as_of, last)], as_of)
    kept = Quantiles.kept([bytes(row.offsets)], as_of, calendars, [0], [row.p_never_millionths / MILLION])
    return float(leadtimes.chance_by(kept, day_number(day))[0])


def of_homes(job_ids: Collection[int]) -> dict[int, Forecast]:
    """The newest stored forecast of each home, in one query. Of two meters the later one: there is backup when both collars are in."""
    found: dict[int, Forecast] = {}
    for row in forecasts_of_homes().filter(Q(request__job__in=job_ids) | Q(request__isnull=True, job__in=job_ids)):
        job_id = row.request.job_id if row.request else row.job_id
        assert job_id is not None  # both filters ask for one
        kept = found.get(job_id)
        if kept is None or _later(row) > _later(kept):
            found[job_id] = row
    return found


def forecasts_of_homes() -> QuerySet[Forecast]:
    """Of open requests, and of homes that are not asked for yet."""
    rows = Forecast.objects.filter(Q(request__outcome=Outcome.OPEN) | Q(request__isnull=True, job__isnull=False), newest=True)
    return rows.select_related("request", "utility").prefetch_related("utility__closures")


def _later(row: Forecast) -> tuple[bool, dt.date]:
    return (row.request_id is not None, row.half_on or dt.date.max)
