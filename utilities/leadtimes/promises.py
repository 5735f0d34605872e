"""A day or window that the utility named: how often it keeps such promises, and what one says of a request while it lies ahead."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .history import Floats

STRENGTH = 10.0  # promises that the mean of all utilities counts for
BEFORE = 0.3  # of the base hazard, until a promise's own window begins


def keep_rate(kept: float, made: float, *, pool: float, strength: float = STRENGTH) -> float:
    """Share of promises a utility keeps, drawn towards the share that all keep; only promises whose window has ended count.

    The mean of a beta law with prior strength x pool and strength x (1 - pool). Source: FORECASTING.md section 9.
    """
    return (strength * pool + kept) / (strength + made)


def pool_rate(kept: Sequence[int], made: Sequence[int]) -> float:
    """Share that all utilities keep; one half while none has promised anything."""
    return (sum(kept) + 1) / (sum(made) + 2)


def early_rate(early: float, made: float, *, pool: float = BEFORE) -> float:
    """Part of the base hazard that holds before a window: from how often a utility comes early, drawn towards the usual 0.3."""
    return keep_rate(early, made, pool=pool)


def log_open(base: Floats, *, first: int, last: int, kept: float, before: float = BEFORE) -> Floats:
    """ln of the chance to be still open under a promise of the working days first ... last ahead.

    base: (days + 1,) ln S without the promise after 0, 1, 2, ... working days. kept: chance over the window, if it is still open when
    the window begins, spread evenly over its working days. Before the window the base rate times `before`; after it, the base rate
    again. A window whose last day is not ahead is spent: base comes back.

    Raises ValueError unless first <= last and 0 <= kept <= 1.
    """
    if first > last or not 0 <= kept <= 1:
        raise ValueError("A promise needs a window that does not end before it begins, and a chance from 0 to 1.")
    if last < 1:
        return base
    opening = max(first, 1)
    days = np.arange(base.size)
    rate = -np.diff(base, prepend=0.0)
    # Of a window that has begun the days that are left have their even share of what is still open.
    whole = last - first + 1
    gone = opening - first
    hazard = np.minimum(kept / np.maximum(whole - kept * (days - opening + gone), 1e-12), 0.98)
    inside = (days >= opening) & (days <= last)
    rate = np.where(days < opening, before * rate, np.where(inside, -np.log1p(-np.where(inside, hazard, 0)), rate))
    rate[0] = 0.0
    told: Floats = -np.cumsum(rate)
    return told
