"""Power from the utility's meter: its turns or light pulses, timed. Pure. The closed meter's face is read, nothing is touched.

    P [W] = 3600 Kh n TF / t           Kh in Wh a revolution or pulse, n of them in t seconds
    P [W] = 3.6e6 n TF / (impulses per kWh t)

TF = CT ratio times PT ratio, 1 for a self-contained residential meter.

Sources: Handbook for Electricity Metering; NAVFAC MO-221 (TF); Lawrence Berkeley National Laboratory, note on standby power
(Kh 7.2 in 600 s is 43.2 W); uncertainty by JCGM 100:2008 (GUM) 5.1.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from math import isfinite, sqrt
from typing import Final

from jobs.core.ctbudget import COVERAGE
from jobs.core.words import number

# Spread of a person's tap on the instant of a flash. Our own judgement; stated with each result.
TAP_S: Final = 0.2
# So short a count is mostly the thumb's: 0.2 s at each end of 30 s is 0.94 %.
LEAST_S: Final = 30.0
LEAST_TAPS: Final = 3


class Direction(StrEnum):
    """What the meter's face shows beside the pulses; its light alone does not tell on every meter."""

    IMPORT = "import"
    EXPORT = "export"
    NOT_SHOWN = "not shown"


class Mark(StrEnum):
    """How the face gives its constant."""

    KH = "Kh, Wh per revolution or pulse"
    IMPULSES = "impulses per kWh"


@dataclass(frozen=True)
class Timed:
    """Power with the expanded uncertainty of its timing (2 u_c), both in watts and without a sign; how they came about."""

    power_w: float
    expanded_w: float
    count: float
    seconds: float
    tap_s: float

    @property
    def is_long_enough(self) -> bool:
        return self.seconds >= LEAST_S

    @property
    def words(self) -> str:
        long_enough = "" if self.is_long_enough else f" That is short: count for {LEAST_S:g} seconds or more."
        return (
            f"{number(round(self.power_w))} ± {number(round(self.expanded_w))} W from {self.count:g} in {self.seconds:.1f} s, "
            f"each tap taken as right within {self.tap_s:g} s.{long_enough}"
        )


def transformer_factor(*ratios: tuple[float, float]) -> float:
    """TF from (primary, secondary) of each instrument transformer before the meter: (20, 5) and (7200, 120) give 240."""
    factor = 1.0
    for primary, secondary in ratios:
        factor *= _positive("transformer's primary", primary) / _positive("transformer's secondary", secondary)
    return factor


def wh_of(mark: Mark, constant: float) -> float:
    """Watt-hours of one revolution or pulse."""
    if not (isfinite(constant) and constant > 0):
        raise ValueError("The meter's constant must be more than 0, as its face shows it.")
    return constant if mark is Mark.KH else 1000 / constant


def power_w(*, kh: float, count: float, seconds: float, factor: float = 1.0) -> float:
    """Mean power in watts while `count` revolutions or pulses of `kh` watt-hours each passed in `seconds`."""
    for name, value in (("constant", kh), ("count", count), ("time", seconds), ("transformer factor", factor)):
        _positive(name, value)
    return 3600 * kh * count * factor / seconds


def timing_share(seconds: float, *, tap_s: float = TAP_S) -> float:
    """Standard uncertainty of the power, 0 to 1, from a tap at either end of the time: sqrt 2 delta / t."""
    return sqrt(2) * tap_s / _positive("time", seconds)


def timed(*, kh: float, count: float, seconds: float, factor: float = 1.0, tap_s: float = TAP_S) -> Timed:
    """Power from a count and the time between its first and its last tap."""
    found = power_w(kh=kh, count=count, seconds=seconds, factor=factor)
    return Timed(found, COVERAGE * found * timing_share(seconds, tap_s=tap_s), count, seconds, tap_s)


def timed_by_taps(taps: Sequence[float], *, kh: float, factor: float = 1.0, tap_s: float = TAP_S) -> Timed:
    """Power from the instants, in seconds, at which each pulse in turn was tapped: one more tap than pulses between them.

    The time of a pulse is the least-squares slope of the taps over their number, so that each tap helps and not only the
    first and the last: u(slope) = delta / sqrt(sum (i - mean)^2).

    Raises ValueError with a sentence where there are too few, they do not rise, or one pulse was surely missed or tapped twice.
    """
    if len(taps) < LEAST_TAPS:
        raise ValueError(
            f"At least {LEAST_TAPS} taps are wanted, one at each pulse; there {'is' if len(taps) == 1 else 'are'} {len(taps)}."
        )
    gaps = [later - earlier for earlier, later in pairwise(taps)]
    if min(gaps) <= 0:
        raise ValueError("Each tap must come after the one before it; run the timing again.")
    middle = sorted(gaps)[len(gaps) // 2]
    for nth, gap in enumerate(gaps, start=1):
        # Five deviations between two taps are no slip of the thumb, and half of a slow turn is none either.
        if abs(gap - middle) > max(middle / 2, 5 * sqrt(2) * tap_s):
            raise ValueError(
                f"Between tap {nth} and tap {nth + 1} passed {gap:.1f} s, where {middle:.1f} s is usual: a pulse was missed, tapped twice, "
                "or the load changed. Run the timing again."
            )
    n = len(taps)
    mean_i, mean_t = (n - 1) / 2, sum(taps) / n
    spread = sum((i - mean_i) ** 2 for i in range(n))
    a_pulse = sum((i - mean_i) * (tap - mean_t) for i, tap in enumerate(taps)) / spread
    found = power_w(kh=kh, count=1, seconds=a_pulse, factor=factor)
    return Timed(found, COVERAGE * found * tap_s / sqrt(spread) / a_pulse, n - 1, taps[-1] - taps[0], tap_s)


def taps_in(text: str) -> tuple[float, ...]:
    """Instants in seconds as the page keeps them, "0, 2.1, 4.3"; a sentence where one is not a number."""
    found = []
    for part in re.split(r"[\s,;]+", text.strip()):
        if not re.fullmatch(r"[0-9]{1,6}(?:\.[0-9]{1,4})?", part, re.ASCII):
            raise ValueError(f'"{part}" is not an instant. Seconds at each pulse are wanted, such as 0, 2.1, 4.3.')
        found.append(float(part))
    return tuple(found)


def hours_on_register(step_kwh: float, *, share: float, power_kw: float) -> float:
    """How long a register that counts in steps must run until its step is this share of what it counted: hours."""
    return step_kwh / share / power_kw


def signed_w(found: Timed, direction: Direction) -> float | None:
    """Import positive, export negative; None where the face did not show which."""
    return {Direction.IMPORT: found.power_w, Direction.EXPORT: -found.power_w, Direction.NOT_SHOWN: None}[direction]


def _positive(name: str, value: float) -> float:
    if not (isfinite(value) and value > 0):
        raise ValueError(f"The {name} must be more than 0.")
    return value
