"""What stands behind a date: own history, borrowed history, pace, front, district."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .candidates import BORROWED
from .estimate import Fitted
from .fronts import lag_and_speed
from .history import NO_DAY, NO_DISTRICT, Days, Flags, Floats, Rows

OWN_FROM = 5  # fittings
OWN_WEIGHT_FROM = 0.25
SAID_FROM = 0.1  # pace and district off 1
EXPECTED_FROM = 2.0  # fittings in 90 days, or the pace is left unsaid
FRONT_FROM = 0.5  # weight


@dataclass(frozen=True)
class Why:
    """What stands behind each date; arrays (n,). What is not to be said is NaN, a day NO_DAY.

    own: known fittings of the request's own utility. borrowed: those of other utilities, 0 unless pooled.
    pooled: fewer than five own fittings, so that the dates come mostly from all utilities together. thin: that, or little own weight.
    counted: own fittings that still count, faded by age. lent: requests borrowed from the pool, on average over the candidates.
    pace: recent fittings per expected one; 0.77 is "1.3 times slower". factor: of the district's hazard.
    front_weight: belief that the utility serves in order of filing. front_day: filing day served now; front_speed: working days of
    filing served in a week, lately. promises_made: promises of the utility whose window has ended; promises_kept: those kept, in whole
    promises; keep_rate: chance that one is kept. promise_first, promise_last: the window named for this request, while its last day is
    still to come.
    """

    own: Rows
    borrowed: Rows
    pooled: Flags
    thin: Flags
    counted: Floats
    lent: Floats
    own_weight: Floats
    pace: Floats
    factor: Floats
    front_weight: Floats
    front_lag: Floats
    front_day: Days
    front_speed: Floats
    promises_kept: Floats
    promises_made: Floats
    keep_rate: Floats
    promise_first: Days
    promise_last: Days


def reasons(fitted: Fitted, utility: Days, district: Days | None = None, *, promise: tuple[Days, Days] | None = None) -> Why:
    """What stands behind the dates of each of these utilities, (n,); for `forecast` and for a utility's own page.

    promise: (n,) each, first and last day named for a request.
    Source: FORECASTING.md section 10.
    """
    among, learned = fitted.among[:, utility], fitted.learned
    own, counted = fitted.own_fittings[utility], learned.own[:, utility]
    own_weight = (among * counted / (counted + BORROWED[:, None])).sum(axis=0)
    pooled = own < OWN_FROM
    in_order = fitted.weight[len(BORROWED) :].sum(axis=0)
    served = in_order >= FRONT_FROM
    pace = (fitted.among * learned.a / learned.b).sum(axis=0)
    expected = (fitted.among * learned.expected).sum(axis=0)
    said = (np.abs(pace - 1) > SAID_FROM) & (expected >= EXPECTED_FROM) & ~served
    lag, speed = _front(fitted)
    front_day = _day_of_lag(fitted, np.where(served, lag, 1.0))
    promised, none = fitted.promised, np.full_like(utility, NO_DAY)
    first, last = promise or (none, none)
    stands = last > fitted.as_of
    factor = fitted.districts.of(utility, np.full_like(utility, NO_DISTRICT) if district is None else district)
    return Why(
        own=own,
        borrowed=np.where(pooled, int(fitted.own_fittings.sum()) - own, 0),
        pooled=pooled,
        thin=pooled | (own_weight < OWN_WEIGHT_FROM),
        counted=(among * counted).sum(axis=0),
        lent=(among * BORROWED[:, None]).sum(axis=0),
        own_weight=own_weight,
        pace=np.where(said, pace, np.nan)[utility],
        factor=np.where(np.abs(factor - 1) > SAID_FROM, factor, np.nan),
        front_weight=in_order[utility],
        front_lag=np.where(served, lag, np.nan)[utility],
        front_day=np.where(served, front_day, NO_DAY)[utility],
        front_speed=np.where(served, speed * _week(fitted), np.nan)[utility],
        promises_kept=promised.told[utility],
        promises_made=promised.made[utility],
        keep_rate=promised.rate[utility],
        promise_first=np.where(stands, first, NO_DAY),
        promise_last=np.where(stands, last, NO_DAY),
    )


def _front(fitted: Fitted) -> tuple[Floats, Floats]:
    """(utilities,) lag and speed, averaged over the fronts by weight."""
    weight = fitted.weight[len(BORROWED) :]
    weight = weight / np.maximum(weight.sum(axis=0), 1e-300)
    lag, speed = lag_and_speed(fitted.seen.chance)
    return np.exp((weight * np.log(lag)).sum(axis=0)), (weight * speed).sum(axis=0)


def _week(fitted: Fitted) -> Floats:
    """(utilities,) working days of a week."""
    calendars, every = fitted.calendars, np.arange(fitted.calendars.utilities)
    return (calendars.count(every, fitted.as_of + 364) - calendars.count(every, fitted.as_of)) / 52


def _day_of_lag(fitted: Fitted, lag: Floats) -> Days:
    """(utilities,) the as-of day less a lag in working days; before the calendars begin, at five days a week."""
    calendars = fitted.calendars
    day = np.empty(calendars.utilities, dtype=np.int32)
    today = calendars.count(np.arange(calendars.utilities), fitted.as_of) if calendars.utilities else day
    for utility in range(calendars.utilities):
        worked = today[utility] - round(float(lag[utility]))
        row = calendars.counts[calendars.row[utility]]
        # The last day on which the running count was no higher than that many working days ago.
        early = worked < 0
        day[utility] = fitted.as_of - lag[utility] * 7 / 5 if early else calendars.first + np.searchsorted(row, worked, side="right") - 2
    return day
