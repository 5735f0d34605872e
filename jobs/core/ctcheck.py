"""The consumption-CT check: a known 120 V load switched on at each leg in turn, between two baseline readings. Pure.

A verdict is always computed from readings, never typed. It finds gross errors of placing, direction, leg and ratio; it
measures nothing better than its own tolerance, and a licensed electrician decides.

Signs: import from the utility positive, export negative; PV positive; battery discharge positive; load positive.

Sources: the signatures are computed in ctsignatures.py; tolerance by JCGM 100:2008 (GUM) 4.3.7, 5.1.2, 6.2;
limits of a usable test are our own judgement and say so.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from math import isfinite, sqrt
from typing import Any, Final

from jobs.core.ctsignatures import Condition, Load, Service, Step, conditions, signature
from jobs.core.words import listed, watts

# Our own judgement of a usable test: a smaller load drowns in what the house does meanwhile.
LEAST_LOAD_W: Final = 1_000
LEAST_LOAD_IN_SIGMAS: Final = 10
# Up to this a source is as good as off; beyond it PV must be constant, and a battery is not idle.
QUIET_SOURCE_W: Final = 100


class Kind(StrEnum):
    CONSISTENT = "consistent"
    INCONSISTENT = "inconsistent"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True)
class Reading:
    """What the gateway shows at one time, in watts. pv_w, battery_w: None if the home has none or it is disconnected."""

    a_w: int
    b_w: int
    pv_w: int | None = None
    battery_w: int | None = None


@dataclass(frozen=True)
class StepTest:
    """One load switched on between two baseline readings, which cancels a steady drift of the house."""

    off_before: Reading
    on: Reading
    off_after: Reading
    load_w: int

    def __post_init__(self) -> None:
        if self.load_w <= 0:
            raise ValueError(f"The known load must be more than 0 W, not {watts(self.load_w)}.")

    @property
    def readings(self) -> tuple[Reading, Reading, Reading]:
        return self.off_before, self.on, self.off_after


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
class TwoSteps:
    """All that the check is given."""

    on_a: StepTest
    on_b: StepTest
    service: Service = Service.SPLIT_120_240
    budget: Budget = field(default_factory=Budget)

    @classmethod
    def from_json(cls, stored: Mapping[str, Any]) -> "TwoSteps":
        """The readings as `fact_value` stored them."""

        def test(of: Mapping[str, Any]) -> StepTest:
            first, on, last = (Reading(**of[name]) for name in ("off_before", "on", "off_after"))
            return StepTest(first, on, last, load_w=of["load_w"])

        return cls(test(stored["on_a"]), test(stored["on_b"]), Service(stored["service"]), Budget(**stored["budget"]))


@dataclass(frozen=True)
class Verdict:
    """kind and cause in words; next_test is empty only when consistent. causes: each explanation that fits.

    ratio: steps of the total over known loads, 1 when right. tolerance_w: U = 2 u_c of a right step, the larger of the tests'.
    """

    kind: Kind
    cause: str
    next_test: str
    steps: tuple[Step, ...]
    ratio: float
    tolerance_w: float
    numbers: Mapping[str, float]
    causes: tuple[str, ...] = ()


def step_w(off_before: float, on: float, off_after: float) -> float:
    """The step of one reading over the mean of its two baselines, in watts."""
    return on - (off_before + off_after) / 2


def tolerance_w(level_w: float, *, load_w: float, budget: Budget, bracketed: bool = True) -> float:
    """U = 2 u_c in watts: how far a reading, or a bracketed step, may lie from what is expected.

    level_w: the highest reading in the test, on which the CT's and the meter's percentages act.
    load_w: the part of the known load expected in this reading, zero on a leg that should not see it.
    bracketed: a step is one reading less the mean of two, so display and noise count 1 + 1/2 times in the variance.

    Source: GUM 4.3.7 (half-width a gives a / sqrt 3; display step q gives q / sqrt 12), 5.1.2, 6.2 (coverage 2).
    """
    times = 1.5 if bracketed else 1.0
    spreads = (budget.ct_percent * level_w, budget.meter_percent * level_w, budget.load_percent * load_w)
    variance = sum((spread / 100) ** 2 / 3 for spread in spreads)
    return 2 * sqrt(variance + times * (budget.display_w**2 / 12 + budget.noise_w**2))


def check(tests: TwoSteps) -> Verdict:
    """The verdict of two 120 V steps, one on each leg."""
    return _verdict({Load.LEG_A: tests.on_a, Load.LEG_B: tests.on_b}, service=tests.service, budget=tests.budget)


def check_across(test: StepTest, *, service: Service = Service.SPLIT_120_240, budget: Budget | None = None) -> Verdict:
    """The verdict of one load across both legs: never consistent alone, because some faults look like a right pair to it."""
    return _verdict({Load.ACROSS: test}, service=service, budget=budget or Budget())


def fact_value(tests: TwoSteps, verdict: Verdict) -> dict[str, Any]:
    """Readings and verdict as the fact of the check keeps them, in plain JSON."""
    numbers: dict[str, Any] = {**verdict.numbers, "ratio": verdict.ratio, "tolerance_w": verdict.tolerance_w}
    return {
        "verdict": verdict.kind.value,
        "cause": verdict.cause,
        "next_test": verdict.next_test,
        "readings": asdict(tests),
        "numbers": numbers,
    }


_REPEAT = "Run the 120 V step on each leg in turn again"


def _verdict(tests: Mapping[Load, StepTest], *, service: Service, budget: Budget) -> Verdict:
    steps = {load: _step(test) for load, test in tests.items()}
    numbers = _numbers(tests, steps, service=service, budget=budget)
    ratio = sum(step.total_w for step in steps.values()) / sum(test.load_w for test in tests.values())
    tolerance = max(_tolerance_total(test, budget=budget) for test in tests.values())

    def give(kind: Kind, cause: str, next_test: str = "", causes: tuple[str, ...] = ()) -> Verdict:
        return Verdict(kind, cause, next_test, tuple(steps.values()), ratio, tolerance, numbers, causes)

    reasons = [reason for load, test in tests.items() for reason in _unusable(test, load=load, service=service, budget=budget)]
    if reasons:
        wanted = list(dict.fromkeys(wanted for _, wanted in reasons))
        return give(Kind.CANNOT_TELL, " ".join(why for why, _ in reasons), f"{_REPEAT}: {'; '.join(wanted)}.")

    fitting = [c for c in conditions() if _fits(c, tests, steps, service=service, budget=budget)]
    # One mistake made alike on both CTs is the likelier story: it is told first.
    fitting.sort(key=lambda c: c.a != c.b)
    causes = tuple(c.cause for c in fitting if not c.is_right)
    right = any(c.is_right for c in fitting)
    if not fitting:
        return give(
            Kind.CANNOT_TELL,
            f"The steps fit neither a right pair of CTs nor any fault that we know: {_seen_words(steps)}.",
            f"{_REPEAT} with another load whose watts are measured; if it comes out the same, an electrician looks at both CTs.",
        )
    if not right:
        mends = {c.mend for c in fitting}
        mend = mends.pop() if len(mends) == 1 else "find which it is and put it right"
        first = "" if len(tests) == 2 else "Run a 120 V step on each leg in turn to tell which. "
        return give(
            Kind.INCONSISTENT,
            f"{_capital(_either(causes))}: {_seen_words(steps)}.",
            f"{first}A licensed electrician should {mend}. {_REPEAT} afterwards.",
            causes,
        )
    if causes:
        again = f"{_REPEAT} with a larger load whose watts are measured" if len(tests) == 2 else "Run a 120 V step on each leg in turn"
        return give(
            Kind.CANNOT_TELL, f"The steps fit a right pair of CTs, but they fit as well that {_either(causes)}.", f"{again}.", causes
        )
    if impossible := _impossible_baseline(tests, budget=budget):
        return give(Kind.CANNOT_TELL, impossible, f"{_REPEAT} with PV and battery off, and note what else runs.")
    return give(Kind.CONSISTENT, f"Each load showed on its own leg, as import, with the expected size: {_seen_words(steps)}.")


def _step(test: StepTest) -> Step:
    first, on, last = test.readings
    return Step(step_w(first.a_w, on.a_w, last.a_w), step_w(first.b_w, on.b_w, last.b_w))


def _levels(test: StepTest) -> tuple[float, float]:
    return max(abs(r.a_w) for r in test.readings), max(abs(r.b_w) for r in test.readings)


def _tolerance_total(test: StepTest, *, budget: Budget) -> float:
    level = max(abs(r.a_w + r.b_w) for r in test.readings)
    return tolerance_w(level, load_w=test.load_w, budget=budget)


def _fits(condition: Condition, tests: Mapping[Load, StepTest], steps: Mapping[Load, Step], *, service: Service, budget: Budget) -> bool:
    for load, test in tests.items():
        expected = signature(condition, load=load, load_w=test.load_w, service=service)
        level_a, level_b = _levels(test)
        for seen, wanted, level in ((steps[load].a_w, expected.a_w, level_a), (steps[load].b_w, expected.b_w, level_b)):
            if abs(seen - wanted) > tolerance_w(level, load_w=abs(wanted), budget=budget):
                return False
    return True


def _unusable(test: StepTest, *, load: Load, service: Service, budget: Budget) -> list[tuple[str, str]]:
    """Why this test cannot decide, each with what is wanted instead."""
    found: list[tuple[str, str]] = []
    least = max(LEAST_LOAD_W, LEAST_LOAD_IN_SIGMAS * budget.noise_w)
    if test.load_w < least:
        found.append((f"The load {load} was {watts(test.load_w)}, too small to stand out.", f"use a load of at least {watts(least)}"))

    right = signature(conditions()[0], load=load, load_w=test.load_w, service=service)
    for leg, level, expected, drift in zip(
        "AB",
        _levels(test),
        (right.a_w, right.b_w),
        (test.off_after.a_w - test.off_before.a_w, test.off_after.b_w - test.off_before.b_w),
        strict=True,
    ):
        allowed = tolerance_w(level, load_w=abs(expected), budget=budget)
        if abs(drift) > allowed:
            found.append(
                (
                    f"With the load {load}, the baseline of leg {leg} moved by {watts(abs(drift))}; up to {watts(allowed)} can be borne.",
                    "switch off what cycles (heat pump, well pump, oven) and hold each reading for 30 seconds",
                )
            )

    pv = [r.pv_w for r in test.readings if r.pv_w is not None]
    if pv and len(pv) < 3:
        found.append((f"With the load {load}, PV was noted at only some of the readings.", "note PV at each reading, or switch it off"))
    elif pv and max(pv) >= QUIET_SOURCE_W and max(pv) - min(pv) > QUIET_SOURCE_W:
        found.append(
            (f"With the load {load}, PV changed from {watts(min(pv))} to {watts(max(pv))}.", "switch PV off or wait for a steady sky")
        )
    battery = [abs(r.battery_w) for r in test.readings if r.battery_w is not None]
    if battery and max(battery) > QUIET_SOURCE_W:
        found.append((f"With the load {load}, the battery ran at {watts(max(battery))}.", "set the battery to idle"))
    return found


def _impossible_baseline(tests: Mapping[Load, StepTest], *, budget: Budget) -> str:
    """With no source in the house nothing can be exported; with PV running a negative baseline proves nothing."""
    for load, test in tests.items():
        for reading in (test.off_before, test.off_after):
            total = reading.a_w + reading.b_w
            no_source = abs(reading.pv_w or 0) < QUIET_SOURCE_W and abs(reading.battery_w or 0) < QUIET_SOURCE_W
            if no_source and total < -tolerance_w(abs(total), load_w=0, budget=budget, bracketed=False):
                return f"The steps are right, but before or after the load {load} the home exported {watts(-total)} with no source noted."
    return ""


def _numbers(tests: Mapping[Load, StepTest], steps: Mapping[Load, Step], *, service: Service, budget: Budget) -> dict[str, float]:
    numbers: dict[str, float] = {}
    for load, test in tests.items():
        name = {Load.LEG_A: "on_a", Load.LEG_B: "on_b", Load.ACROSS: "across"}[load]
        first, _, last = test.readings
        baseline = (first.a_w + first.b_w + last.a_w + last.b_w) / 2
        numbers |= {
            f"{name}_load_w": test.load_w,
            f"{name}_baseline_w": baseline,
            f"{name}_expected_w": baseline + test.load_w,
            f"{name}_step_a_w": steps[load].a_w,
            f"{name}_step_b_w": steps[load].b_w,
            f"{name}_step_total_w": steps[load].total_w,
            f"{name}_ratio": round(steps[load].total_w / test.load_w, 4),
            f"{name}_tolerance_w": round(_tolerance_total(test, budget=budget), 1),
        }
    return numbers


def _seen_words(steps: Mapping[Load, Step]) -> str:
    each = [f"{load} gave {watts(step.a_w)} on leg A and {watts(step.b_w)} on leg B" for load, step in steps.items()]
    return "; ".join(each)


def _either(things: tuple[str, ...]) -> str:
    """Explanations as alternatives. More than three help nobody: the rest are counted."""
    if len(things) == 1:
        return things[0]
    if len(things) <= 3:
        return f"either {listed(things, last='or')}"
    return f"one of: {', '.join(things[:3])}, or {len(things) - 3} more"


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
