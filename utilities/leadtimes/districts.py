"""Districts: how much faster or slower than its utility as a whole one of its parts is served."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .ages import Waits
from .classes import at_age, summed
from .history import NO_DISTRICT, Days, Floats
from .parts import WHOLE, Parts

STRENGTH = 25.0  # fittings that hold the factor at 1
HALF_LIFE = 500  # days since the outcome


@dataclass(frozen=True)
class Districts:
    """key: (pairs,) utility and district in one number, in order. factor: (pairs,) of the hazard."""

    key: Days
    factor: Floats

    def of(self, utility: Days, district: Days) -> Floats:
        """Factor of each request, 1 where the district is blank or unheard of."""
        if not self.key.size:
            return np.ones(utility.size)
        wanted = _key(utility, district)
        place = np.minimum(np.searchsorted(self.key, wanted), self.key.size - 1)
        return np.where((self.key[place] == wanted) & (district != NO_DISTRICT), self.factor[place], 1.0)


def districts_of(waits: Waits, hazard: Floats, as_of: int, parts: Parts = WHOLE) -> Districts:
    """Compare fittings with what the utility's hazard, (utilities, CLASSES), expected of the same requests.

    factor = (25 + n)/(25 + e), n fittings and e expected ones, both faded by the days since the outcome, e first scaled so that the
    utility as a whole has factor 1. Source: FORECASTING.md section 8.
    """
    if not (parts.district and (waits.district != NO_DISTRICT).any()):
        return Districts(key=np.empty(0, dtype=np.int64), factor=np.empty(0))
    faded = waits.weight * 0.5 ** ((as_of - waits.until) / HALF_LIFE)
    total, utility = summed(hazard), waits.utility
    n = faded * waits.fitted
    e = faded * (at_age(hazard, total, utility, waits.end) - at_age(hazard, total, utility, waits.entry))
    n_all = np.bincount(utility, weights=n, minlength=len(hazard))
    e_all = np.bincount(utility, weights=e, minlength=len(hazard))
    e *= (n_all / np.maximum(e_all, 1e-300))[utility]
    placed = waits.district != NO_DISTRICT
    key, pair = np.unique(_key(utility[placed], waits.district[placed]), return_inverse=True)
    n_each = np.bincount(pair, weights=n[placed], minlength=key.size)
    e_each = np.bincount(pair, weights=e[placed], minlength=key.size)
    return Districts(key=key, factor=(STRENGTH + n_each) / (STRENGTH + e_each))


def _key(utility: Days, district: Days) -> Days:
    return (utility.astype(np.int64) << 32) + district
