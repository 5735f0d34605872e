"""Which candidate to believe at a utility: by its record there, a little by its record elsewhere, and by its prior."""

from __future__ import annotations

import math

import numpy as np

from .history import Floats
from .parts import WHOLE, Parts

ELSEWHERE = 0.1


def log_weights(record: Floats, log_prior: Floats, parts: Parts = WHOLE) -> Floats:
    """(candidates, utilities) ln weight, but for a constant of each utility. Source: FORECASTING.md section 7.

    record: running log scores. A utility without history takes what has worked elsewhere.
    """
    if not parts.record:
        return log_prior
    total = np.array([math.fsum(one) for one in record])[:, None]  # exact: the order of the utilities must not matter
    # Records elsewhere are compared with each other only; less their highest, the numbers stay small.
    total -= total.max(axis=0, initial=-np.inf) if total.size else 0
    told: Floats = (1 - ELSEWHERE) * record + ELSEWHERE * total + log_prior
    return told


def weights(log_weight: Floats) -> Floats:
    """(candidates, utilities) of which each utility's add up to 1."""
    weight = np.exp(log_weight - log_weight.max(axis=0)) if log_weight.size else log_weight.copy()
    each: Floats = weight / weight.sum(axis=0)
    return each
