"""Forecasts of when the collar is fitted: worked out here by tasks and stored; pages read what is stored and never fit.

run = refresh(as_of=yesterday, rule="nightly")
shown = current(request)          # None where nothing is stored yet
shown.q50, shown.sentence         # "half of such requests are fitted by 14 March 2027, nine in ten by 2 May 2027"
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import QuerySet

from jobs.core import clock, rules, words
from jobs.core.acts import one_at_a_time
from jobs.core.models import Job
from utilities import history, leadtimes, planned, services
from utilities.leadtimes import BEYOND, Calendars, OpenRequests, Quantiles
from utilities.models import FitRequest, Forecast, ForecastRun, Utility
from utilities.workdays import date_of, day_number

METHOD = "candidates and fronts, 1"
MILLION = 1_000_000
FAR_YEARS = 2  # what lies beyond is said as "later than"
_AT_ONCE = 1_000


@dataclass(frozen=True)
class _Target:
    """One forecast to be made."""

    utility: Utility
    district: int | None
    filed_on: dt.date
    request: int | None = None
    job: int | None = None


def refresh(*, as_of: dt.date, rule: str, utilities: Collection[int] | None = None, night_of: dt.date | None = None) -> ForecastRun:
    """Work out and store the forecasts as of the end of a day, of all utilities or of some (by primary key).

    All history counts either way: a utility with few fittings borrows from the others. Idempotent cache work: what is
    stored twice is said twice, the newest counts.
    """
    begun_at = clock.now()
    waits = history.read()
    day = day_number(as_of)
    targets = _targets(waits, as_of=as_of, utilities=utilities)
    fitted = leadtimes.fit(waits.history, waits.calendars(day), day)
    wanted = OpenRequests.from_columns(
        utility=[waits.place[target.utility.pk] for target in targets],
        filed=[day_number(target.filed_on) for target in targets],
        district=[waits.district_at(target.district) for target in targets],
    )
    told = leadtimes.forecast(fitted, wanted)
    run = ForecastRun(
        as_of=as_of, rule=rule, night_of=night_of, begun_at=begun_at, method=METHOD, rows=len(waits.history), dropped=fitted.dropped
    )
    covered = [utility.pk for utility in waits.utilities if utilities is None or utility.pk in utilities]
    _store(run, targets, told, covered=covered)
    return run


def _targets(waits: history.Waits, *, as_of: dt.date, utilities: Collection[int] | None) -> list[_Target]:
    """Requests open at the end of the day (those sent the day after too: it is made then), homes not asked for yet, and one a utility."""
    by_pk = {utility.pk: utility for utility in waits.utilities if utilities is None or utility.pk in utilities}
    made_on = as_of + dt.timedelta(days=1)
    past, day = waits.history, day_number(as_of)
    still = np.flatnonzero((past.filed <= day + 1) & ((past.outcome == leadtimes.OPEN) | (past.by > day)))
    district = {number: pk for pk, number in waits.district.items()}
    found = [
        _Target(utility, district.get(int(past.district[row])), date_of(past.filed[row]), request=waits.request[row])
        for row in still
        if (utility := by_pk.get(waits.utilities[past.utility[row]].pk)) is not None
    ]
    horizon = as_of + dt.timedelta(days=leadtimes.HORIZON)
    found += [
        _Target(by_pk[home.service.utility_id], home.service.district_id, home.filed_on, job=home.job.pk)
        for home in planned.not_asked(today=made_on, utilities=by_pk)
        if home.filed_on < horizon
    ]
    found += [_Target(utility, None, as_of) for utility in by_pk.values()]
    return found


def _store(run: ForecastRun, targets: list[_Target], told: leadtimes.Forecasts, *, covered: list[int]) -> None:
    offsets, thin_below = told.offsets(), rules.number("thin_history")
    # One worker may hold an older history than another: the stored rows change hands one run at a time.
    with transaction.atomic():
        one_at_a_time("forecasts")
        newest = not Forecast.objects.filter(utility__in=covered, newest=True, as_of__gt=run.as_of).exists()
        run.save()
        if newest:
            Forecast.objects.filter(utility__in=covered, newest=True).update(newest=False)
        said_before = set(Forecast.objects.filter(utility__in=covered, first=True).values_list("request_id", flat=True))
        Forecast.objects.bulk_create(
            (
                Forecast(
                    run=run,
                    utility=target.utility,
                    request_id=target.request,
                    job_id=target.job,
                    as_of=run.as_of,
                    filed_on=target.filed_on,
                    offsets=leadtimes.pack(offsets[row]),
                    p_never_millionths=round(float(told.p_never[row]) * MILLION),
                    why=_why(told, row, thin_below=thin_below),
                    newest=newest,
                    first=target.request is not None and target.request not in said_before,
                )
                for row, target in enumerate(targets)
            ),
            batch_size=_AT_ONCE,
        )


def _why(told: leadtimes.Forecasts, row: int, *, thin_below: int) -> dict[str, Any]:
    """What stands behind a date; what is not to be said is None."""
    why = told.why
    own, pooled, front_day = int(why.own[row]), bool(why.pooled[row]), int(why.front_day[row])
    return {
        "own": own,
        "borrowed": int(why.borrowed[row]),
        "pooled": pooled,
        "thin": bool(why.thin[row]) or own < thin_below,
        "own_weight": round(float(told.own_weight[row]), 4),
        "counted": round(float(why.counted[row]), 1),
        "lent": round(float(why.lent[row]), 1),
        "pace": _said(why.pace[row]),
        "district_factor": _said(why.factor[row]),
        "front_weight": round(float(why.front_weight[row]), 4),
        "front_on": None if front_day == leadtimes.NO_DAY else date_of(front_day).isoformat(),
        "front_days_a_week": _said(why.front_speed[row]),
    }


def _said(number: float) -> float | None:
    return None if np.isnan(number) else round(float(number), 3)


def prune(*, today: dt.date, keep_days: int = 35) -> int:
    """Take away what nobody will score: nights that were no Monday's, older than five weeks, but for each request's first."""
    old = Forecast.objects.filter(as_of__lt=today - dt.timedelta(days=keep_days), first=False, newest=False)
    # iso_week_day: 7 is Sunday; a Monday's run knows all up to the Sunday.
    return old.exclude(as_of__iso_week_day=7).delete()[0]


# What pages read.


@dataclass(frozen=True)
class Shown:
    """A stored forecast as a page says it. A day beyond the horizon is None."""

    as_of: dt.date
    filed_on: dt.date
    asked: bool  # False: "if asked by filed_on"
    days: tuple[dt.date | None, ...]  # by which the collar is fitted with 1 ... 99 in a hundred
    p_never: float
    own: int
    borrowed: int
    pooled: bool
    thin: bool

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
        half, nine = (said(day, as_of=self.as_of) for day in (self.q50, self.q90))
        told = (
            f"half of such requests are fitted by {half}, nine in ten by {nine}"
            if half != nine
            else f"half of such requests are fitted {half}"
        )
        return told if self.asked else f"if asked by {words.day(self.filed_on)}, {told}"

    @property
    def never_words(self) -> str:
        return f"{words.in_hundred(self.p_never)} are never fitted"

    @property
    def history_words(self) -> str:
        """How much stands behind the dates; where it is little, that is said."""
        if self.own + self.borrowed == 0:
            return "No request is finished anywhere yet, so these days say little."
        finished = words.count(self.own, "request")
        here = f"{'Only ' if self.own else ''}{finished} {'is' if self.own == 1 else 'are'} finished here"
        here = here[:1].upper() + here[1:]
        if self.pooled:
            pool = words.count(self.own + self.borrowed, "fitting")
            return f"{here}, so these days come from all utilities together ({pool})."
        if self.thin:
            return f"{here}, so these days are rough."
        fitted = words.count(self.own, "fitting")
        return f"{fitted[:1].upper()}{fitted[1:]} here stand behind these days."


def said(day: dt.date | None, *, as_of: dt.date) -> str:
    """A day in words; far away "later than November 2028"."""
    if day is None or is_far(day, as_of=as_of):
        return f"later than {words.day(_far(as_of)).partition(' ')[2]}"
    return words.day(day)


def said_short(day: dt.date | None, *, as_of: dt.date, today: dt.date) -> str:
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
        own=row.why["own"],
        borrowed=row.why["borrowed"],
        pooled=row.why["pooled"],
        thin=row.why["thin"],
    )


def chance_by(request: FitRequest, day: dt.date) -> float | None:
    """Chance, 0 to 1, that the request is fitted on or before a day, by its newest stored forecast."""
    row = Forecast.objects.filter(request=request, newest=True).select_related("utility").first()
    if row is None:
        return None
    as_of = day_number(row.as_of)
    last = row.as_of + dt.timedelta(days=leadtimes.HORIZON)
    calendars = Calendars.of([services.calendar_of(row.utility).worked_between(row.as_of, last)], as_of)
    kept = Quantiles.kept([bytes(row.offsets)], as_of, calendars, [0], [row.p_never_millionths / MILLION])
    return float(leadtimes.chance_by(kept, day_number(day))[0])
