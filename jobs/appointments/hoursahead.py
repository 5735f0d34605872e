"""Calls that will be wanted against the places of the verifiers, week by week. Pure, NumPy and SciPy only.

Each week homes come whose collar was fitted, calls that were not finished come again, and what no place was left for waits for the next
week; a place that nobody wanted is gone. Whether hours fall short is therefore asked of whole courses of the weeks, drawn with a fixed
seed: the fittings of a week are negative binomial with the mean and variance that the forecast tells, and what the spread has beyond
Poisson is one and the same pace in all weeks of a course (a utility that is fast in one week is fast in the next), so that chances are not
told too small.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

COURSES: Final = 20_000
SEED: Final = 1927
LIKELY: Final = 0.5


@dataclass(frozen=True)
class Week:
    """What one week brings. low, high: hold the calls that come to be held eight times in ten. short: chance that places run out."""

    places: int
    expected: float
    low: int
    high: int
    short: float
    left: float  # calls expected to be left over at its end


@dataclass(frozen=True)
class Ahead:
    weeks: tuple[Week, ...]

    @property
    def first_short(self) -> int | None:
        """Number of the first week whose places more likely than not run out."""
        return next((number for number, week in enumerate(self.weeks) if week.short >= LIKELY), None)

    @property
    def ever_short(self) -> float:
        return max((week.short for week in self.weeks), default=0.0)


def ahead(
    mean: Sequence[float],
    *,
    variance: Sequence[float],
    places: Sequence[int],
    waiting: int,
    not_ready: int = 0,
    calls_a_home: float = 1.0,
    lag: int = 0,
) -> Ahead:
    """The weeks from now on.

    mean, variance: (n,) of the homes whose collar is fitted in each week. places: (n,) free places in each week. waiting: homes that want a
    call already; they count in the first week. not_ready: homes whose collar is in and of which something is still missing; they count in
    the second (our own choice, no source). calls_a_home: calls held for each home until it is verified, 1 or more. lag: whole weeks from
    collar to call. expected, low and high of a week are the calls that come to be wanted in it.

    Raises ValueError if the lengths differ or a number is less than it can be.
    """
    means, spread, room = (np.asarray(values, dtype=np.float64) for values in (mean, variance, places))
    if not means.shape == spread.shape == room.shape:
        raise ValueError("As many means as variances and places are wanted.")
    if (means < 0).any() or (spread < 0).any() or (room < 0).any() or waiting < 0 or not_ready < 0 or calls_a_home < 1 or lag < 0:
        raise ValueError("Homes, places, calls and weeks are none or more, and each home has at least one call.")
    fitted = _courses(np.concatenate([np.zeros(lag), means])[: means.size], np.concatenate([np.zeros(lag), spread])[: means.size])
    fitted[:, :1] += waiting
    fitted[:, 1:2] += not_ready
    wanted = _with_repeats(fitted, calls_a_home)
    weeks, left = [], np.zeros(COURSES)
    for number in range(means.size):
        due = left + wanted[:, number]
        left = np.maximum(due - room[number], 0)
        low, high = np.quantile(wanted[:, number], [0.1, 0.9], method="inverted_cdf")
        weeks.append(
            Week(
                places=int(room[number]),
                expected=float(wanted[:, number].mean()),
                low=int(low),
                high=int(high),
                short=float((due > room[number]).mean()),
                left=float(left.mean()),
            )
        )
    return Ahead(tuple(weeks))


def _courses(mean: npt.NDArray[np.float64], variance: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
    """(COURSES, n) fittings: Poisson around a gamma pace that is drawn once a course."""
    from scipy.special import gammaincinv

    draw = np.random.default_rng(SEED)
    beyond = np.maximum(variance - mean, 0)
    shape = np.divide(mean**2, beyond, out=np.full_like(mean, np.inf), where=beyond > 1e-9)
    # Stratified, so that the pace itself adds next to no noise of its own.
    level = ((np.arange(COURSES) + draw.random(COURSES)) / COURSES)[:, None]
    finite = np.isfinite(shape) & (shape > 0)
    pace = np.ones((COURSES, mean.size))
    pace[:, finite] = gammaincinv(shape[finite], level) / shape[finite]
    return draw.poisson(mean * pace)


def _with_repeats(fitted: npt.NDArray[np.int64], calls_a_home: float) -> npt.NDArray[np.int64]:
    """Each call leads to another one with the same chance; the repeats of a home are counted in its own week."""
    draw = np.random.default_rng(SEED + 1)
    again = 1 - 1 / calls_a_home
    if again <= 0:
        return fitted
    # Failures before the last of n successes: all repeats of n homes at once.
    repeats = np.where(fitted > 0, draw.negative_binomial(np.maximum(fitted, 1), 1 - again), 0)
    return fitted + repeats
