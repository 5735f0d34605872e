"""Forecasts of when the collar is fitted: worked out here by tasks and stored. Pages read what is stored (said.py) and never fit.

run = refresh(as_of=yesterday, rule="nightly")
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db import transaction
from django.db.models import Q

from jobs.core import clock, rules
from jobs.core.acts import one_at_a_time
from utilities import history, leadtimes, outlooks, planned
from utilities.leadtimes import OpenRequests
from utilities.models import FitRequest, Forecast, ForecastRun, Outlook, Utility
from utilities.said import MILLION, half_on
from utilities.workdays import date_of, day_number

METHOD = "candidates and fronts, 2"
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
    fitted = leadtimes.fit(waits.history, waits.calendars(day), day, promises=waits.promises)
    promised = _promised(waits, targets, day)
    wanted = OpenRequests.from_columns(
        utility=[waits.place[target.utility.pk] for target in targets],
        filed=[day_number(target.filed_on) for target in targets],
        district=[waits.district_at(target.district) for target in targets],
        promise_first=[first for first, _ in promised],
        promise_last=[last for _, last in promised],
    )
    told = leadtimes.forecast(fitted, wanted)
    run = ForecastRun(
        as_of=as_of, rule=rule, night_of=night_of, begun_at=begun_at, method=METHOD, rows=len(waits.history), dropped=fitted.dropped
    )
    covered = [utility.pk for utility in waits.utilities if utilities is None or utility.pk in utilities]
    of_requests = np.array([row for row, target in enumerate(targets) if target.request is not None], dtype=np.intp)
    expected = outlooks.worked_out(waits, fitted, wanted, told, requests=of_requests, covered=covered)
    _store(run, targets, told, expected, covered=covered)
    return run


def _promised(waits: history.Waits, targets: list[_Target], as_of: int) -> list[tuple[int, int]]:
    """First and last day that stands promised to each target, NO_DAY if none does."""
    first, last = waits.promises.standing(len(waits.history), as_of)
    row_of = {pk: row for row, pk in enumerate(waits.request)}
    rows = [None if target.request is None else row_of[target.request] for target in targets]
    return [(leadtimes.NO_DAY,) * 2 if row is None else (int(first[row]), int(last[row])) for row in rows]


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


def _store(run: ForecastRun, targets: list[_Target], told: leadtimes.Forecasts, expected: list[Outlook], *, covered: list[int]) -> None:
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
                    half_on=half_on(run.as_of, offsets[row]),
                    p_never_millionths=round(float(told.p_never[row]) * MILLION),
                    why=_why(told, row, thin_below=thin_below),
                    newest=newest,
                    first=target.request is not None and target.request not in said_before,
                )
                for row, target in enumerate(targets)
            ),
            batch_size=_AT_ONCE,
        )
        outlooks.write(expected, run)


def _why(told: leadtimes.Forecasts, row: int, *, thin_below: int) -> dict[str, Any]:
    """What stands behind a date; what is not to be said is None."""
    why = told.why
    own, pooled, front_day = int(why.own[row]), bool(why.pooled[row]), int(why.front_day[row])
    first, last = int(why.promise_first[row]), int(why.promise_last[row])
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
        "promises_kept": int(why.promises_kept[row]),
        "promises_made": int(why.promises_made[row]),
        "promise": None if first == leadtimes.NO_DAY else [date_of(first).isoformat(), date_of(last).isoformat()],
    }


def _said(number: float) -> float | None:
    return None if np.isnan(number) else round(float(number), 3)


def mark_quoted(requests: Iterable[FitRequest]) -> int:
    """A day of these requests was said to a person outside: their newest forecasts are kept for good. Call it where it is said."""
    return Forecast.objects.filter(request__in=list(requests), newest=True, quoted=False).update(quoted=True)


def prune(*, today: dt.date, keep_days: int = 35) -> int:
    """Take away what nobody will score: whatever is older than five weeks, but for the nights of Mondays and past days replayed.

    A request's first forecast stays for good, and one that was quoted to a person outside.
    """
    old = Forecast.objects.filter(as_of__lt=today - dt.timedelta(days=keep_days), first=False, quoted=False, newest=False)
    # iso_week_day: 7 is Sunday; a Monday's run knows all up to the Sunday.
    scored = Q(run__rule="nightly", as_of__iso_week_day=7) | Q(run__rule="replayed")
    return old.exclude(scored).delete()[0]
