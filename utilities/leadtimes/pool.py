"""What all utilities have in common: one shape of the hazard, moved to each utility's own time scale."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .classes import CLASSES, FIRST, GROWTH, STEP, WIDTH
from .history import Floats, Rows
from .parts import WHOLE, Parts

# One pretended fitting in 40 days steadies the very first records.
PRETENDED_DAYS = 40
LEAST_SPREAD = 0.05  # variance of log scales between utilities
SPREAD_OF_FEW = 0.4
WEIGHED_IN_FULL = 60  # fittings: a giant counts for no more, or it would be the pool
TEXTBOOK_REQUESTS = 20
NEXT_TO_NONE = 0.01  # requests: they speak only where nothing else does
SMOOTHING = 1.76  # classes, 0.17 in log age

# The shape stands at positions b - k: k classes below the age, so that at position 0 the age is a quarter of the usual wait.
LEAST_SHIFT, MOST_SHIFT = -20, 180
POSITIONS = CLASSES + MOST_SHIFT - LEAST_SHIFT
_POSITION: Floats = np.arange(POSITIONS, dtype=np.float64) - MOST_SHIFT
_MIDDLE: Floats = FIRST * np.power(GROWTH, _POSITION - 0.5)
_WIDTH: Floats = FIRST * (np.power(GROWTH, _POSITION) - np.power(GROWTH, _POSITION - 1.0))

_TRIED_SHAPES = 0.8 * 1.1 ** np.arange(23)  # 0.8 ... 6.5
_TRIED_SCALES = 0.35 * 1.15 ** np.arange(14)


@dataclass(frozen=True)
class Pool:
    """scale: (utilities,) natural log of the usual wait in working days. centre, spread: mean and variance of it over utilities.

    shape: (POSITIONS,) hazard at an age of so many classes from a quarter of the usual wait, per usual wait.
    """

    scale: Floats
    centre: float
    spread: float
    shape: Floats

    def hazard(self, shifted: float = 0.0) -> Floats:
        """(utilities, CLASSES) hazard per working day, at each utility's scale times e^shifted."""
        k = shift_of(self.scale + shifted)[:, None]
        hazard: Floats = self.shape[np.arange(CLASSES) - k + MOST_SHIFT] * np.power(GROWTH, -k.astype(np.float64))
        return hazard


def shift_of(scale: Floats) -> Rows:
    """Whole classes by which a log scale moves the shape."""
    return np.clip(np.rint(scale / STEP), LEAST_SHIFT, MOST_SHIFT).astype(np.intp)


def pool_of(fitted: Floats, waited: Floats, parts: Parts = WHOLE) -> Pool:
    """The pool of all counts. fitted, waited: (utilities, CLASSES), over all time. Source: FORECASTING.md section 4."""
    scale, centre, spread = scales(fitted.sum(axis=1), waited.sum(axis=1))
    if not parts.own_scale:
        scale = np.full_like(scale, centre)
    if not fitted.any():
        return Pool(scale=scale, centre=centre, spread=spread, shape=np.ones(POSITIONS))
    moved = np.zeros((2, POSITIONS))
    k = shift_of(scale)
    place = np.arange(CLASSES) - k[:, None] + MOST_SHIFT
    weight = np.minimum(1, WEIGHED_IN_FULL / np.maximum(fitted.sum(axis=1), 1e-9))[:, None]
    for which, counts in enumerate((fitted * weight, waited * weight * np.power(GROWTH, -k[:, None].astype(np.float64)))):
        moved[which] = np.bincount(place.ravel(), weights=counts.ravel(), minlength=POSITIONS)
    h0 = textbook(moved[0], moved[1])
    e0, f0 = pretended(h0, _WIDTH)
    smooth = _smooth(moved)
    added = TEXTBOOK_REQUESTS if parts.textbook else NEXT_TO_NONE
    shape = (added * f0 + smooth[0]) / (added * e0 + smooth[1])
    return Pool(scale=scale, centre=centre, spread=spread, shape=shape)


def scales(n: Floats, r: Floats) -> tuple[Floats, float, float]:
    """Log scale of each utility, drawn towards the centre of all; that centre; variance between utilities.

    n, r: (utilities,) fittings and working days waited. An empirical Bayes estimate, the variance by moments.
    """
    # Exact sums: the order of the utilities must not matter.
    g = (math.fsum(n) + 1) / (math.fsum(r) + PRETENDED_DAYS)
    raw, noise = np.log((r + 0.5 / g) / (n + 0.5)), 1 / (n + 0.5)
    weight = n / (n + 4)
    centre, spread, whole = math.log(1 / g), SPREAD_OF_FEW, math.fsum(weight)
    if whole > 0:
        centre = math.fsum(weight * raw) / whole
        if np.count_nonzero(n > 3) > 1:
            spread = max(math.fsum(weight * ((raw - centre) ** 2 - noise)) / whole, LEAST_SPREAD)
    return centre + spread / (spread + noise) * (raw - centre), centre, spread


def textbook(fitted: Floats, waited: Floats) -> Floats:
    """Mean of the likeliest log-logistic and the likeliest Weibull hazard on a grid, each with a normal prior; (POSITIONS,)."""
    b, s = _TRIED_SHAPES[:, None, None], _TRIED_SCALES[:, None]
    x = (_MIDDLE / s) ** b
    best = []
    for hazard, usual_b, width_b, usual_s in (
        (b * x / (_MIDDLE * (1 + x)), 1.8, 0.2, 0.75),
        (b * x / _MIDDLE, 1.5, 0.3, 1.0),
    ):
        prior = (np.log(b / usual_b) / width_b) ** 2 + (np.log(s / usual_s) / 0.2) ** 2
        told = np.log(hazard) @ fitted - hazard @ waited - prior[..., 0] / 2
        best.append(hazard.reshape(-1, POSITIONS)[np.argmax(told)])
    mean: Floats = (best[0] + best[1]) / 2
    return mean


def pretended(h0: Floats, width: Floats = WIDTH) -> tuple[Floats, Floats]:
    """Days waited e0 and fittings f0 that one pretended request of hazard h0 brings to each class; both shaped as h0, (..., classes).

    e0 = (S0 - S1)/h0, S0 and S1 the curve at both ends of a class. At old ages S0 underflows to 0, so e0 is kept above a
    thousandth of the class. Source: Susarla & Van Ryzin (1976), J. Am. Stat. Assoc. 71, 897-902; Ferguson & Phadia (1979), Ann.
    Stat. 7, 163-186 (both from memory): the estimate under a Dirichlet or beta-Stacy process, by age class.
    """
    within = h0 * width
    total = np.cumsum(within, axis=-1)
    e0 = np.maximum(np.exp(within - total) * -np.expm1(-within) / h0, 0.001 * width)
    return e0, h0 * e0


def _smooth(counts: Floats) -> Floats:
    """(2, POSITIONS) smoothed along positions by a normal kernel whose weights add to 1."""
    reach = np.arange(-8, 9)
    kernel = np.exp(-((reach / SMOOTHING) ** 2) / 2)
    kernel /= kernel.sum()
    return np.stack([np.convolve(row, kernel, mode="same") for row in counts])
