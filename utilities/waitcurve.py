"""The wait curve of one utility: share of its requests fitted by each day since sending, with a band for doubt.

Pure. Worked out with each run of forecasts and stored; pages read it back (`WaitCurve.from_json`) and never fit.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from statistics import NormalDist
from typing import Any, Final, Self

import numpy as np
import numpy.typing as npt

from utilities.leadtimes.ages import waits_seen
from utilities.leadtimes.calendars import Calendars
from utilities.leadtimes.curve import Counts, count
from utilities.leadtimes.history import Floats, History, open_rows

SHARES: Final = (10, 25, 50, 75, 90)  # per cent fitted, of the table beside the curve
BAND = 0.9
LATELY = 60  # days
_TINY = 1e-9

Column = npt.NDArray[np.integer]


@dataclass(frozen=True)
class WaitCurve:
    """A step curve in calendar days since sending: `share[i]` of the requests are fitted by the end of day `days[i]`.

    low, high: the 90 % band of each share. last: the day on which the data stop; the curve is not known beyond it.
    reached: first day by which each of SHARES is fitted, None where the curve stops below it. reached_lately: the same of what
    was watched in the last LATELY days only, with `fitted_lately` fittings.
    fitted, waiting, withdrawn: requests as of the day. bracketed: fittings of which only a first and a last day are known.
    """

    as_of: int
    days: tuple[int, ...]
    share: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    last: int
    fitted: int
    waiting: int
    withdrawn: int
    bracketed: int
    reached: tuple[int | None, ...]
    reached_lately: tuple[int | None, ...]
    fitted_lately: int

    def day_of(self, percent: int) -> int | None:
        return self.reached[SHARES.index(percent)]

    def median_between(self) -> tuple[int | None, int | None]:
        """The 90 % interval of the median wait, days since sending: where the band crosses one half; None beyond the data.

        Source: Brookmeyer & Crowley (1982), Biometrics 38, 29-41, with the band above (from memory).
        """
        return _first(self.days, self.high), _first(self.days, self.low)

    def as_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_json(cls, kept: dict[str, Any]) -> Self:
        fields: dict[str, Any] = {name: tuple(value) if isinstance(value, list) else value for name, value in kept.items()}
        return cls(**fields)


def wait_curve(*, filed: Column, known_from: Column, ended: Column, outcome: Column, after: Column, as_of: int) -> WaitCurve:
    """The curve of one utility's requests, by what was known at the end of the as-of day.

    Arrays (n,), one element a request, days numbered from 1970-01-01, NO_DAY where there is none: filed, known_from (it is watched from
    that day on only), ended, outcome (OPEN, FITTED, CANCELLED), after (of a bracketed fitting the last day it was seen not fitted).
    A day is counted from the day after the sending; a fitting on the day of sending counts as day 1.

    Raises ValueError as `History` does: an outcome without a day, an empty bracket, columns of different lengths.

    Source: Kaplan & Meier (1958) with entry ages, see `leadtimes.curve`; the band is Greenwood's variance on the scale of
    log(-log S), as in Kalbfleisch & Prentice, The Statistical Analysis of Failure Time Data, 2nd ed. 2002, section 1.4.
    """
    rows = History.from_columns(utility=np.zeros_like(filed), filed=filed, outcome=outcome, by=ended, after=after, known_from=known_from)
    first = min(int(rows.filed.min()), as_of) if len(rows) else as_of
    every_day = Calendars.of([np.ones(as_of - first + 2, dtype=np.bool_)], first)
    waits = waits_seen(rows, every_day, as_of)
    counts = count(waits)
    at = np.flatnonzero(counts.fitted > _TINY)
    low, high = _band(counts)
    recent = waits_seen(_watched_since(rows, as_of - LATELY + 1), every_day, as_of)
    lately = count(recent)
    fitted, waiting = int(waits.fitted.sum()), int(open_rows(rows, as_of).size)
    return WaitCurve(
        as_of=as_of,
        days=tuple(at.tolist()),
        share=_rounded(1 - counts.survival()[at]),
        low=_rounded(low[at]),
        high=_rounded(high[at]),
        last=int(waits.end.max()) if waits.end.size else 0,
        fitted=fitted,
        waiting=waiting,
        withdrawn=int(waits.fitted.size) - fitted - waiting,
        bracketed=int((waits.fitted & (waits.low < waits.end - 1)).sum()),
        reached=_reached(counts),
        reached_lately=_reached(lately),
        fitted_lately=int(recent.fitted.sum()),
    )


def _first(days: tuple[int, ...], shares: tuple[float, ...]) -> int | None:
    return next((day for day, share in zip(days, shares, strict=True) if share >= 0.5 - _TINY), None)


def _watched_since(rows: History, day: int) -> History:
    """The same requests as if nobody had looked before the day: a request enters at the age it had then."""
    return History(
        utility=rows.utility,
        district=rows.district,
        filed=rows.filed,
        known_from=np.maximum(rows.known_from, day).astype(np.int32),
        after=rows.after,
        by=rows.by,
        outcome=rows.outcome,
    )


def _band(counts: Counts) -> tuple[Floats, Floats]:
    """Lower and upper bound of the share fitted at each age. Once all at risk are fitted there is no variance: the lower bound stays."""
    d, n = counts.fitted, np.maximum(counts.watched, counts.fitted)
    certain = (d > _TINY) & (n - d <= _TINY)
    terms = np.divide(d, n * (n - d), out=np.zeros_like(d), where=(d > _TINY) & ~certain)
    open_still = counts.survival()
    inside = (open_still > _TINY) & (open_still < 1 - _TINY)
    log_open = np.log(open_still, out=np.full_like(open_still, -1.0), where=inside)
    spread = NormalDist().inv_cdf((1 + BAND) / 2) * np.sqrt(np.cumsum(terms)) / -log_open
    low = np.where(inside, 1 - np.exp(log_open * np.exp(-spread)), 0.0)
    high = np.where(inside, 1 - np.exp(log_open * np.exp(spread)), 0.0)
    # Brackets bring parts of a fitting: before the first whole one there is no more to say than that it was no more than this.
    whole = np.flatnonzero(np.cumsum(d) >= 1 - _TINY)
    if whole.size:
        low[: whole[0]] = 0.0
        high[: whole[0]] = high[whole[0]]
    done = open_still <= _TINY
    if done.any():
        first = int(np.argmax(done))
        low[first:] = low[first - 1]
        high[first:] = 1.0
    return low, high


def _reached(counts: Counts) -> tuple[int | None, ...]:
    fitted = 1 - counts.survival()
    found = np.searchsorted(fitted, np.array(SHARES) / 100 - _TINY)  # a share that should be exactly one half can fall short by a rounding
    return tuple(int(day) if day < fitted.size else None for day in found)


def _rounded(values: Floats) -> tuple[float, ...]:
    return tuple(np.round(values, 4).tolist())
