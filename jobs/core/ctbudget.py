"""What a power reading may be wrong by: a budget of named contributions after the GUM. Pure, watts throughout.

Source: JCGM 100:2008 (GUM) 4.3.7 (half-width a of a rectangular spread: a / sqrt 3; display step q: q / sqrt 12),
5.1.2 (independent contributions add in squares), 6.2 (expanded uncertainty U = k u_c, here k = 2).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from math import isfinite, sqrt
from typing import Final

COVERAGE: Final = 2.0
# A load whose watts were read at the outlet while it ran. Our own judgement of a plug-in power meter: one per cent.
MEASURED_LOAD_PERCENT: Final = 1.0


@dataclass(frozen=True)
class Budget:
    """What the readings may be wrong by. Percentages and the display are half-widths and steps of a rectangular spread,
    noise_w is a standard deviation. The defaults are TRADE.md 2.1.5's example: common practice, no source."""

    ct_percent: float = 1.5
    meter_percent: float = 0.5
    load_percent: float = 5.0
    display_w: float = 100.0
    noise_w: float = 50.0

    def __post_init__(self) -> None:
        for name, value in asdict(self).items():
            if not (isfinite(value) and value >= 0):
                raise ValueError(f"The budget's {name} must be zero or more, not {value}.")


@dataclass(frozen=True)
class Contribution:
    """One source of doubt: what it is, the half-width, step or deviation it was given by, and its standard uncertainty u."""

    name: str
    given: str
    u_w: float


def contributions(level_w: float, *, load_w: float, budget: Budget, times: float = 1.0) -> tuple[Contribution, ...]:
    """The doubts of one result, each with its standard uncertainty in watts.

    level_w: the highest reading behind it, on which the CT's and the meter's percentages act.
    load_w: the part of the known load expected in it, zero where it should not show.
    times: in how many readings' worth of variance display and noise count: 1 of a single reading, 1 1/2 of one reading
        less the mean of two, 2 of one reading less another.
    """
    level, load = abs(level_w), abs(load_w)
    return (
        _percent("the CT", budget.ct_percent, level),
        _percent("the metering behind it", budget.meter_percent, level),
        _percent("the known load", budget.load_percent, load),
        Contribution("the display's last digit", f"steps of {budget.display_w:g} W", sqrt(times / 12) * budget.display_w),
        Contribution("the house meanwhile", f"deviation of {budget.noise_w:g} W", sqrt(times) * budget.noise_w),
    )


def _percent(name: str, percent: float, of_w: float) -> Contribution:
    return Contribution(name, f"±{percent:g} % of {of_w:,.0f} W", percent / 100 * of_w / sqrt(3))


def combined_w(parts: Sequence[Contribution]) -> float:
    """u_c: the standard uncertainty of them all, in watts."""
    return sqrt(sum(part.u_w**2 for part in parts))


def tolerance_w(level_w: float, *, load_w: float, budget: Budget, bracketed: bool = True) -> float:
    """U = 2 u_c in watts: how far a reading, or a step bracketed by two baselines, may lie from what is expected."""
    return COVERAGE * combined_w(contributions(level_w, load_w=load_w, budget=budget, times=1.5 if bracketed else 1.0))
