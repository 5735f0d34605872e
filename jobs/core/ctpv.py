"""What the PV tells about the CTs: whether they read net, between the meter and every source, or only the load behind it. Pure.

On the feeder before every source a CT reads net: house load = net + PV + battery. When PV comes on, import falls by its
output, and the reading of a CT on the load side of the PV does not change.

Signs: import from the utility positive, export negative; PV positive. Source: the power balance of a node, any circuits text.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from math import isfinite
from typing import Any, Final

from jobs.core.ctbudget import COVERAGE, Budget, combined_w, contributions
from jobs.core.ctcheck import QUIET_SOURCE_W, Kind
from jobs.core.words import watts

# Our own judgement: a smaller change of PV cannot be told from the house.
LEAST_CHANGE_W: Final = 1_000
# PV is read from its own inverter or its own meter. Half-width in per cent; common practice, no source.
PV_PERCENT: Final = 3.0
_AGAIN: Final = "Run the CT check and this one again afterwards."


@dataclass(frozen=True)
class PVTest:
    """The total of both CTs and the PV's output before PV came on (it is off, or nearly) and after, in watts."""

    import_before_w: int
    import_after_w: int
    pv_before_w: int
    pv_after_w: int

    def __post_init__(self) -> None:
        if min(self.pv_before_w, self.pv_after_w) < -QUIET_SOURCE_W:
            raise ValueError("PV gives power and takes none: its output is zero or more, by night too.")

    @property
    def change_w(self) -> int:
        return self.import_after_w - self.import_before_w

    @property
    def pv_change_w(self) -> int:
        return self.pv_after_w - self.pv_before_w

    @classmethod
    def from_json(cls, stored: Mapping[str, Any]) -> PVTest:
        return cls(**stored)


@dataclass(frozen=True)
class PVVerdict:
    """kind, cause and next_test as of ctcheck.Verdict. expected_w: the change of import of CTs that read net."""

    kind: Kind
    cause: str
    next_test: str
    expected_w: float
    tolerance_w: float


def check_pv(test: PVTest, *, budget: Budget | None = None) -> PVVerdict:
    """Where the CTs are, seen from how import changed when PV came on."""
    budget = budget or Budget()
    tolerance = _tolerance_w(test, budget)

    def give(kind: Kind, cause: str, next_test: str = "") -> PVVerdict:
        return PVVerdict(kind, cause, next_test, -float(test.pv_change_w), tolerance)

    if test.pv_before_w > QUIET_SOURCE_W:
        return give(
            Kind.CANNOT_TELL,
            f"PV already gave {watts(test.pv_before_w)} at the first reading.",
            "Switch PV off, read the CTs, switch it on and read them again.",
        )
    least = max(LEAST_CHANGE_W, tolerance * 2)
    if test.pv_change_w < least:
        return give(
            Kind.CANNOT_TELL,
            f"PV came on with {watts(test.pv_change_w)}, too little to stand out from the house.",
            f"Read again when PV gives {watts(round(least))} or more, near noon and under a steady sky.",
        )
    seen = f"PV rose by {watts(test.pv_change_w)} and import {_moved(test.change_w)}"
    net = abs(test.change_w + test.pv_change_w) <= tolerance
    on_load_side = abs(test.change_w) <= tolerance
    reversed_too = abs(test.change_w - test.pv_change_w) <= tolerance
    if net:
        return give(Kind.CONSISTENT, f"{seen}: the CTs stand between the meter and the PV and read net.")
    if on_load_side:
        return give(
            Kind.INCONSISTENT,
            f"{seen}: the CTs stand on the load side of the PV and do not see what it gives.",
            f"A licensed electrician should move the CTs between the meter and every source. {_AGAIN}",
        )
    if reversed_too:
        return give(
            Kind.INCONSISTENT,
            f"{seen}: PV is read as if it were a load.",
            f"A licensed electrician should look which way the CTs and the PV's own CT point. {_AGAIN}",
        )
    return give(
        Kind.CANNOT_TELL,
        f"{seen}; a fall by {watts(test.pv_change_w)}, or none, was to be expected.",
        "Switch off what cycles, wait for a steady sky and read again; if it comes out the same, an electrician looks where the CTs are.",
    )


def fact_value(test: PVTest, verdict: PVVerdict) -> dict[str, Any]:
    return {
        "verdict": verdict.kind.value,
        "cause": verdict.cause,
        "next_test": verdict.next_test,
        "readings": asdict(test),
        "numbers": {"expected_w": verdict.expected_w, "change_w": test.change_w, "tolerance_w": round(verdict.tolerance_w, 1)},
    }


def _tolerance_w(test: PVTest, budget: Budget) -> float:
    """U of the change of import beside the change of PV: one reading less another, twice the noise and display of one."""
    level = max(abs(test.import_before_w), abs(test.import_after_w))
    # PV takes the known load's place in the budget, with a percentage of its own.
    own = Budget(budget.ct_percent, budget.meter_percent, PV_PERCENT, budget.display_w, budget.noise_w)
    found = COVERAGE * combined_w(contributions(level, load_w=test.pv_change_w, budget=own, times=2.0))
    assert isfinite(found)
    return found


def _moved(change_w: int) -> str:
    if change_w == 0:
        return "did not change"
    return f"{'fell' if change_w < 0 else 'rose'} by {watts(abs(change_w))}"
