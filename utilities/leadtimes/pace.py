"""Recent pace: how fast a utility works now, as a multiple of its own past. It follows a gamma law of shape a and rate b.

a/b = 1 is the past's own pace, 0.77 is "1.3 times slower". Source: FORECASTING.md sections 6 to 8; the marginal law of a Poisson
count with gamma pace is negative binomial.
"""

from __future__ import annotations

import numpy as np
from scipy.special import gammaln

from .history import Floats

START = 4.0  # shape and rate before anything is known
KEPT = 0.95  # per fortnight: half of the memory is gone after about half a year
CERTAIN = 1e6  # shape and rate of a pace that is 1
_SHORTEST = 1e-6


def forget(part: Floats) -> Floats:
    """Shape or rate a fortnight later, drawn toward 1 = START/START."""
    return KEPT * part + (1 - KEPT) * START


def log_chance(number: Floats, expected: Floats, a: Floats, b: Floats) -> Floats:
    """ln of the negative binomial chance of so many fittings where so many were expected, without its factorials; alike in shape."""
    served = np.where(number > 0, number * np.log1p(b / np.maximum(expected, 1e-300)), 0)
    told: Floats = gammaln(a + number) - gammaln(a) + a * np.log(b / (b + expected)) - served
    return told


def over(days: Floats, a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of the pace over the coming calendar days: known now as (a, b), it drifts back to 1; shapes broadcast."""
    z = -np.log(KEPT) * days / 14
    short = z < _SHORTEST
    z = np.where(short, 1.0, z)
    q = np.where(short, 1.0, -np.expm1(-z) / z)
    r = np.where(short, 1.0, 2 * (1 - q) / z)
    mean = q * a / b + 1 - q
    # What we do not know now, and what may still change.
    variance = q**2 * a / b**2 + np.maximum(r - q**2, 0) / 4
    return mean, variance


def log_open(summed: Floats, mean: Floats, variance: Floats) -> Floats:
    """ln of the chance to be still open after a summed rate, the gamma pace averaged out; shapes broadcast."""
    s = mean**2 / variance
    told: Floats = -s * np.log1p(summed * mean / s)
    return told
