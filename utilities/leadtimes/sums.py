"""Sums over many open requests: how many are fitted in a week, or what they bring, with a range.

Homes at one utility share its pace (or its service front), so their sum is wider than that of independent ones. Nine equally likely
values of what they share are taken; given one, homes are independent. Source: FORECASTING.md section 11.

    per_utility = weeks(fitted, requests, told, first=monday)           # Sums (utilities, weeks)
    all_of_them = together(per_utility.mean, per_utility.variance)      # Sums (weeks,)

Cash is the same with amounts. Speeds and paces to come are shared too, so far ahead these ranges are still too narrow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, gammaincinv, ndtri

from . import fronts, pace
from .candidates import CANDIDATES
from .classes import at_age, rates, summed
from .estimate import Fitted
from .history import Floats, OpenRequests, Rows
from .lasting import lasts
from .quantiles import Quantiles, chance_by
from .why import FRONT_FROM

WEEKS = 13
SHARED = 9  # equally likely values of what the homes of a utility share
LOW, HIGH = 0.1, 0.9
EXACT = 300  # homes; of more the mean and the variance are enough
_STEPS = 2_000  # amounts are told apart down to a total divided by this
_TINY = 1e-9

Whole = npt.NDArray[np.integer]


@dataclass(frozen=True)
class Sums:
    """Sums of weeks; arrays (utilities, weeks), or (weeks,) of all together. low, high: not less (not more) than nine times in ten."""

    mean: Floats
    variance: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True)
class _Homes:
    """Open requests of one utility. age: (n,) working days waited. ahead: (n, weeks + 1) from now to the edges of the weeks."""

    utility: int
    age: Rows
    ahead: Rows
    factor: Floats


def weeks(
    fitted: Fitted,
    requests: OpenRequests,
    told: Quantiles,
    *,
    first: int,
    count: int = WEEKS,
    rows: Rows | None = None,
    ending: Floats | None = None,
    amounts: Whole | None = None,
) -> Sums:
    """Fittings in each of `count` weeks, per utility, of the open requests.

    told: what was forecast of these requests, in their order; first: day number on which the first week begins; of a week that has
    begun, what is left of it. rows: only these of them.
    ending: (CLASSES,) of `lasting.ending_hazard`: a request that ends without a fitting brings none. amounts: (n,) whole numbers
    (cents) that each brings instead of one fitting; told apart to a two-thousandth of a utility's total.
    """
    chosen = np.arange(len(requests)) if rows is None else rows
    calendars, as_of = fitted.calendars, fitted.as_of
    utility, filed = requests.utility[chosen], requests.filed[chosen]
    days = np.maximum(first - 1 + 7 * np.arange(count + 1), as_of)
    kept = Quantiles(as_of, calendars, utility, told.q[chosen], told.p_never[chosen])
    by = np.stack([chance_by(kept, int(day)) for day in days], axis=1)
    today = calendars.count(utility, as_of)
    waited = (today - calendars.count(utility, filed)).astype(np.intp)
    ahead = np.stack([calendars.count(utility, int(day)) - today for day in days], axis=1)
    ahead = np.maximum(ahead + np.minimum(waited, 0)[:, None], 0).astype(np.intp)
    age = np.maximum(waited, 0)
    factor = fitted.districts.of(utility, requests.district[chosen])
    chance = np.maximum(np.diff(by, axis=1), 0)
    if ending is not None:
        middle = (ahead[:, :-1] + ahead[:, 1:]) // 2
        chance = chance * lasts(ending, np.broadcast_to(age[:, None], middle.shape), age[:, None] + middle)
    sizes = np.ones(chosen.size, dtype=np.int64) if amounts is None else np.asarray(amounts, dtype=np.int64)[chosen]

    shape = (calendars.utilities, count)
    sums = Sums(*(np.zeros(shape) for _ in range(4)))
    for place in np.unique(utility).tolist():
        at = np.flatnonzero(utility == place)
        homes = _Homes(place, age[at], ahead[at], factor[at])
        of_one = total(conditional(chance[at], shared(fitted, homes)), sizes[at])
        for name in ("mean", "variance", "low", "high"):
            getattr(sums, name)[place] = getattr(of_one, name)
    return sums


def together(mean: Floats, variance: Floats, *, unit: float | Floats = 1.0) -> Sums:
    """Sums over utilities, which go their own ways: (k, weeks) each, returns (weeks,).

    unit: what one home brings, where the sums are amounts. The range is that of a negative binomial law of this mean and variance, counted
    in units; of a normal law if the variance is not above the mean.
    """
    m, v = mean.sum(axis=0), variance.sum(axis=0)
    low, high = (range_at(level, m, v, unit=unit) for level in (LOW, HIGH))
    return Sums(m, v, low, high)


def total(chance: Floats, sizes: Whole) -> Sums:
    """The sum of homes that are independent given what they share. chance: (SHARED, n, weeks), sizes: (n,). Returns (weeks,).

    Exact up to EXACT homes, by convolution.
    """
    each, square = sizes[:, None].astype(np.float64), sizes[:, None].astype(np.float64) ** 2
    means = (each * chance).sum(axis=1)
    within = (square * chance * (1 - chance)).sum(axis=1)
    mean, variance = means.mean(axis=0), within.mean(axis=0) + means.var(axis=0)
    if len(sizes) > EXACT:
        unit = np.maximum((square * chance).sum(axis=(0, 1)), _TINY) / np.maximum((each * chance).sum(axis=(0, 1)), _TINY)
        low, high = (range_at(level, mean, variance, unit=unit) for level in (LOW, HIGH))
        return Sums(mean, variance, low, high)
    step = max(1, -(-int(sizes.sum()) // _STEPS))
    law = number_law(np.moveaxis(chance, 1, -1), np.round(sizes / step).astype(np.int64)).mean(axis=0)
    upto = np.cumsum(law, axis=-1)
    low, high = (step * (upto < level - _TINY).sum(axis=-1).astype(np.float64) for level in (LOW, HIGH))
    return Sums(mean, variance, low, high)


def number_law(chance: Floats, sizes: Whole) -> Floats:
    """Chance of each total of independent homes: (..., n) chances and (n,) whole sizes give (..., sum of sizes + 1).

    The law of a Poisson-binomial count (all sizes 1), one home after another.
    """
    law = np.zeros((*chance.shape[:-1], int(sizes.sum()) + 1))
    law[..., 0] = 1.0
    top = 0
    for home, size in enumerate(sizes.tolist()):
        p = chance[..., home, None]
        came = law[..., : top + 1] * p
        law[..., : top + 1] *= 1 - p
        law[..., size : top + size + 1] += came
        top += size
    return law


def range_at(level: float, mean: Floats, variance: Floats, *, unit: float | Floats = 1.0) -> Floats:
    """First whole number of units that the sum does not exceed with chance `level`, times the unit; alike in shape."""
    m, v = np.asarray(mean / unit), np.asarray(variance / np.square(unit))
    normal = np.maximum(np.ceil(m + ndtri(level) * np.sqrt(v) - 0.5), 0)
    wide = v > m * (1 + _TINY)
    r = np.where(wide, m**2 / np.where(wide, v - m, 1), 1.0)
    chance = np.where(wide, m / np.where(wide, v, 1), 0.5)
    low, high = np.full(m.shape, -1.0), np.ceil(m + 40 * np.sqrt(v) + 40)
    while (high - low > 1).any():
        # cdf(k) of the negative binomial law is an incomplete beta function (NIST Digital Library of Mathematical Functions, 8.17.24).
        middle = np.floor((low + high) / 2)
        enough = betainc(np.maximum(r, _TINY), np.maximum(middle, 0) + 1, chance) >= level - _TINY
        low, high = np.where(enough, low, middle), np.where(enough, middle, high)
    told: Floats = np.where(wide, high, normal) * unit
    return told


def conditional(chance: Floats, given: Floats) -> Floats:
    """Chances under each shared value, (SHARED, n, weeks), whose mean is exactly `chance`, (n, weeks), what was forecast.

    given: (SHARED, n, weeks) the same by one shared value, worked out apart: it says how they differ, `chance` how high they are.
    """
    usual = given.mean(axis=0)
    known = usual > 1e-12
    apart = np.where(known, given / np.where(known, usual, 1), 1.0) - 1
    # Where a value would make it more than certain, all nine draw together.
    highest = apart.max(axis=0)
    room = np.where(chance * (1 + highest) > 1, (1 - chance) / np.maximum(chance * highest, _TINY), 1.0)
    told: Floats = np.clip(chance * (1 + np.minimum(room, 1) * apart), 0, 1)
    return told


def shared(fitted: Fitted, homes: _Homes) -> Floats:
    """(SHARED, n, weeks) chance of each week given the pace, slowest first; given the front where the utility serves in order."""
    in_order = fitted.weight[len(CANDIDATES) :, homes.utility].sum() >= FRONT_FROM
    return _given_front(fitted, homes) if in_order else _given_pace(fitted, homes)


def _given_pace(fitted: Fitted, homes: _Homes) -> Floats:
    u, learned, calendars = homes.utility, fitted.learned, fitted.calendars
    one = np.array([u])
    worked = float(calendars.count(one, fitted.as_of + 364)[0] - calendars.count(one, fitted.as_of)[0])
    edges = homes.ahead.max(axis=0)
    middle = (edges[:-1] + edges[1:]) / 2 * 364 / max(worked, 1.0)  # about so many calendar days ahead
    levels = (2 * np.arange(SHARED) + 1) / (2 * SHARED)
    told = np.zeros((SHARED, homes.age.size, middle.size))
    later = homes.age[:, None] + homes.ahead
    row, now = np.zeros_like(later), np.zeros_like(homes.age)
    for candidate in range(len(CANDIDATES)):
        rate = rates(learned.hazard[candidate, u])[None]
        upto = summed(rate)
        rise = homes.factor[:, None] * (at_age(rate, upto, row, later) - at_age(rate, upto, now, homes.age)[:, None])
        mean, variance = pace.over(middle, learned.a[candidate, u], learned.b[candidate, u])
        shape = mean**2 / variance
        speed = gammaincinv(shape, levels[:, None]) * mean / shape  # (SHARED, weeks)
        gone = np.exp(-speed[:, None] * rise[:, :-1]) - np.exp(-speed[:, None] * rise[:, 1:])
        told += fitted.among[candidate, u] * gone
    return told


def _given_front(fitted: Fitted, homes: _Homes) -> Floats:
    """Nine equally likely groups of states, in order of how likely they leave the home of middle age open."""
    weight = fitted.weight[len(CANDIDATES) :, homes.utility]
    weight = weight / weight.sum()
    home = int(np.argsort(homes.age, kind="stable")[homes.age.size // 2])
    told = np.zeros((SHARED, homes.age.size, homes.ahead.shape[1] - 1))
    for sharpness in np.flatnonzero(weight >= 0.01).tolist():
        table = fronts.open_table()[sharpness]
        chance = fitted.seen.chance[sharpness, :, homes.utility].ravel()
        for week in range(told.shape[2]):
            start, end = homes.ahead[:, week], homes.ahead[:, week + 1]
            middle = np.array([start[home] + end[home]]) // 2
            group = equal_groups(chance, _open(table, middle, homes.age[[home]])[:, 0])
            # Only the offsets that this week needs are averaged.
            first, last = (int(np.searchsorted(fronts.OFFSETS, at, side="right")) for at in (start.min(), end.max()))
            some = slice(max(first - 2, 0), last + 1)
            grouped = np.tensordot(group, table[:, some], axes=1)
            open_at = [_open(grouped, at, homes.age, fronts.OFFSETS[some]) ** homes.factor for at in (start, end)]
            told[:, :, week] += weight[sharpness] * np.maximum(open_at[0] - open_at[1], 0)
    return told


def equal_groups(chance: Floats, still_open: Floats) -> Floats:
    """(SHARED, states) shares, adding to 1 in each group, of states with these chances, likeliest open first; a state may be split."""
    order = np.argsort(-still_open, kind="stable")
    ends = np.cumsum(chance[order])
    edges = np.arange(SHARED + 1)[:, None] / SHARED * ends[-1]
    upto = np.clip(np.minimum(edges, ends) - (ends - chance[order]), 0, chance[order])
    group = np.empty((SHARED, chance.size))
    group[:, order] = np.diff(upto, axis=0)
    told: Floats = group / group.sum(axis=1, keepdims=True)
    return told


def _open(table: Floats, ahead: Rows, age: Rows, offsets: Rows = fronts.OFFSETS) -> Floats:
    """(k, n) straight between the offsets and ages of a front table, (k, offsets, AGES)."""
    lower, share = fronts.age_places(age)
    held = np.clip(ahead, offsets[0], offsets[-1])
    node = np.clip(np.searchsorted(offsets, held, side="right") - 1, 0, offsets.size - 2)
    step = (held - offsets[node]) / (offsets[node + 1] - offsets[node])
    near, far = (
        table[:, node + more, lower] + share * (table[:, node + more, lower + 1] - table[:, node + more, lower]) for more in (0, 1)
    )
    told: Floats = near + step * (far - near)
    return told
