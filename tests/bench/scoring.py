"""How good a forecast was: CRPS and coverage of the requests open at an as-of day, as FORECASTING.md section 12 has them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.bench.worlds import NEVER, World
from utilities.leadtimes import HORIZON, NO_DAY, Forecasts, OpenRequests, Parts, fit, forecast, open_rows
from utilities.leadtimes.parts import WHOLE

SCORED_DAYS = 365
SHARES = (0.8, 0.9)
# A chance that should be exactly 0.8 can come out a little below it.
TOLERANCE = 1e-9
FOLLOWED = 0.2  # share not censored, below which too few are left to stand for all: nothing is scored from there on

Floats = npt.NDArray[np.float64]
Days = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Scores:
    """Sums over open requests. crps: days. covered, weight: of each of SHARES, by those whose truth is known at the quantile."""

    n: int
    crps: float
    covered: Floats
    weight: Floats

    def __add__(self, other: Scores) -> Scores:
        return Scores(self.n + other.n, self.crps + other.crps, self.covered + other.covered, self.weight + other.weight)


NOTHING = Scores(0, 0.0, np.zeros(len(SHARES)), np.zeros(len(SHARES)))


def score(world: World, as_of: int, rows: npt.NDArray[np.intp], chances: Floats) -> Scores:
    """chances: (n, HORIZON + 1), F(h) of each open row for h = 0 ... HORIZON, 0 at h = 0."""
    fitted = np.minimum(world.fitted_on[rows] - as_of, NEVER)
    unknown = np.minimum(world.unknown_from[rows] - as_of, NEVER)
    weights, followed = _weights(fitted, unknown)
    ahead = np.arange(HORIZON + 1)
    done = fitted[:, None] <= ahead
    scored = slice(1, min(followed, SCORED_DAYS) + 1)
    crps = float((weights * (chances - done) ** 2)[:, scored].sum())

    each = np.arange(rows.size)
    covered, weight = np.zeros(len(SHARES)), np.zeros(len(SHARES))
    for place, share in enumerate(SHARES):
        reached = chances[:, : followed + 1] >= share - TOLERANCE
        # A quantile beyond what was followed is not judged. To choose by what was said, not by what happened, is fair.
        judged, day = reached.any(axis=1), reached.argmax(axis=1)
        weight[place] = (judged * weights[each, day]).sum()
        covered[place] = (judged * weights[each, day] * done[each, day]).sum()
    return Scores(int(rows.size), crps, covered, weight)


def _weights(fitted: Days, unknown: Days) -> tuple[Floats, int]:
    """(n, HORIZON + 1) weights, and up to which day enough are followed.

    Beyond it only those fitted would be known, and whoever says "soon" would look right. Weights are 1 where every truth is known, else the
    inverse probability of not being censored (Graf et al. 1999, from memory).
    """
    ahead = np.arange(HORIZON + 1)
    if not (unknown < fitted).any():
        return np.ones((fitted.size, ahead.size)), HORIZON
    # Kaplan-Meier of the days to "no longer followed": those fitted leave without it.
    ended = np.minimum(np.minimum(fitted, unknown), HORIZON + 1)
    lost = np.bincount(ended[unknown < fitted], minlength=HORIZON + 2)
    left = np.bincount(ended, minlength=HORIZON + 2)
    at_risk = np.maximum(fitted.size - np.concatenate([[0], np.cumsum(left)[:-1]]), 1)
    followed = np.maximum(np.cumprod(1 - lost / at_risk), 0.05)
    at = np.minimum(ahead, np.maximum(fitted - 1, 0)[:, None])
    known = np.minimum(ahead, fitted[:, None]) < unknown[:, None]
    return known / followed[at], min(int(np.count_nonzero(followed >= FOLLOWED)) - 1, SCORED_DAYS)


def ours(world: World, as_of: int) -> tuple[npt.NDArray[np.intp], Floats]:
    """The open rows and what our estimator says of them."""
    return open_rows(world.history, as_of), curves_of(world, as_of)


def curves_of(world: World, as_of: int, parts: Parts = WHOLE) -> Floats:
    """What our estimator says of the open rows, or a part of it."""
    asked = OpenRequests.of(world.history, open_rows(world.history, as_of))
    return curves(forecast(fit(world.history, world.calendars, as_of, parts=parts), asked))


def curves(said: Forecasts) -> Floats:
    """(n, HORIZON + 1) chances from the 99 dates: linear between them in working days, as whoever reads our file would do it."""
    utility, as_of = said.utility, said.as_of
    ahead = np.arange(HORIZON + 1)
    today = said.calendars.count(utility, as_of)
    out = np.empty((len(said), ahead.size))
    percents = np.arange(1, 100) / 100
    workdays_of: dict[int, Floats] = {}
    for row in range(len(said)):
        one = int(utility[row])
        if one not in workdays_of:
            counts = said.calendars.count(np.full(ahead.size, one), as_of + ahead) - today[row]
            workdays_of[one] = counts.astype(np.float64)
        workdays = workdays_of[one]
        known = said.q[row] != NO_DAY
        at = workdays[said.q[row][known] - as_of]
        # One point where several quantiles fall on a day, the highest; before the first, the working day before it.
        last = np.append(at[1:] != at[:-1], True) if at.size else np.zeros(0, bool)
        first = at[:1] - 1
        x = np.concatenate([first if first.size else [0.0], at[last], [workdays[-1] + 1e-6]])
        y = np.concatenate([[0.0], percents[known][last], [1 - said.p_never[row]]])
        out[row] = np.interp(workdays, x, y)
    return out
