"""Utilities that serve in order of filing: where the service front stands, how fast it moves, and what that says of a request.

Lag = working days from the filing day served now to today. Speed = days of filing served in a working day: 1 keeps the lag. A state is
a lag and a speed; what is known of them is a chance for each state, carried from fortnight to fortnight (a grid filter). Six
candidates differ in sharpness, how strictly in order they serve, and in how lasting a speed is. Source: FORECASTING.md section 7a, which
has the lasting ones only: where many are served on one day of a month, each day looks like a new speed, and one that lasts foretells
dates far too late.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.special import log_ndtr

from .candidates import RECORD_KEPT
from .classes import CLASSES, LOWER, UPPER, Integers, at_age, rates, summed
from .history import Floats, Rows
from .parts import WHOLE, Parts

SHARPNESS = (5, 10, 20)
SPEEDS_KEPT = (0.8, 0.2)  # chance that a speed is still the same a fortnight later
LAGS: Floats = np.power(1.15, np.arange(46, dtype=np.float64))  # 1 to 540 working days
LAG_STEP = float(np.log(1.15))
SPEEDS: Floats = np.array([0.05, 0.5, 0.75, 1, 1.25, 1.8])
SPEED_CHANCES: Floats = np.array([0.03, 0.10, 0.24, 0.29, 0.24, 0.10])
STRIDE = 10  # working days of a fortnight
LOG_PRIOR = -2.0  # of each front
START_SPREAD = 0.5  # of ln lag around the utility's log scale
# A chance never quite 0, so that a change of mind is possible and no sum is.
_LEAST = 1e-100

STATES = (SPEEDS.size, LAGS.size)


@dataclass(frozen=True)
class Front:
    sharpness: int
    kept: float  # one of SPEEDS_KEPT


FRONTS = tuple(Front(sharpness, kept) for kept in SPEEDS_KEPT for sharpness in SHARPNESS)
_KEPT: Floats = np.array([front.kept for front in FRONTS])[:, None, None, None]


@dataclass(frozen=True)
class Seen:
    """chance: (fronts, speeds, utilities, lags) at the as-of day, adding to 1 for each. record: (fronts, utilities) log score."""

    chance: Floats
    record: Floats


def open_share(x: Floats, sharpness: float) -> Floats:
    """Share not yet served at x = age/lag: in order, jumped the line, passed over."""
    return 0.93 / (1 + x**sharpness) + 0.03 * np.exp(-1.5 * x) + 0.04 / (1 + (x / 3) ** 1.5)


def log_prior(scale: Floats, parts: Parts = WHOLE) -> Floats:
    """(utilities,) ln prior of each front: one that would be years away is not looked for."""
    if not parts.fronts:
        return np.full_like(scale, -np.inf)
    prior: Floats = LOG_PRIOR + log_ndtr((np.log(540) - scale) / START_SPREAD)
    return prior


def moved_lag(lag: Floats, speed: Floats) -> Floats:
    """The lag a fortnight later. A fast front comes near today without passing it."""
    return np.where(speed <= 1, lag + STRIDE * (1 - speed), lag * np.exp(-STRIDE * (speed - 1) / lag))


def moves() -> Floats:
    """(speeds, lags, lags) chance that a lag of the grid (first) becomes another (second) in a fortnight at a speed."""
    place = np.clip(np.log(moved_lag(LAGS, SPEEDS[:, None])) / LAG_STEP, 0, LAGS.size - 1)
    below = np.minimum(place.astype(np.intp), LAGS.size - 2)
    share = place - below
    speed, lag = np.indices(place.shape)
    chance = np.zeros((SPEEDS.size, LAGS.size, LAGS.size))
    chance[speed, lag, below] = 1 - share
    chance[speed, lag, below + 1] = share
    return chance


def hazards(sharpness: float) -> Floats:
    """(CLASSES, lags) chance per working day at speed 1."""
    opened, closed = (np.log(open_share(edge[:, None] / LAGS, sharpness)) for edge in (LOWER, UPPER))
    return -np.expm1((closed - opened) / (UPPER - LOWER)[:, None])


def start(scale: Floats) -> Floats:
    """(speeds, utilities, lags) chances at a utility's first period."""
    off = -(((np.log(LAGS) - scale[:, None]) / START_SPREAD) ** 2) / 2
    lag = np.exp(off - off.max(axis=1, keepdims=True))
    chance: Floats = SPEED_CHANCES[:, None, None] * lag / lag.sum(axis=1, keepdims=True)
    return chance


def moved(chance: Floats) -> Floats:
    """A fortnight on: the speed is kept or drawn anew, then moves the lag. chance: (fronts, speeds, utilities, lags)."""
    anew = SPEED_CHANCES[:, None, None] * chance.sum(axis=-3, keepdims=True)
    there: Floats = np.matmul(_KEPT * chance + (1 - _KEPT) * anew, _moves())
    return there


def learned(chance: Floats, fitted_log: Floats, number: Floats, waited: Floats) -> tuple[Floats, Floats]:
    """Chances after a period's counts, and the log score of the period.

    chance: (..., speeds, utilities, lags). fitted_log, waited: (..., utilities, lags) sums of D ln h1 and of R h1. number: (utilities,)
    fittings. The log likelihood of a state is sum(D ln h1) + N ln v - v sum(R h1).
    """
    told = fitted_log[..., None, :, :] + (number * np.log(SPEEDS)[:, None])[:, :, None] - SPEEDS[:, None, None] * waited[..., None, :, :]
    highest = told.max(axis=(-3, -1), keepdims=True)
    weighed = np.maximum(chance, _LEAST) * np.exp(np.maximum(told - highest, -600))
    whole = weighed.sum(axis=(-3, -1), keepdims=True)
    return weighed / whole, (np.log(whole) + highest)[..., 0, :, 0]


def watch(fitted: Floats, waited: Floats, scale: Floats) -> Seen:
    """Follow the fronts of some utilities through the fortnights; fitted, waited: (periods, utilities, CLASSES), scale: (utilities,)."""
    chance = np.repeat(start(scale)[None], len(FRONTS), axis=0)
    record = np.zeros((len(FRONTS), scale.size))
    # What a period tells of a state is the same whether speeds last or not.
    both = (len(SPEEDS_KEPT), len(SHARPNESS))
    begun = np.zeros(scale.size, dtype=bool)
    log_h1, h1 = _grids()
    shape = (scale.size, len(SHARPNESS), LAGS.size)
    for period in range(len(fitted)):
        number = fitted[period].sum(axis=1)
        if begun.all():
            chance = moved(chance)
        elif begun.any():
            chance[:, :, begun] = moved(chance[:, :, begun])
        begun |= waited[period].any(axis=1)
        fitted_log = np.moveaxis((fitted[period] @ log_h1).reshape(shape), 1, 0)
        days = np.moveaxis((waited[period] @ h1).reshape(shape), 1, 0)
        by_both, score = learned(chance.reshape(*both, *chance.shape[1:]), fitted_log, number, days)
        chance, score = by_both.reshape(chance.shape), score.reshape(record.shape)
        record = RECORD_KEPT * record + score
    return Seen(chance=chance, record=record)


# What a front says of the days to come.

# Ages at which it is worked out; between them ln A is straight.
AGES: Rows = np.unique(np.concatenate([np.arange(0, 40), np.arange(40, 120, 2), np.arange(120, 300, 5), np.arange(300, 1201, 20)]))
_FORTNIGHTS = (1, 2, 3, 4, 5, 6, 7, 8, 10, 12, 14, 17, 20, 24, 29, 35, 42, 50, 60, 72, 86, 100, 110)
OFFSETS: Rows = np.array([0, 2, 5, *(STRIDE * n for n in _FORTNIGHTS)])  # working days ahead


@cache
def open_table() -> Floats:
    """Chance to be still open: (fronts, speeds * lags, OFFSETS, AGES) for a state now, working days ahead and an age now.

    A(n; a, state) = sum over next states of chance x exp(-rates from a to a + 10 in it) x A(n - 1; a + 10, next state), A(0) = 1.
    """
    table = np.ones((len(FRONTS), SPEEDS.size * LAGS.size, OFFSETS.size, AGES.size))
    for place, front in enumerate(FRONTS):
        h = (SPEEDS[:, None, None] * hazards(front.sharpness).T).reshape(-1, CLASSES)
        passing = _passing(rates(h))
        state = np.arange(len(h))[None, :]
        total = summed(rates(h))
        for offset in (1, 2):
            days = int(OFFSETS[offset])
            gone = at_age(rates(h), total, state, AGES[:, None] + days) - at_age(rates(h), total, state, AGES[:, None])
            table[place, :, offset] = _before_move(np.exp(-gone), front.kept).T
        a = np.ones((AGES.size, len(h)))
        lower, share = age_places(AGES + STRIDE)
        for n in range(1, _FORTNIGHTS[-1] + 1):
            log_a = np.log(a)
            later = log_a[lower] + share[:, None] * (log_a[lower + 1] - log_a[lower])
            a = _before_move(np.exp(later - passing), front.kept)
            if n in _FORTNIGHTS:
                table[place, :, 3 + _FORTNIGHTS.index(n)] = a.T
    return table


def log_open(chance: Floats, front: int) -> Floats:
    """ln of the chance to be still open, (utilities, OFFSETS, AGES), under one of FRONTS from chances (speeds, utilities, lags)."""
    by_state = np.swapaxes(chance, 0, 1).reshape(chance.shape[1], -1)
    told: Floats = np.log(by_state @ open_table()[front].reshape(by_state.shape[1], -1))
    return told.reshape(-1, OFFSETS.size, AGES.size)


def age_places(age: Integers) -> tuple[Rows, Floats]:
    """Place of the grid age at or below each age, and the share of the way to the next one."""
    held = np.clip(age, 0, AGES[-1])
    lower = np.minimum(np.searchsorted(AGES, held, side="right") - 1, AGES.size - 2)
    return lower, (held - AGES[lower]) / (AGES[lower + 1] - AGES[lower])


def lag_and_speed(chance: Floats) -> tuple[Floats, Floats]:
    """(fronts, utilities) each: e to the mean ln lag in working days, and the mean speed."""
    lag = np.exp(np.einsum("csul,l->cu", chance, np.log(LAGS)))
    return lag, np.einsum("csul,s->cu", chance, SPEEDS)


def _passing(rate: Floats) -> Floats:
    """(AGES, states) rates summed from each age over a stride."""
    state, total = np.arange(len(rate))[None, :], summed(rate)
    return at_age(rate, total, state, AGES[:, None] + STRIDE) - at_age(rate, total, state, AGES[:, None])


def _before_move(later: Floats, kept: float) -> Floats:
    """(ages, states) mean over next states of what holds in them, by state before the move."""
    by = later.reshape(len(later), *STATES)
    there = np.matmul(np.moveaxis(by, 1, 0), np.swapaxes(_moves(), 1, 2))  # (speeds, ages, lags)
    mean = kept * there + (1 - kept) * np.tensordot(SPEED_CHANCES, there, axes=1)
    before: Floats = np.moveaxis(mean, 0, 1).reshape(len(later), -1)
    return before


@cache
def _moves() -> Floats:
    return moves()


@cache
def _grids() -> tuple[Floats, Floats]:
    """ln h1 and h1 of all sharpnesses side by side: (CLASSES, sharpnesses * lags)."""
    h1 = np.concatenate([hazards(sharpness) for sharpness in SHARPNESS], axis=1)
    return np.log(h1), h1
