"""How good forecasts were: what was said of open requests against what became of them. Open ones count, cancelled ones are weighted out.

    said = Said.of(quantiles, horizon)
    judged = judge(said, truth, weights(truth, lasting(truth, horizon)))
    judged.total(rows).crps, judged.total(rows).coverage

Days count from the as-of day: h = 0 is its end. All forecasts judged together are of one as-of day and were followed for the same
`horizon` days (at most SCORED_DAYS). Source: FORECASTING.md section 12.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any, Self

import numpy as np

from .calendars import HORIZON
from .history import FITTED, NO_DAY, OPEN, Days, Flags, Floats, History, Rows
from .quantiles import BEYOND, PERCENTS, Quantiles

SCORED_DAYS = 365
LEVELS = (10, 50, 80, 90)  # in a hundred; of the pinball loss
SHARES = (50, 80, 90)  # in a hundred; of coverage
BARS = 10  # of the PIT histogram
NEVER = 1_000_000  # days ahead: not within anything that was followed
LEAST_LEFT = 0.05  # no request stands for more than twenty


@dataclass(frozen=True)
class Truth:
    """What is known of n requests that were open at the end of an as-of day; arrays (n,) of days after it.

    after, fitted: fitted in (after, fitted], after = fitted - 1 on a known day; NEVER while no fitting is known.
    cancelled: NEVER if it was not, or after the fitting.
    """

    after: Days
    fitted: Days
    cancelled: Days

    @classmethod
    def of(cls, history: History, rows: Rows, *, as_of: int, known_to: int) -> Self:
        """Rows of the history open at as_of, by what was known at the end of day known_to; what came later is not looked at."""
        told = (history.outcome[rows] != OPEN) & (history.by[rows] <= known_to)
        by = history.by[rows] - as_of
        fitted = np.where(told & (history.outcome[rows] == FITTED), by, NEVER)
        # A bracket that opens before the as-of day: the request was taken for open then, so the rest of it is what is left.
        bracketed = (fitted != NEVER) & (history.after[rows] != NO_DAY)
        after = np.where(bracketed, np.clip(history.after[rows] - as_of, 0, fitted - 1), fitted - 1)
        cancelled = np.where(told & (fitted == NEVER), by, NEVER)
        return cls(after=after.astype(np.int32), fitted=fitted.astype(np.int32), cancelled=cancelled.astype(np.int32))

    def __len__(self) -> int:
        return int(self.fitted.size)

    def rows(self, chosen: Rows | Flags) -> Self:
        return type(self)(after=self.after[chosen], fitted=self.fitted[chosen], cancelled=self.cancelled[chosen])


@dataclass(frozen=True)
class Said:
    """n forecasts. chances: (n, H + 1), F(h) for h = 0 ... H, 0 at h = 0. days: (n, LEVELS) first with F >= level, days ahead or NEVER."""

    chances: Floats
    days: Rows

    @classmethod
    def of(cls, forecasts: Quantiles, horizon: int) -> Self:
        """From kept quantiles. Between them F runs straight in working days, as `chance_within` has it."""
        offsets = forecasts.offsets()[:, [level - 1 for level in LEVELS]].astype(np.intp)
        return cls(chances=chances(forecasts, horizon), days=np.where(offsets == BEYOND, NEVER, offsets))

    @classmethod
    def certain(cls, days: Days, horizon: int) -> Self:
        """Of someone who names one day, (n,) days ahead, as if it were sure."""
        told = (np.arange(horizon + 1) >= days[:, None]).astype(np.float64)
        return cls(chances=told, days=np.repeat(days[:, None], len(LEVELS), axis=1).astype(np.intp))


@dataclass(frozen=True)
class Judged:
    """Of each of n forecasts, to be added up; arrays (n,) or (n, k). All but `passed` are weighted, so that cancelled homes leave no gap.

    crps: days. shared: mean weight over the days of crps. pinball: (n, LEVELS) days. weight: on the last day, of pinball and PIT.
    passed: (n, SHARES) 1 where the quantile's day has come within what was followed and the home was not cancelled by then.
    standing: its weight. covered: fitted by it. stated: F there. pit: (n, BARS).
    """

    crps: Floats
    shared: Floats
    pinball: Floats
    weight: Floats
    passed: Floats
    standing: Floats
    covered: Floats
    stated: Floats
    pit: Floats

    def total(self, rows: Rows | Flags) -> Totals:
        summed: dict[str, Any] = {field.name: getattr(self, field.name)[rows].sum(axis=0) for field in fields(self)}
        return Totals(n=int(self.crps[rows].size), **summed)


@dataclass(frozen=True)
class Totals:
    """Sums over n forecasts of what `Judged` says of each, and what they come to. A mean that nothing stands behind is NaN."""

    n: int
    crps: float
    shared: float
    pinball: Floats
    weight: float
    passed: Floats
    standing: Floats
    covered: Floats
    stated: Floats
    pit: Floats

    @classmethod
    def nothing(cls) -> Self:
        levels, shares = np.zeros(len(LEVELS)), np.zeros(len(SHARES))
        return cls(0, 0.0, 0.0, levels, 0.0, shares, shares, shares, shares, np.zeros(BARS))

    def __add__(self, other: Totals) -> Totals:
        added: dict[str, Any] = {field.name: getattr(self, field.name) + getattr(other, field.name) for field in fields(self)}
        return Totals(**added)

    @property
    def mean_crps(self) -> float:
        """Days."""
        return _ratio(self.crps, self.shared)

    @property
    def mean_pinball(self) -> Floats:
        """(LEVELS,) days."""
        return _ratios(self.pinball, self.weight)

    @property
    def median_error(self) -> float:
        """Days between the middle of the forecast and the fitting, both at most H."""
        return 2 * float(self.mean_pinball[LEVELS.index(50)])

    @property
    def coverage(self) -> Floats:
        """(SHARES,) share fitted by the day named for 50, 80, 90 %; of those whose day has passed."""
        return _ratios(self.covered, self.standing)

    @property
    def stated_there(self) -> Floats:
        """(SHARES,) mean F on that day: with whole days a little above 0.5, 0.8, 0.9."""
        return _ratios(self.stated, self.standing)

    @property
    def bars(self) -> Floats:
        """(BARS,) shares that add up to 1."""
        return _ratios(self.pit, self.weight)

    def skill(self, against: Totals) -> float:
        """1 - CRPS / CRPS of the other, over the same forecasts: 1 is perfect, 0 no better."""
        return 1 - _ratio(self.mean_crps, against.mean_crps)

    def as_json(self) -> dict[str, Any]:
        return {field.name: _plain(getattr(self, field.name)) for field in fields(self)}

    @classmethod
    def from_json(cls, told: Mapping[str, Any]) -> Self:
        kept: dict[str, Any] = {name: np.array(value) if isinstance(value, list) else value for name, value in told.items()}
        return cls(**kept)


def chances(forecasts: Quantiles, horizon: int) -> Floats:
    """(n, horizon + 1) F(h) of each forecast on day as_of + h. The same as `chance_by`, for many days at once."""
    calendars, utility, as_of = forecasts.calendars, forecasts.utility, forecasts.as_of
    today = calendars.count(utility, as_of)
    known = forecasts.q != NO_DAY
    at = calendars.count(utility[:, None], np.where(known, forecasts.q, as_of)) - today[:, None]
    last = calendars.count(utility, as_of + HORIZON) - today
    told = np.empty((len(forecasts), horizon + 1))
    worked = {
        one: calendars.count(np.full(horizon + 1, one), as_of + np.arange(horizon + 1)) - calendars.count(np.array([one]), as_of)
        for one in np.unique(utility).tolist()
    }
    for row, ends in enumerate(last):
        days = at[row, known[row]]
        # Where several quantiles fall on a day the line comes in at the lowest of them and goes on from the highest: np.interp takes
        # the last of equal points, and goes up to the first.
        first = days[:1] - 1 if days.size else np.zeros(1, dtype=days.dtype)
        points = np.concatenate([first, days, [ends]])
        rises = np.concatenate([[0.0], PERCENTS[known[row]] / 100, [1 - forecasts.p_never[row]]])
        told[row] = np.interp(worked[int(utility[row])], points, rises)
    return told


def done_by(truth: Truth, horizon: int) -> Floats:
    """(n, horizon + 1) 1 once fitted, 0 before; over the days of a bracket it rises evenly."""
    ahead = np.arange(horizon + 1)
    share = (ahead - truth.after[:, None]) / (truth.fitted - truth.after)[:, None]
    told: Floats = np.clip(share, 0, 1)
    return told


def lasting(truth: Truth, horizon: int) -> Floats:
    """(horizon + 1,) G: Kaplan-Meier curve of the days to cancellation, of all forecasts of an as-of day, not below LEAST_LEFT.

    Of one day fittings come before cancellations: so the weights of each day add up to n.
    """
    days = np.minimum(np.minimum(truth.fitted, truth.cancelled), horizon + 1)
    lost = _lost(truth, horizon)
    cancelled = np.bincount(days[lost], minlength=horizon + 2)[: horizon + 1]
    fitted = np.bincount(days[~lost], minlength=horizon + 2)[: horizon + 1]
    open_before = len(truth) - np.concatenate([[0], np.cumsum(cancelled + fitted)[:-1]])
    left: Floats = np.maximum(np.cumprod(1 - cancelled / np.maximum(open_before - fitted, 1)), LEAST_LEFT)
    return left


def weights(truth: Truth, left: Floats) -> Floats:
    """(n, H + 1) how many homes each one stands for on each day, those cancelled by then being left out. left: (H + 1,) of `lasting`.

    1/G(T - 1) from a fitting on day T on, 1/G(h) while open after day h, 0 once cancelled.
    Source: Graf, Schmoor, Sauerbrei and Schumacher (1999), Stat. Med. 18, 2529-2545 (from memory).
    """
    ahead = np.arange(left.size)
    lost = _lost(truth, left.size - 1)
    at = np.minimum(ahead, np.maximum(truth.fitted - 1, 0)[:, None])
    stands = ~lost[:, None] | (ahead < truth.cancelled[:, None])
    told: Floats = stands / left[at]
    return told


def _lost(truth: Truth, horizon: int) -> Flags:
    """(n,) cancelled within what was followed."""
    lost: Flags = truth.cancelled <= np.minimum(horizon, truth.fitted - 1)
    return lost


def judge(said: Said, truth: Truth, weight: Floats) -> Judged:
    """weight: (n, H + 1) of `weights`.

    CRPS in days = sum over h = 1 ... H of (F(h) - [fitted by h])^2. Pinball loss of a level p with outcome and quantile at most H:
    p x (days by which the fitting is later) or (1 - p) x (days by which it is earlier). A quantile is judged once its day has passed:
    that depends on what was said, not on what happened. PIT: the interval (F(T - 1), F(T)], open at H (F(H), 1], spread evenly.
    """
    horizon = said.chances.shape[1] - 1
    done = done_by(truth, horizon)
    each = np.arange(len(truth))
    # Inside a bracket the mean over its days; else one of the two terms is 0.
    error = done * (said.chances - 1) ** 2 + (1 - done) * said.chances**2
    crps = (weight * error)[:, 1:].sum(axis=1)

    late = np.concatenate([np.zeros((each.size, 1)), np.cumsum(1 - done, axis=1)], axis=1)  # [:, h]: open days before day h
    early = np.concatenate([np.zeros((each.size, 1)), np.cumsum(done, axis=1)], axis=1)
    pinball = np.empty((each.size, len(LEVELS)))
    for place, level in enumerate(LEVELS):
        day = np.minimum(said.days[:, place], horizon)
        pinball[:, place] = level / 100 * (late[each, horizon] - late[each, day]) + (1 - level / 100) * early[each, day]

    passed, standing, covered, stated = (np.zeros((each.size, len(SHARES))) for _ in range(4))
    for place, share in enumerate(SHARES):
        day = said.days[:, LEVELS.index(share)]
        judged = day <= horizon
        at = np.where(judged, day, 0)
        standing[:, place] = judged * weight[each, at]
        passed[:, place] = standing[:, place] > 0
        covered[:, place] = standing[:, place] * done[each, at]
        stated[:, place] = standing[:, place] * said.chances[each, at]

    low = said.chances[each, np.clip(truth.after, 0, horizon)]
    high = np.where(truth.fitted <= horizon, said.chances[each, np.minimum(truth.fitted, horizon)], 1.0)
    last = weight[:, horizon]
    return Judged(
        crps=crps,
        shared=weight[:, 1:].mean(axis=1),
        pinball=last[:, None] * pinball,
        weight=last,
        passed=passed,
        standing=standing,
        covered=covered,
        stated=stated,
        pit=last[:, None] * spread(low, high),
    )


def spread(low: Floats, high: Floats) -> Floats:
    """(n, BARS) shares of (low, high] that lie in each bar, adding to 1; an interval without length lies in the bar that ends with it."""
    edges = np.arange(BARS + 1) / BARS
    within = np.clip(np.minimum(high[:, None], edges[1:]) - np.maximum(low[:, None], edges[:-1]), 0, None)
    point = high - low < 1e-12
    bar = np.clip(np.ceil(high * BARS - 1e-9).astype(np.intp) - 1, 0, BARS - 1)
    length = np.where(point, 1.0, high - low)
    told: Floats = np.where(point[:, None], np.arange(BARS) == bar[:, None], within / length[:, None])
    return told


def spreadsheet(history: History, rows: Rows, as_of: int) -> Days:
    """(n,) days ahead that the usual spreadsheet names: filed_on + mean of the utility's completed waits; tomorrow if that has passed.

    Completed: fitted by the as-of day, in calendar days. Of all utilities where one has none; tomorrow where there is none at all.
    """
    done = (history.outcome == FITTED) & (history.by <= as_of) & (history.known_from <= history.by)
    utilities = int(history.utility.max(initial=-1)) + 1
    waited = np.bincount(history.utility[done], weights=(history.by - history.filed)[done], minlength=utilities)
    finished = np.bincount(history.utility[done], minlength=utilities)
    overall = waited.sum() / max(finished.sum(), 1)
    mean = np.where(finished > 0, waited / np.maximum(finished, 1), overall)
    # To the nearest day; halves go up, as a spreadsheet's do.
    day = history.filed[rows] + np.floor(mean[history.utility[rows]] + 0.5)
    told: Days = np.maximum(day - as_of, 1).astype(np.int32)
    return told


def _ratio(top: float, bottom: float) -> float:
    return float(top) / float(bottom) if bottom > 0 else float("nan")


def _ratios(top: Floats, bottom: Floats | float) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        told: Floats = np.where(np.asarray(bottom) > 0, top / np.asarray(bottom), np.nan)
    return told


def _plain(value: Any) -> Any:
    # Sums, to nine digits: enough for any mean, and the same bytes whichever way they were added up.
    if isinstance(value, np.ndarray):
        return [float(f"{number:.9g}") for number in value.tolist()]
    return value if isinstance(value, int) else float(f"{value:.9g}")
