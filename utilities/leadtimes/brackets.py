"""Fittings known only to lie between two days: shared out over the working days between, by the chance of each."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .ages import Waits
from .classes import at_age, rates, summed
from .history import Floats


def any_bracketed(waits: Waits) -> bool:
    return bool((waits.fitted & (waits.low < waits.end - 1)).any())


def shared_out(waits: Waits, hazard: Floats) -> Waits:
    """Replace each bracketed row by rows that end at each age in (low, end], with weights that add up to 1.

    hazard: (utilities, CLASSES) per working day; a weight is the chance of that day under it, given that the fitting lies in the
    bracket. A bracket of one day stays a known day. The other rows come first, in their order.
    Source: FORECASTING.md section 9; a step of the self-consistent estimate of Turnbull (1976), J. R. Stat. Soc. B 38, 290-295.
    """
    bracketed = waits.fitted & (waits.low < waits.end - 1)
    # In an order that does not depend on the order of the rows, so that sums of shares come out the same to the last bit.
    chosen = np.flatnonzero(bracketed)
    keys = (waits.end, waits.low, waits.entry, waits.start, waits.district, waits.utility)
    chosen = chosen[np.lexsort([key[chosen] for key in keys])]
    days = waits.end[chosen] - waits.low[chosen]
    row = np.repeat(np.arange(chosen.size), days)
    age = np.arange(row.size) - np.repeat(np.cumsum(days) - days, days) + waits.low[chosen][row] + 1
    utility, low = waits.utility[chosen][row], waits.low[chosen][row]

    rate = rates(hazard)
    total = summed(rate)
    gone_before = at_age(rate, total, utility, age - 1) - at_age(rate, total, utility, low)
    chance = np.exp(-gone_before) * -np.expm1(at_age(rate, total, utility, age - 1) - at_age(rate, total, utility, age))
    share = chance / np.bincount(row, weights=chance)[row]

    ages = age.astype(np.int32)
    parts = replace(waits.rows(chosen[row]), low=ages - 1, end=ages, weight=share)
    return waits.rows(~bracketed).followed_by(parts)
