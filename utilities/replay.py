"""The past forecast anew: what today's method would have said at the end of past days, from what was known then.

replay.replay_day(day)                    # stored; pages never show it, scoring reads it
replay.begin(None, today=today, by=dana)  # the act behind the button: the last year, in the background
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Final

import numpy as np
from django.db import transaction

from jobs.core import clock, waking
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.refusals import Refused
from utilities import forecasts, history, leadtimes, scoring, services
from utilities.history import Waits
from utilities.leadtimes import Calendars, OpenRequests
from utilities.leadtimes.history import known
from utilities.models import Forecast, ForecastRun, Replay
from utilities.said import MILLION
from utilities.workdays import date_of, day_number

RULE: Final = "replayed"
EVERY: Final = 28  # days
DAYS: Final = 13  # about a year
STILL: Final = dt.timedelta(minutes=5)
_AT_ONCE = 1_000
# Sundays, whichever day it is asked: so a replay next month finds this month's days done.
_A_SUNDAY = dt.date(2026, 1, 4)


def last_year(*, today: dt.date, every: int = EVERY, count: int = DAYS) -> list[dt.date]:
    """As-of days, oldest first: every fourth Sunday up to the last one whose forecasts have been followed for four weeks."""
    latest = today - dt.timedelta(days=1 + scoring.FOLLOWED_FROM)
    last = latest - dt.timedelta(days=(latest - _A_SUNDAY).days % every)
    return [last - dt.timedelta(days=every * back) for back in reversed(range(count))]


def between(first: dt.date, last: dt.date, *, every: int = EVERY) -> list[dt.date]:
    return [first + dt.timedelta(days=days) for days in range(0, (last - first).days + 1, every)]


def replay_day(as_of: dt.date, *, anew: bool = False) -> ForecastRun | None:
    """Forecast every request open at the end of the day, and store it in place of an older replay of that day.

    None where it stands already: by the same method, from as many requests. Killed half way, nothing of it is stored.
    """
    begun_at = clock.now()
    waits = history.read()
    day = day_number(as_of)
    rows = int(np.count_nonzero(known(waits.history, day)))
    if not anew and _done(as_of, rows):
        return None
    chosen = leadtimes.open_rows(waits.history, day)
    fitted = leadtimes.fit(waits.history, _calendars(waits, as_of), day, promises=waits.promises)
    told = leadtimes.forecast(fitted, OpenRequests.of(waits.history, chosen, promises=waits.promises, as_of=day))
    offsets = told.offsets()
    run = ForecastRun(as_of=as_of, rule=RULE, begun_at=begun_at, method=forecasts.METHOD, rows=rows, dropped=fitted.dropped)
    with transaction.atomic():
        one_at_a_time("replay")
        if not anew and _done(as_of, rows):
            return None  # another worker was first
        ForecastRun.objects.filter(as_of=as_of, rule=RULE).delete()
        run.save()
        Forecast.objects.bulk_create(
            (
                Forecast(
                    run=run,
                    utility=waits.utilities[waits.history.utility[row]],
                    request_id=waits.request[row],
                    as_of=as_of,
                    filed_on=date_of(waits.history.filed[row]),
                    offsets=leadtimes.pack(offsets[place]),
                    p_never_millionths=round(float(told.p_never[place]) * MILLION),
                    newest=False,
                    first=False,
                )
                for place, row in enumerate(chosen.tolist())
            ),
            batch_size=_AT_ONCE,
        )
    return run


def _done(as_of: dt.date, rows: int) -> bool:
    return ForecastRun.objects.filter(as_of=as_of, rule=RULE, method=forecasts.METHOD, rows=rows).exists()


def _calendars(waits: Waits, as_of: dt.date) -> Calendars:
    """Working days as they were known then: nobody knew which days a storm would close later. Public holidays are known ahead."""
    first, last = (date_of(day) for day in leadtimes.span(waits.history, day_number(as_of)))
    told = []
    for utility in waits.utilities:
        calendar = services.calendar_of(utility)
        then = dataclasses.replace(
            calendar,
            closed=frozenset(day for day in calendar.closed if day <= as_of),
            opened=frozenset(day for day in calendar.opened if day <= as_of),
        )
        told.append(then.worked_between(first, last))
    return Calendars.of(told, day_number(first))


@act(right="core.edit_utilities")
def begin(thing: None, *, today: dt.date, by: Actor) -> Replay:
    """Replay the last year in the background."""
    one_at_a_time("begin a replay")
    if running() is not None:
        raise Refused("A replay is running already; its result will stand on this page.")
    now = clock.now()
    days = [day.isoformat() for day in last_year(today=today)]
    replay = Replay.objects.create(days=days, begun_at=now, moved_at=now, by_name=by.name)
    wake(replay)
    return replay


def running() -> Replay | None:
    return Replay.objects.filter(finished_at__isnull=True).first()


def stands_still(replay: Replay) -> bool:
    return clock.now() - replay.moved_at > STILL


def go_on(pk: int) -> str:
    """One more day of a replay, then wake the next worker; after the last one the scores. Any number of workers may try."""
    replay = Replay.objects.filter(pk=pk, finished_at__isnull=True).first()
    if replay is None:
        return "nothing to go on with"
    place = replay.days_done
    if place < len(replay.days):
        replay_day(dt.date.fromisoformat(replay.days[place]))
        # Only if nobody else has counted it: two workers on one day must not skip the next.
        Replay.objects.filter(pk=pk, days_done=place).update(days_done=place + 1, moved_at=clock.now())
        wake(replay)
        return f"{place + 1} of {len(replay.days)}"
    scoring.rescore(today=clock.office_today())
    Replay.objects.filter(pk=pk).update(finished_at=clock.now(), moved_at=clock.now())
    return "done"


def wake_the_still() -> None:
    """What a lost wake-up or a killed worker left."""
    replay = running()
    if replay is not None and stands_still(replay):
        wake(replay)


def wake(replay: Replay) -> None:
    waking.wake("utilities.tasks.go_on_replaying", replay.pk)
