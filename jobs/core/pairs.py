"""The old consumption CTs against the collar, read at the same instants: bias, limits of agreement, and what the pairs leave open. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from jobs.core import words

LEAST_PAIRS: Final = 6
# A proposal of ours, no source (TRADE.md 2.1.7).
LEAST_BIAS_W: Final = 50.0
BIAS_SHARE: Final = 0.03
LEAST_SPAN_W: Final = 1_000  # low and high load are this far apart, or the pairs say nothing of the range between
NEAR_ZERO_W: Final = 50  # a sign of less is the noise of a meter

CONSISTENT, INCONSISTENT, CANNOT_TELL = "consistent", "inconsistent", "cannot tell"


@dataclass(frozen=True, slots=True)
class Pair:
    """Net power at one instant, W; import positive, export negative."""

    cts_w: int
    collar_w: int

    @property
    def difference_w(self) -> int:
        return self.cts_w - self.collar_w

    @property
    def signs_disagree(self) -> bool:
        return self.cts_w * self.collar_w < 0 and min(abs(self.cts_w), abs(self.collar_w)) > NEAR_ZERO_W


@dataclass(frozen=True, slots=True)
class Agreement:
    """In watts. low, high: the limits of agreement, between which 95 of 100 differences lie if they are spread evenly about their mean."""

    bias_w: float
    spread_w: float
    low_w: float
    high_w: float


@dataclass(frozen=True, slots=True)
class Compared:
    agreement: Agreement
    verdict: str  # consistent, inconsistent, cannot tell
    told: str  # the verdict's reason, a sentence


def agreement(differences_w: Sequence[float]) -> Agreement:
    """Bias and limits of agreement of n >= 2 differences in watts: mean and mean -+ 1.96 standard deviations (n - 1).

    Raises ValueError for fewer than two.

    Source: Bland and Altman, Lancet 1986; 327: 307-310 (from memory).
    """
    count = len(differences_w)
    if count < 2:
        raise ValueError("Two pairs of readings at least are wanted.")
    bias = math.fsum(differences_w) / count
    spread = math.sqrt(math.fsum((difference - bias) ** 2 for difference in differences_w) / (count - 1))
    return Agreement(bias, spread, bias - 1.96 * spread, bias + 1.96 * spread)


def compared(pairs: Sequence[Pair], *, has_pv: bool) -> Compared:
    """What the pairs show: gross faults only, sign and scale; it is no measurement of accuracy."""
    found = agreement([pair.difference_w for pair in pairs])
    if opposed := [pair for pair in pairs if pair.signs_disagree]:
        first = opposed[0]
        told = f"One says import and the other export: CTs {words.watts(first.cts_w)}, collar {words.watts(first.collar_w)}."
        return Compared(found, INCONSISTENT, told)
    mean = math.fsum(abs(pair.collar_w) for pair in pairs) / len(pairs)
    allowed = max(LEAST_BIAS_W, BIAS_SHARE * mean)
    if abs(found.bias_w) > allowed:
        return Compared(
            found, INCONSISTENT, f"The mean difference is {words.watts(found.bias_w)}, more than {words.watts(allowed)} either way."
        )
    if wanting := _wanting(pairs, has_pv=has_pv):
        return Compared(found, CANNOT_TELL, f"Still wanted: {words.listed(wanting)}.")
    return Compared(found, CONSISTENT, f"The mean difference is {words.watts(found.bias_w)}, within {words.watts(allowed)} either way.")


def _wanting(pairs: Sequence[Pair], *, has_pv: bool) -> list[str]:
    wanting = []
    if len(pairs) < LEAST_PAIRS:
        wanting.append(f"{LEAST_PAIRS} pairs or more (these are {len(pairs)})")
    collar = [pair.collar_w for pair in pairs]
    if max(collar) - min(collar) < LEAST_SPAN_W:
        wanting.append(f"pairs at low and at high load, {words.watts(LEAST_SPAN_W)} apart")
    if has_pv and min(collar) >= -NEAR_ZERO_W:
        wanting.append("a pair while PV exports")
    return wanting
