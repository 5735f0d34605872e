"""Fittings and requests watched at each age, and the Kaplan-Meier curve they give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .ages import Waits
from .classes import HIGHEST_HAZARD, rates
from .history import Floats

Integers = npt.NDArray[np.integer]


@dataclass(frozen=True)
class Counts:
    """At age a = 0, 1, ... oldest: `fitted[a]` fittings of `watched[a]` requests under observation; both (oldest + 1,), 0 at age 0.

    The counts are real numbers: a bracketed fitting is shared out over its days.
    """

    fitted: Floats
    watched: Floats

    @property
    def fittings(self) -> float:
        return float(self.fitted.sum())

    @property
    def days_watched(self) -> float:
        return float(self.watched.sum())

    def hazard(self) -> Floats:
        """Chance of a fitting on the day of age a, if open before it: D/R; 0 where nobody was watched."""
        # With brackets R is a sum of shares and can fall short of D by a rounding.
        return self.fitted / np.maximum(np.maximum(self.watched, self.fitted), 1e-12)

    def survival(self) -> Floats:
        """Share still open at the end of the day of age a: the product of 1 - D/R.

        Source: Kaplan & Meier (1958), J. Am. Stat. Assoc. 53, 457-481; with entry ages (left truncation) as in Klein &
        Moeschberger, Survival Analysis, 2nd ed. 2003, section 4.6.
        """
        return np.cumprod(1 - self.hazard(), dtype=np.float64)


def count(waits: Waits, rows: slice = slice(None), rounds: int = 2) -> Counts:
    """Fittings and requests watched at each age, of some rows.

    A row is watched at the ages entry + 1 ... end. A fitting known only to lie in (low, end] is first spread evenly over these
    ages, then `rounds` times by the chance of each age under the curve so far: steps of the self-consistent estimate of
    Turnbull (1976), J. R. Stat. Soc. B 38, 290-295. A bracket of one day is a known day.
    """
    entry, low, end, fitted = waits.entry[rows], waits.low[rows], waits.end[rows], waits.fitted[rows]
    size = int(end.max()) + 2 if end.size else 2
    bracketed = fitted & (low < end - 1)
    plain = _counts(entry[~bracketed], end[~bracketed], fitted[~bracketed].astype(float), size)
    if not bracketed.any():
        return plain

    # In an order that does not depend on the order of the rows, so that sums of shares come out the same to the last bit.
    order = np.lexsort((end[bracketed], low[bracketed], entry[bracketed]))
    entry, low, end = entry[bracketed][order], low[bracketed][order], end[bracketed][order]
    days = end - low
    row = np.repeat(np.arange(days.size), days)
    age = np.arange(row.size) - np.repeat(np.cumsum(days) - days, days) + low[row] + 1
    share = 1 / days[row]
    counts = _plus(plain, _shared(entry[row], age, share, size))
    for _ in range(rounds):
        share = _chances(counts, row, low[row], age)
        counts = _plus(plain, _shared(entry[row], age, share, size))
    return counts


def _counts(entry: Integers, end: Integers, fitted: Floats, size: int) -> Counts:
    entered = np.bincount(entry + 1, minlength=size)
    left = np.bincount(end + 1, minlength=size)
    watched = np.cumsum(entered - left)[: size - 1].astype(float)
    return Counts(fitted=_sums(end, fitted, size)[: size - 1], watched=watched)


def _shared(entry: Integers, age: Integers, share: Floats, size: int) -> Counts:
    """As `_counts`, for rows that count by their share only."""
    entered, left = _sums(entry + 1, share, size), _sums(age + 1, share, size)
    watched = np.maximum(np.cumsum(entered - left)[: size - 1], 0)
    return Counts(fitted=_sums(age, share, size)[: size - 1], watched=watched)


def _sums(age: Integers, weights: Floats, size: int) -> Floats:
    return np.bincount(age, weights=weights, minlength=size).astype(np.float64)


def _plus(one: Counts, other: Counts) -> Counts:
    return Counts(fitted=one.fitted + other.fitted, watched=one.watched + other.watched)


def _chances(counts: Counts, row: Integers, low: Integers, age: Integers) -> Floats:
    """Chance of each age of a bracket, given that the fitting lies in the bracket."""
    hazard = np.minimum(counts.hazard(), HIGHEST_HAZARD)
    summed = np.cumsum(rates(hazard))
    chance = hazard[age] * np.exp(summed[low] - summed[age - 1])
    return chance / np.bincount(row, weights=chance)[row]
