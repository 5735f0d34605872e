"""From curves to dates: when each open request will be fitted, given how long it has waited."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .calendars import HORIZON
from .estimate import OWN_CURVE_FROM, Fitted
from .history import NO_DAY, Days, Flags, Floats, OpenRequests, Rows
from .quantiles import PERCENTS, Quantiles

# A chance that should be exactly one half can come out as 0.49999999999999994, and its day a step too late.
TOLERANCE = 1e-9


@dataclass(frozen=True)
class Why:
    """What stands behind each date; arrays (n,).

    own: fittings of the request's own utility. borrowed: fittings of other utilities in its curve.
    pooled: whether the curve is that of all utilities together. thin: too few own fittings for a curve of its own.
    """

    own: Rows
    borrowed: Rows
    pooled: Flags
    thin: Flags


@dataclass(frozen=True)
class Forecasts(Quantiles):
    """Dates, and why. own_weight: (n,) share, 0 to 1, of the fittings behind the curve that are the utility's own."""

    own_weight: Floats
    why: Why


def forecast(fitted: Fitted, open_requests: OpenRequests) -> Forecasts:
    """When each request is fitted if it is still open at the end of the as-of day and the job goes on.

    F(h) = chance of a fitting on or before day as_of + h = 1 - S(age then)/S(age now), ages in the utility's working days.
    q at p % is the first working day with F >= p/100 - 1e-9: always later than the as-of day and the filing day.

    Raises ValueError if a request's utility has no calendar, or it was filed before the calendars begin or after the horizon.
    """
    calendars, as_of, utility = fitted.calendars, fitted.as_of, open_requests.utility
    calendars.check(as_of, utility)
    today = calendars.count(utility, as_of)
    age = today - calendars.count(utility, open_requests.filed)  # below 0 for a planned sending
    ahead = calendars.count(utility, as_of + HORIZON) - today

    q = np.full((len(open_requests), PERCENTS.size), NO_DAY, dtype=np.int32)
    p_never = np.ones(len(open_requests))
    order = np.argsort(utility, kind="stable")
    starts = np.flatnonzero(np.diff(utility[order], prepend=-1))
    for rows in np.split(order, starts)[1:]:
        at = int(utility[rows[0]])
        curve = fitted.curves[fitted.curve[at]]
        now = curve.at(age[rows])
        p_never[rows] = np.exp(now - curve.at(age[rows] + ahead[rows]))
        target = now[:, None] - np.log1p(TOLERANCE - PERCENTS / 100)
        # Never below 1: each target lies above the rate summed up to now, and ages begin at 1.
        workdays = curve.reach(target) - age[rows, None]
        inside = workdays <= ahead[rows, None]
        place = today[rows, None] + np.where(inside, workdays, 1).astype(np.int64) - 1
        days = calendars.worked_days(at)
        q[rows] = np.where(inside, days[np.minimum(place, days.size - 1)], NO_DAY) if days.size else NO_DAY

    why = reasons(fitted, utility)
    own_weight = why.own / np.maximum(why.own + why.borrowed, 1)
    return Forecasts(as_of=as_of, calendars=calendars, utility=utility, q=q, p_never=p_never, own_weight=own_weight, why=why)


def reasons(fitted: Fitted, utility: Days) -> Why:
    """What stands behind the dates of each of these utilities, (n,); for `forecast` and for a utility's own page."""
    own = fitted.own_fittings[utility]
    pooled = fitted.curve[utility] == 0
    return Why(own=own, borrowed=np.where(pooled, fitted.pool_fittings - own, 0), pooled=pooled, thin=own < OWN_CURVE_FROM)
