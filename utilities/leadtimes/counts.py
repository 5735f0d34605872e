"""Fittings and days waited in each fortnight, utility and age class."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .ages import Waits
from .calendars import Calendars
from .classes import CLASSES, class_of, spread
from .history import Floats, Rows

FORTNIGHT = 14  # calendar days
PERIODS = 104  # at most; what is older falls into the oldest

# Sums of class widths and ages leave roundings where nothing is.
_NOTHING = 1e-9

Singles = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Fortnights:
    """fitted, waited: (periods, utilities, CLASSES) fittings and working days waited, oldest period first, the last ends at the as-of day.

    Real numbers: a fitting takes the shares of its day that lie in each class, and a bracketed one the shares of its days.
    """

    fitted: Singles
    waited: Singles

    def of(self, utilities: slice) -> tuple[Floats, Floats]:
        """The two tables of a few utilities, in double precision."""
        return self.fitted[:, utilities].astype(np.float64), self.waited[:, utilities].astype(np.float64)

    def totals(self) -> tuple[Floats, Floats]:
        """Both over all periods: (utilities, CLASSES)."""
        return self.fitted.sum(axis=0, dtype=np.float64), self.waited.sum(axis=0, dtype=np.float64)


def count(waits: Waits, calendars: Calendars, as_of: int) -> Fortnights:
    """Count what was watched up to the as-of day. Source: FORECASTING.md section 3.

    A row waited from age `entry` to `end` brings the working days between to the fortnights and classes they lie in; a fitting the
    day of age `end`, in the fortnight of that working day. Numbers of rows and sums of ages are whole numbers and exact in any
    order; only then they are spread over classes.
    """
    utilities = calendars.utilities
    edges = _edges(waits, calendars, as_of)
    periods = edges.shape[1]
    counted = np.diff(edges, axis=1, prepend=0)
    # From the running count of working days to the fortnight in which that working day lies.
    period_of = np.full((len(edges), int(edges.max(initial=0)) + 2), periods - 1, dtype=np.int16)
    for row, worked in enumerate(counted):
        period_of[row, 1 : int(edges[row, -1]) + 1] = np.repeat(np.arange(periods), worked)
    period_of[:, 0] = 0

    keep = np.flatnonzero(waits.end > waits.entry)
    utility, calendar = waits.utility[keep], calendars.row[waits.utility[keep]]
    start, entry, end = waits.start[keep], waits.entry[keep], waits.end[keep]
    fitted, weight = waits.fitted[keep], waits.weight[keep]
    first = period_of[calendar, np.minimum(start + entry + 1, period_of.shape[1] - 1)]
    last = period_of[calendar, np.minimum(start + end, period_of.shape[1] - 1)]
    weighted = bool((weight != 1).any())

    def told(rows: Rows, ages: npt.NDArray[np.integer]) -> Floats:
        """(2, utilities, CLASSES) number of rows and sum of their ages, by class of the age."""
        key = utility[rows] * CLASSES + class_of(ages)
        each = weight[rows] if weighted else None
        number = np.bincount(key, weights=each, minlength=utilities * CLASSES)
        summed = np.bincount(key, weights=ages * weight[rows] if weighted else ages, minlength=utilities * CLASSES)
        return np.stack([number, summed]).astype(np.float64).reshape(2, utilities, CLASSES)

    by_entry, by_end = _grouped(first, periods), _grouped(last, periods)
    shape = (periods, utilities, CLASSES)
    fittings, waited = np.zeros(shape, dtype=np.float32), np.zeros(shape, dtype=np.float32)
    alive = np.empty(0, dtype=np.intp)
    before = np.zeros((2, utilities, CLASSES))
    for period in range(periods):
        entered, ended = by_entry[period], by_end[period]
        alive = np.concatenate([alive, entered])
        alive = alive[last[alive] > period]
        across = told(alive, edges[calendar[alive], period] - start[alive])
        number, ages = told(ended, end[ended]) - told(entered, entry[entered]) + across - before
        days = spread(number, ages)
        waited[period] = np.where(days > _NOTHING, days, 0)
        done = ended[fitted[ended]]
        number, ages = told(done, end[done]) - told(done, end[done] - 1)
        shares = spread(number, ages)
        fittings[period] = np.where(shares > _NOTHING, shares, 0)
        before = across
    return Fortnights(fitted=fittings, waited=waited)


def _edges(waits: Waits, calendars: Calendars, as_of: int) -> npt.NDArray[np.int32]:
    """(calendars, periods) running count of working days at the end of each period."""
    oldest = as_of if waits.filed.size == 0 else int(waits.filed.min())
    periods = int(np.clip(-(-(as_of - oldest) // FORTNIGHT), 1, PERIODS))
    ends = as_of - FORTNIGHT * np.arange(periods - 1, -1, -1)
    if not calendars.utilities:
        return np.zeros((0, periods), dtype=np.int32)
    counted: npt.NDArray[np.int32] = calendars.counts[:, ends - calendars.first + 1]
    return counted


def _grouped(period: npt.NDArray[np.integer], periods: int) -> list[Rows]:
    """Row numbers of each period."""
    order = np.argsort(period, kind="stable")
    return np.split(order, np.searchsorted(period[order], np.arange(1, periods)))
