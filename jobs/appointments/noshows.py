"""How often nobody answers: interval, shrunk chance, chance of at least one. Pure.

Sources: Wilson 1927, J. Am. Stat. Assoc. 22, 209-212, for the interval; the mean of the beta-binomial for the shrunk chance. Checked by
TRADE.md rows L3-L5. For the length of the standby list, never for two homes at one time.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

Z_95: Final = 1.959963984540054  # of the normal distribution, two-sided 95 %
PRIOR_CALLS: Final = 20  # how much the contractor's overall rate weighs in a kind of call with few of them; our own choice
FIRST_GUESS: Final = 0.15  # before any call was held; our own choice, no source


@dataclass(frozen=True)
class Rate:
    """Of `calls` nobody answered `missed`; the interval holds the true share 95 times in 100."""

    missed: int
    calls: int
    low: float
    high: float


def wilson(missed: int, *, calls: int) -> Rate:
    """Share of calls that were missed, with its Wilson interval. Raises ValueError unless 0 <= missed <= calls and calls > 0."""
    if not 0 <= missed <= calls or calls == 0:
        raise ValueError(f"{missed} missed of {calls} calls is no share.")
    share, z2 = missed / calls, Z_95**2
    middle = (share + z2 / (2 * calls)) / (1 + z2 / calls)
    half = Z_95 / (1 + z2 / calls) * math.sqrt(share * (1 - share) / calls + z2 / (4 * calls**2))
    return Rate(missed, calls, max(0.0, middle - half), min(1.0, middle + half))


def shrunk(missed: int, *, calls: int, overall: float) -> float:
    """Chance that the next call of this kind is missed: (missed + a) / (calls + a + b), a / (a + b) the overall rate, a + b = 20."""
    if not 0 <= missed <= calls or not 0 <= overall <= 1:
        raise ValueError(f"{missed} missed of {calls} calls beside a rate of {overall} make no chance.")
    return (missed + overall * PRIOR_CALLS) / (calls + PRIOR_CALLS)


def at_least_one(chance: float, *, calls: int) -> float:
    """Chance that at least one of so many calls is missed, each on its own."""
    return 1 - (1 - chance) ** calls


def standby_wanted(chance: float, *, calls: int, sure: float = 0.9) -> int:
    """The shortest standby list that is long enough, with this certainty, for all calls that may be missed."""
    kept = [math.comb(calls, missed) * chance**missed * (1 - chance) ** (calls - missed) for missed in range(calls + 1)]
    total = 0.0
    for missed, share in enumerate(kept):
        total += share
        if total >= sure - 1e-12:
            return missed
    return calls
