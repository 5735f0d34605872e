"""Seven ways to mix a utility's own history with the pool, run side by side and judged by how well each foretold the past.

They differ in how many borrowed requests they add and in how fast they forget. Source: FORECASTING.md sections 5 to 7.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import pace
from .classes import CLASSES
from .counts import FORTNIGHT
from .history import Floats
from .parts import WHOLE, Parts
from .pool import NEXT_TO_NONE, Pool, pretended

SHIFTS = (0.0, -0.5, 0.5)  # of the pool's log scale


@dataclass(frozen=True)
class Candidate:
    shift: int  # place in SHIFTS
    borrowed: int  # requests
    half_life: int  # days


CANDIDATES = (
    Candidate(0, 4, 60),
    Candidate(0, 4, 400),
    Candidate(0, 16, 150),
    Candidate(0, 16, 1500),
    Candidate(0, 64, 1500),
    Candidate(1, 64, 1500),
    Candidate(2, 64, 1500),
)
BORROWED: Floats = np.array([candidate.borrowed for candidate in CANDIDATES], dtype=np.float64)
RECORD_KEPT = 0.97  # of a score, per fortnight
# Where all of a month are fitted on one day, fortnights of none follow fortnights of many. Judged as if its pace were steady, every
# candidate would fail there, and a service front that stands and runs by turns would win although it foretells less.
BATCH_SHAPE = 1.0

_HALF_LIVES = sorted({candidate.half_life for candidate in CANDIDATES})


@dataclass(frozen=True)
class Learned:
    """State at the as-of day of each candidate and utility; a, b, record, own: (candidates, utilities).

    hazard: (candidates, utilities, CLASSES) per working day. a, b: of the pace. record: running log score. own: faded own fittings.
    expected: fittings that were expected of the last 90 days or so (six fortnights), before the pace.
    """

    hazard: Floats
    a: Floats
    b: Floats
    record: Floats
    own: Floats
    expected: Floats


def log_prior(pool: Pool, parts: Parts = WHOLE) -> Floats:
    """(candidates, utilities) ln prior: the shifted ones half each, times how usual such a scale is among utilities."""
    prior = np.zeros((len(CANDIDATES), pool.scale.size))
    off = pool.scale - pool.centre
    for place, candidate in enumerate(CANDIDATES):
        if not parts.memories and candidate.half_life < max(_HALF_LIVES):
            prior[place] = -np.inf
        if candidate.shift:
            shifted = off + SHIFTS[candidate.shift]
            prior[place] = np.log(0.5) - (shifted**2 - off**2) / (2 * pool.spread)
    return prior


def hazard_of(borrowed: float, f0: Floats, e0: Floats, fitted: Floats, waited: Floats) -> Floats:
    """Hazard per class of own counts and so many borrowed requests, each of which brings f0 fittings in e0 days."""
    return (borrowed * f0 + fitted) / (borrowed * e0 + waited)


def learn(fitted: Floats, waited: Floats, h0: Floats, parts: Parts = WHOLE) -> Learned:
    """Go through the fortnights of some utilities, oldest first.

    The record of a candidate is the mean of two: fittings come evenly at the pace known, or in batches (a pace of shape at most 1).

    fitted, waited: (periods, utilities, CLASSES). h0: (shifts, utilities, CLASSES) pool hazards at the scales of SHIFTS.
    """
    periods, utilities, _ = fitted.shape
    shape = (len(CANDIDATES), utilities)
    e0, f0 = pretended(h0)
    of_half_life = [_HALF_LIVES.index(candidate.half_life) for candidate in CANDIDATES]
    own_fitted = np.zeros((len(_HALF_LIVES), utilities, CLASSES))
    own_waited = np.zeros_like(own_fitted)
    kept = 0.5 ** (FORTNIGHT / np.array(_HALF_LIVES))[:, None, None]
    a, b, expected_lately = np.full(shape, pace.START), np.full(shape, pace.START), np.zeros(shape)
    certain = np.full(shape, pace.CERTAIN)
    even, batches = np.zeros(shape), np.zeros(shape)

    def estimates() -> Floats:
        told = []
        for candidate, place in zip(CANDIDATES, of_half_life, strict=True):
            borrowed = candidate.borrowed if parts.borrowing else NEXT_TO_NONE
            told.append(hazard_of(borrowed, f0[candidate.shift], e0[candidate.shift], own_fitted[place], own_waited[place]))
        return np.stack(told)

    for period in range(periods):
        hazard = estimates()
        new_fitted, new_waited = fitted[period], waited[period]
        number = new_fitted.sum(axis=1)
        expected = np.stack([np.einsum("ub,ub->u", one, new_waited) for one in hazard])
        a, b = pace.forget(a), pace.forget(b)
        with_any = np.log(np.maximum(expected, 1e-300)) * (number > 0)
        which = _log_hazards(hazard, new_fitted) - number * with_any
        even = RECORD_KEPT * even + which + pace.log_chance(number, expected, a, b)
        held = np.minimum(1, BATCH_SHAPE / a)
        batches = RECORD_KEPT * batches + which + pace.log_chance(number, expected, held * a, held * b)
        a, b = (a + number, b + expected) if parts.pace else (certain, certain)
        if period >= periods - 6:
            expected_lately += expected
        own_fitted *= kept
        own_waited *= kept
        own_fitted += new_fitted
        own_waited += new_waited
    return Learned(
        hazard=estimates(),
        a=a,
        b=b,
        record=np.logaddexp(even, batches) - np.log(2) if parts.readings else even,
        own=own_fitted.sum(axis=2)[of_half_life],
        expected=expected_lately,
    )


def _log_hazards(hazard: Floats, fitted: Floats) -> Floats:
    """(candidates, utilities) sum over fittings of ln hazard, at the few cells that have any."""
    row, cell = np.nonzero(fitted)
    told = np.zeros(hazard.shape[:2])
    if row.size:
        each = np.log(hazard[:, row, cell]) * fitted[row, cell]
        starts = np.flatnonzero(np.diff(row, prepend=-1))
        told[:, row[starts]] = np.add.reduceat(each, starts, axis=1)
    return told
