"""Kaplan-Meier for each utility: its own curve from five fittings on, else the pool of all, and a constant hazard where few were watched.

A plain estimator with the interface of the real one (`fit`, `forecast`): the curve that a utility's page draws, and what the bench
measures against.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .ages import waits_seen
from .calendars import HORIZON, Calendars
from .classes import rates
from .curve import Counts, count
from .dates import TOLERANCE
from .history import NO_DAY, Floats, History, OpenRequests, Rows
from .quantiles import PERCENTS, Quantiles

OWN_CURVE_FROM = 5  # fittings
WELL_WATCHED_FROM = 5  # requests under observation at an age
TAIL_FITTINGS = 5
# While nothing was fitted anywhere: one pretended fitting in 40 working days (FORECASTING.md section 4).
PRETENDED_FITTINGS, PRETENDED_DAYS = 1, 40


@dataclass(frozen=True)
class Summed:
    """Rates summed over ages: `total[a]` up to the end of the day of age a, (oldest + 1,), and beyond it `tail` a working day."""

    total: Floats
    tail: float

    def at(self, age: Rows) -> Floats:
        """Summed rate up to each age; 0 before the wait has begun."""
        oldest = self.total.size - 1
        return self.total[np.clip(age, 0, oldest)] + self.tail * np.maximum(age - oldest, 0)

    def reach(self, target: Floats) -> Floats:
        """First age at which the summed rate reaches each target, as whole numbers in floats (it may be far away)."""
        oldest = self.total.size - 1
        inside = np.searchsorted(self.total, target)
        beyond = oldest + np.ceil((target - self.total[-1]) / self.tail)
        return np.where(inside <= oldest, inside, beyond)


@dataclass(frozen=True)
class Fitted:
    """What was learned up to an as-of day. `curve[u]` is the place of utility u's curve in `curves`; place 0 is the pool.

    own_fittings: (utilities,). pool_fittings: of all utilities together. dropped: rows that had ended before anybody watched them.
    """

    as_of: int
    calendars: Calendars
    curves: tuple[Summed, ...]
    curve: Rows
    own_fittings: Rows
    pool_fittings: int
    dropped: int


def fit(history: History, calendars: Calendars, as_of: int) -> Fitted:
    """Learn from what was known at the end of the as-of day.

    calendars: one for every utility, over `span(history, as_of)`. as_of: day number.

    Raises ValueError if a utility has no calendar or the calendars do not reach far enough.
    """
    calendars.check(as_of, history.utility)
    waits = waits_seen(history, calendars, as_of)
    order = np.argsort(waits.utility, kind="stable")
    waits = waits.rows(order)

    own_fittings = np.bincount(waits.utility[waits.fitted], minlength=calendars.utilities)
    starts = np.searchsorted(waits.utility, np.arange(calendars.utilities + 1))
    curves = [summed(count(waits))]
    curve = np.zeros(calendars.utilities, dtype=np.intp)
    for utility in np.flatnonzero(own_fittings >= OWN_CURVE_FROM):
        curve[utility] = len(curves)
        curves.append(summed(count(waits, slice(starts[utility], starts[utility + 1]))))

    return Fitted(
        as_of=as_of,
        calendars=calendars,
        curves=tuple(curves),
        curve=curve,
        own_fittings=own_fittings,
        pool_fittings=int(own_fittings.sum()),
        dropped=waits.dropped,
    )


def forecast(fitted: Fitted, open_requests: OpenRequests) -> Quantiles:
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

    return Quantiles(as_of=as_of, calendars=calendars, utility=utility, q=q, p_never=p_never)


def summed(counts: Counts) -> Summed:
    """Kaplan-Meier where at least five requests were watched, a constant hazard where fewer were, and beyond the oldest age.

    Without it the curve ends with the longest finished wait: an older request would never be fitted, and a younger one
    certainly by then. The constant is that of the oldest five fittings: they, over the days watched at the ages behind the
    fitting before them. At younger ages (few were watched there when a list came in late) it is all fittings over all days.
    """
    if counts.fittings == 0:
        hazard = np.full(1, PRETENDED_FITTINGS / (counts.days_watched + PRETENDED_DAYS))
        return Summed(total=np.zeros(1), tail=float(rates(hazard)[0]))

    tail_from, tail = _tail(counts)
    overall = counts.fittings / counts.days_watched
    ages = np.arange(counts.fitted.size)
    few = counts.watched < WELL_WATCHED_FROM - 1e-9
    hazard = np.where(few, np.where(ages > tail_from, tail, overall), counts.hazard())
    hazard[0] = 0
    return Summed(total=np.cumsum(rates(hazard)), tail=float(rates(np.array([tail]))[0]))


def _tail(counts: Counts) -> tuple[int, float]:
    """Age of the fitting behind which the oldest five lie (0 if there is none), and the hazard behind it."""
    fitted_later = counts.fittings - np.cumsum(counts.fitted)
    # From the fitting before them on: days counted only from their own first fitting would make the hazard too high.
    enough = np.flatnonzero((fitted_later >= TAIL_FITTINGS - 1e-9) & (counts.fitted > 0))
    start = int(enough[-1]) if enough.size else 0
    later = slice(start + 1, None)
    return start, float(counts.fitted[later].sum() / counts.watched[later].sum())
