"""By how much a CT reads too much or too little, from several known loads. Pure.

Power reads k = configured ratio / actual ratio; 1 is right. Typical wrong k come of mistaking 100, 200, 250, 400 and 500 A
for each other (ctsignatures.WRONG_RATIOS).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from jobs.core.ctbudget import COVERAGE, Budget


@dataclass(frozen=True)
class Line:
    """Reading = intercept_w + slope * known load. The intercept is the baseline of the house, the slope is k.

    residual_w: standard deviation of what the line leaves over, None where two points leave nothing over.
    """

    slope: float
    intercept_w: float
    residual_w: float | None


def line_of(known_w: Sequence[float], read_w: Sequence[float]) -> Line:
    """The straight line of least squares through (known load, reading), both in watts and of equal number.

    Raises ValueError if there are fewer than two points or only one known load among them: a line has then any slope.

    Source: ordinary least squares, any text; checked against numpy.polyfit.
    """
    if len(known_w) != len(read_w):
        raise ValueError(f"Each known load needs its reading: {len(known_w)} loads came with {len(read_w)} readings.")
    if len(set(known_w)) < 2:
        raise ValueError("At least two different known loads are wanted; the bare baseline counts as a load of 0 W.")
    n = len(known_w)
    mean_known, mean_read = sum(known_w) / n, sum(read_w) / n
    spread = sum((known - mean_known) ** 2 for known in known_w)
    slope = sum((known - mean_known) * (read - mean_read) for known, read in zip(known_w, read_w, strict=True)) / spread
    intercept = mean_read - slope * mean_known
    left_over = sum((read - intercept - slope * known) ** 2 for known, read in zip(known_w, read_w, strict=True))
    return Line(slope, intercept, sqrt(left_over / (n - 2)) if n > 2 else None)


@dataclass(frozen=True)
class Ratio:
    """k of one CT, and U = 2 u_c of it: its true k lies in k ± expanded, as far as the budget is honest."""

    k: float
    expanded: float


def ratio_of(loads_w: Sequence[float], steps_w: Sequence[float], *, level_w: float, budget: Budget) -> Ratio:
    """k from the steps of several known loads on one CT, by least squares through the baselines that were taken off already.

    loads_w, steps_w: (n,) known watts on this CT's leg, and the bracketed steps they gave. level_w: the highest reading behind them.

    Noise and display are new in each step, and more loads lessen them; the percentages of CT, meter and load are the same
    in all, and no number of loads lessens those.

    Raises ValueError where no load was more than 0 W.
    """
    weight = sum(load**2 for load in loads_w)
    if weight <= 0:
        raise ValueError("At least one known load of more than 0 W is wanted to tell a ratio.")
    k = sum(load * step for load, step in zip(loads_w, steps_w, strict=True)) / weight
    largest = max(loads_w)
    same = (
        (budget.ct_percent * level_w / largest) ** 2 + (budget.meter_percent * level_w / largest) ** 2 + (budget.load_percent * k) ** 2
    ) / 3e4
    anew = 1.5 * (budget.display_w**2 / 12 + budget.noise_w**2) / weight
    return Ratio(k, COVERAGE * sqrt(same + anew))
