"""What standards and physics say of a CT and its test load: class limits, phase error, where in its range a test stands,
and how CT and collar agree at cut-over. Pure. Designers and the authority decide; this only does the arithmetic."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import acos, cos, radians
from statistics import fmean, stdev
from typing import Final

# Limit of the ratio error in per cent, by class and per cent of the rated primary current.
# Source: IEC 61869-2:2012, Table 201 (0.2, 0.5, 1; burden 25 to 100 %) and Table 202 (0.2S, 0.5S), in secondary copies that agree.
RATIO_ERROR: Final[Mapping[str, Mapping[int, float]]] = {
    "0.2": {5: 0.75, 20: 0.35, 100: 0.2, 120: 0.2},
    "0.5": {5: 1.5, 20: 0.75, 100: 0.5, 120: 0.5},
    "1": {5: 3.0, 20: 1.5, 100: 1.0, 120: 1.0},
    "0.2S": {1: 0.75, 5: 0.35, 20: 0.2, 100: 0.2, 120: 0.2},
    "0.5S": {1: 1.5, 5: 0.75, 20: 0.5, 100: 0.5, 120: 0.5},
}
# Differences that a home's metering may show at cut-over: TRADE.md 2.1.7, our own proposal.
LEAST_PAIRS: Final = 6
BIAS_W: Final = 50.0
BIAS_SHARE: Final = 0.03


def ratio_error_limit(accuracy_class: str, *, percent_of_rated: float) -> float | None:
    """The class's limit in per cent at this share of the rated current, the limit of the point below; None below the lowest
    point, where the standard sets no limit, and above the highest.

    The standard gives limits at points only. Between two points the wider one, of the lower current, is what surely holds.
    """
    points = RATIO_ERROR.get(accuracy_class)
    if points is None:
        raise ValueError(f"“{accuracy_class}” is not a class held here; wanted one of: {', '.join(RATIO_ERROR)}.")
    at = [point for point in points if point <= percent_of_rated]
    return points[max(at)] if at and percent_of_rated <= max(points) else None


def share_of_rated(power_w: float, *, volts: float, rated_a: float) -> float:
    """The current of this power as a share of the CT's rated primary current: 0.0354 is 3.54 %."""
    return power_w / volts / rated_a


def power_at_share(share: float, *, volts: float, rated_a: float) -> float:
    """The power in watts that brings a CT to this share of its rated primary current."""
    return share * rated_a * volts


def load_at(nameplate_w: float, *, nameplate_v: float, volts: float) -> float:
    """What a resistive load draws at another voltage, in watts: by the square of the voltage."""
    return nameplate_w * (volts / nameplate_v) ** 2


def phase_error_share(minutes: float, *, power_factor: float) -> float:
    """The relative error of active power, 0 to 1, that a phase displacement makes: cos(phi - beta) / cos(phi) - 1, exact.

    Nearly tan(phi) beta; nothing to speak of at unity power factor, so a resistive test load is preferred.
    """
    if not 0 < power_factor <= 1:
        raise ValueError(f"A power factor lies above 0 and up to 1, not at {power_factor:g}.")
    phi, beta = acos(power_factor), radians(minutes / 60)
    return abs(cos(phi - beta) / cos(phi) - 1)


@dataclass(frozen=True)
class Agreement:
    """Bias and limits of agreement of CT less collar, in watts."""

    bias_w: float
    deviation_w: float
    low_w: float
    high_w: float


def agreement(ct_w: Sequence[float], collar_w: Sequence[float]) -> Agreement:
    """How CT and collar agree at equal instants: bias ± 1.96 standard deviations of the differences.

    Raises ValueError for fewer than two pairs or unequal numbers.

    Source: Bland and Altman, Lancet 1986;327:307-310.
    """
    if len(ct_w) != len(collar_w) or len(ct_w) < 2:
        raise ValueError("At least two pairs of readings taken at the same instants are wanted.")
    differences = [ct - collar for ct, collar in zip(ct_w, collar_w, strict=True)]
    bias, deviation = fmean(differences), stdev(differences)
    return Agreement(bias, deviation, bias - 1.96 * deviation, bias + 1.96 * deviation)


def agrees(ct_w: Sequence[float], collar_w: Sequence[float]) -> bool | None:
    """Whether the differences are within what is borne at cut-over; None with fewer than six pairs: nothing is known then.

    Every pair must agree on the sign, unless both readings are within the bias that is borne anyway.
    """
    if len(ct_w) < LEAST_PAIRS:
        return None
    found = agreement(ct_w, collar_w)
    level = fmean(abs(collar) for collar in collar_w)
    borne = max(BIAS_W, BIAS_SHARE * level)
    signs = all(ct * collar > 0 or max(abs(ct), abs(collar)) <= borne for ct, collar in zip(ct_w, collar_w, strict=True))
    return abs(found.bias_w) <= borne and signs
