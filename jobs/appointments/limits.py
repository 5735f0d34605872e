"""Load against the limits that were entered: currents of the legs, starts, usable energy, room for PV, balance in island mode. Pure.

A check for gross errors: it says within, outside or cannot tell of figures that somebody typed, and approves nothing. Powers are watts
at unity power factor, energy Wh, charge per cent; legs are those of a 120/240 V service.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from jobs.appointments.evidence import SERVED_PERCENT, ZERO_W
from jobs.core import words

LEG_V: Final = 120
ACROSS_V: Final = 240
LOAD_SPREAD: Final = 0.25  # what runs later is not what runs now: a range, never one promise (common practice, no source)
RESIDUAL_W: Final = 100
RESIDUAL_PERCENT: Final = 5


class Judged(StrEnum):
    WITHIN = "within"
    OUTSIDE = "outside"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Limits:
    """As somebody entered them from nameplates and settings; None where nobody did."""

    entered_by: str = ""
    continuous_w: int | None = None  # of all inverters that share the island
    leg_a: int | None = None  # amperes that a leg may carry in island mode
    start_va: int | None = None  # what may be drawn for the moment of a start
    usable_wh: int | None = None
    floor_percent: int | None = None
    charge_w: int | None = None  # what the battery takes at most
    taper_percent: int | None = None  # from which state of charge it takes less
    efficiency_percent: int | None = None


@dataclass(frozen=True, slots=True)
class Load:
    """What runs on the backed-up panel now; the legs apart where somebody read them apart."""

    total_w: int
    soc_percent: int
    pv_w: int = 0
    leg_a_w: int | None = None  # of 120 V loads on leg A
    leg_b_w: int | None = None
    across_w: int | None = None  # of 240 V loads
    start_lra: int | None = None  # locked-rotor current of the largest motor that may start, amperes at 240 V


@dataclass(frozen=True, slots=True)
class Legs:
    a: float
    b: float
    neutral: float


@dataclass(frozen=True, slots=True)
class Finding:
    """One comparison. words: "outside: 5,200 W run, 5,000 W were entered"."""

    title: str
    judged: Judged
    words: str


def leg_currents(leg_a_w: float, leg_b_w: float, *, across_w: float = 0.0) -> Legs:
    """Amperes of both legs and of the neutral, from the 120 V loads on each leg and the 240 V loads across both, in watts.

    Raises ValueError if a load is negative: a source on a leg is none.

    Source: Kirchhoff's current law on a 120/240 V three-wire service at unity power factor; TRADE.md 2.3.1.
    """
    if min(leg_a_w, leg_b_w, across_w) < 0:
        raise ValueError("A load cannot be negative; read the legs again.")
    across = across_w / ACROSS_V
    return Legs(leg_a_w / LEG_V + across, leg_b_w / LEG_V + across, abs(leg_a_w - leg_b_w) / LEG_V)


def start_va(lra: float, *, volts: float = ACROSS_V) -> float:
    """VA that a motor draws as it starts: its locked-rotor current (A) times the voltage. Source: TRADE.md 2.3.1."""
    return lra * volts


def run_hours(usable_wh: float, *, soc_percent: float, floor_percent: float, load_w: float, efficiency: float = 1.0) -> float | None:
    """Hours until the charge reaches its floor at a steady load; None where it is not above the floor, never a negative time.

    usable_wh: between full and empty; soc_percent, floor_percent: 0 to 100; load_w > 0; efficiency: a share, 0 to 1.

    Raises ValueError if the load is not positive.

    Source: TRADE.md 2.3.2, t = E (SOC - floor) eta / P.
    """
    if load_w <= 0:
        raise ValueError("Nothing runs, so no time can be worked out; have a load on, and read it.")
    above = soc_percent - floor_percent
    return usable_wh * above / 100 * efficiency / load_w if above > 0 else None


@dataclass(frozen=True, slots=True)
class Balance:
    """What was read at one instant in island mode; watts, positive out of PV, battery and utility and into the load."""

    pv_w: int
    battery_w: int
    grid_w: int
    load_w: int

    @property
    def residual_w(self) -> int:
        """What is left over: 0 if the meters agree and were read together."""
        return self.pv_w + self.battery_w + self.grid_w - self.load_w

    @property
    def balanced(self) -> bool:
        """Within 100 W or 5 % of the load, whichever is more: common practice, no source (TRADE.md 2.3.4)."""
        return abs(self.residual_w) * 100 <= max(RESIDUAL_W * 100, RESIDUAL_PERCENT * abs(self.load_w))

    @property
    def no_utility(self) -> bool:
        return abs(self.grid_w) <= ZERO_W

    @property
    def words(self) -> str:
        left = f"{words.watts(self.residual_w)} left over"
        if self.balanced:
            return f"{left}: the readings agree"
        return f"{left}: the readings do not agree. Read all four again at the same moment"


def served(load_w: int, *, before_w: int) -> bool:
    """At least 80 % of the load noted before (TRADE.md 2.3.4); nothing running proves nothing."""
    return before_w > 0 and load_w * 100 >= before_w * SERVED_PERCENT


def judged(load: Load, limits: Limits) -> list[Finding]:
    """The load and the charge against each limit, in the order in which the page shows them."""
    return [_power(load, limits), _legs(load, limits), _start(load, limits), _energy(load, limits), _room(load, limits)]


def outside(findings: Sequence[Finding]) -> list[Finding]:
    return [finding for finding in findings if finding.judged == Judged.OUTSIDE]


def run_time_range(load: Load, limits: Limits) -> tuple[float, float] | None:
    """Hours at a quarter more and a quarter less than this load; None where it cannot be told or the charge is at its floor."""
    if load.total_w <= 0 or limits.usable_wh is None or limits.floor_percent is None:
        return None
    share = (limits.efficiency_percent or 100) / 100
    hours = run_hours(
        limits.usable_wh, soc_percent=load.soc_percent, floor_percent=limits.floor_percent, load_w=load.total_w, efficiency=share
    )
    return (hours / (1 + LOAD_SPREAD), hours / (1 - LOAD_SPREAD)) if hours is not None else None


def run_time_words(load: Load, limits: Limits) -> str:
    """ "5 to 8 hours at 75 to 125 % of this load"; why not, where it cannot be told."""
    if missing := _missing(usable_energy=limits.usable_wh, floor_of_the_charge=limits.floor_percent):
        return f"cannot tell: {missing}"
    found = run_time_range(load, limits)
    if found is None:
        return "no run time: the state of charge is not above the floor that was entered"
    low, high = found
    return f"about {words.hours_told(low)} to {words.hours_told(high)} hours, at 125 to 75 % of what runs now"


def _power(load: Load, limits: Limits) -> Finding:
    title = "Continuous power"
    if limits.continuous_w is None:
        return _cannot(title, continuous_power=None)
    return _compared(title, load.total_w <= limits.continuous_w, words.watts(load.total_w), words.watts(limits.continuous_w))


def _legs(load: Load, limits: Limits) -> Finding:
    title = "Current of each leg"
    if load.leg_a_w is None or load.leg_b_w is None:
        return _cannot(title, load_of_each_leg=None)
    found = leg_currents(load.leg_a_w, load.leg_b_w, across_w=load.across_w or 0)
    told = f"A {found.a:.1f} A, B {found.b:.1f} A, neutral {found.neutral:.1f} A"
    if limits.leg_a is None:
        finding = _cannot(title, current_that_a_leg_may_carry=None)
        return Finding(title, finding.judged, f"{finding.words} ({told})")
    return _compared(title, max(found.a, found.b, found.neutral) <= limits.leg_a, told, f"{limits.leg_a} A")


def _start(load: Load, limits: Limits) -> Finding:
    title = "Largest start"
    if missing := _missing(locked_rotor_current_of_the_largest_motor=load.start_lra, power_of_a_start=limits.start_va):
        return Finding(title, Judged.CANNOT_TELL, f"cannot tell: {missing}")
    assert load.start_lra is not None
    assert limits.start_va is not None
    drawn = start_va(load.start_lra)
    return _compared(title, drawn <= limits.start_va, f"{drawn / 1000:.2f} kVA", f"{limits.start_va / 1000:.2f} kVA")


def _energy(load: Load, limits: Limits) -> Finding:
    title = "Charge above its floor"
    if limits.floor_percent is None:
        return _cannot(title, floor_of_the_charge=None)
    return _compared(title, load.soc_percent > limits.floor_percent, f"{load.soc_percent} %", f"floor {limits.floor_percent} %")


def _room(load: Load, limits: Limits) -> Finding:
    """PV that nothing takes raises the frequency until PV trips: normal, but alarming on the call (TRADE.md 2.3.3)."""
    title = "Room for PV"
    surplus = load.pv_w - load.total_w
    if surplus <= 0:
        return Finding(title, Judged.WITHIN, "within the limits that were entered: the load takes all of the PV now")
    if missing := _missing(charging_power=limits.charge_w, charge_from_which_it_takes_less=limits.taper_percent):
        return Finding(title, Judged.CANNOT_TELL, f"cannot tell: {missing}")
    assert limits.charge_w is not None
    assert limits.taper_percent is not None
    fits = surplus <= limits.charge_w and load.soc_percent < limits.taper_percent
    told = f"{words.watts(surplus)} to take at {load.soc_percent} %"
    return _compared(title, fits, told, f"{words.watts(limits.charge_w)} below {limits.taper_percent} %")


def _compared(title: str, fits: bool, seen: str, entered: str) -> Finding:
    if fits:
        return Finding(title, Judged.WITHIN, f"within the limits that were entered: {seen}, entered {entered}")
    return Finding(title, Judged.OUTSIDE, f"outside: {seen}, entered {entered}")


def _cannot(title: str, **wanted: int | None) -> Finding:
    return Finding(title, Judged.CANNOT_TELL, f"cannot tell: {_missing(**wanted)}")


def _missing(**wanted: int | None) -> str:
    """ "the continuous power is missing"; nothing where all were given."""
    names = [f"the {name.replace('_', ' ')}" for name, value in wanted.items() if value is None]
    return f"{words.listed(names)} {'is' if len(names) == 1 else 'are'} missing" if names else ""
