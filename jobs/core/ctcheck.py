"""The consumption-CT check: a known 120 V load switched on at each leg in turn, between two baseline readings. Pure.

A verdict is always computed from readings, never typed. It finds gross errors of placing, direction, leg and ratio; it
measures nothing better than its own tolerance, and a licensed electrician decides. It names a fault only where the readings
fit no other: else it cannot tell, and says which test would.

Signs: import from the utility positive, export negative; PV positive; battery discharge positive; load positive.

Sources: the signatures are computed in ctsignatures.py, tolerances in ctbudget.py, ratios in ctratio.py; limits of a usable
test are our own judgement and say so.
"""

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from typing import Any, Final

from jobs.core.ctbudget import Budget, Contribution, contributions, tolerance_w
from jobs.core.ctratio import Ratio, ratio_of
from jobs.core.ctsignatures import Condition, Load, Service, Step, conditions, signature
from jobs.core.words import listed, watts

# Our own judgement of a usable test: a smaller load drowns in what the house does meanwhile.
LEAST_LOAD_W: Final = 1_000
LEAST_LOAD_IN_SIGMAS: Final = 10
# Up to this a source is as good as off; beyond it PV must be constant, and a battery is not idle.
QUIET_SOURCE_W: Final = 100
# A fault is named only where every other explanation is further off than this many U: three standard uncertainties. One right
# pair in twenty reads beyond U by chance alone, and must not be taken apart for it. Guard bands: JCGM 106:2012, 8.3.
GUARD: Final = 1.5


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
class TwoSteps:
    """All that the check is given: a 120 V step on each leg, and one across both legs if it was taken too."""

    on_a: StepTest
    on_b: StepTest
    service: Service = Service.SPLIT_120_240
    budget: Budget = field(default_factory=Budget)
    across: StepTest | None = None

    @classmethod
    def from_json(cls, stored: Mapping[str, Any]) -> "TwoSteps":
        """The readings as `fact_value` stored them."""

        def test(of: Mapping[str, Any]) -> StepTest:
            first, on, last = (Reading(**of[name]) for name in ("off_before", "on", "off_after"))
            return StepTest(first, on, last, load_w=of["load_w"])

        across = stored.get("across")
        return cls(
            test(stored["on_a"]),
            test(stored["on_b"]),
            Service(stored["service"]),
            Budget(**stored["budget"]),
            across=test(across) if across else None,
        )

    @property
    def by_load(self) -> dict[Load, StepTest]:
        tests = {Load.LEG_A: self.on_a, Load.LEG_B: self.on_b}
        return tests if self.across is None else {**tests, Load.ACROSS: self.across}


@dataclass(frozen=True)
class Band:
    """One step of one leg beside what a right pair of CTs would show of it: expected ± tolerance, in watts.

    drift_w: how far the baseline had moved by its second reading; the bracket cancels it as far as it was steady.
    """

    load: Load
    leg: str
    seen_w: float
    expected_w: float
    tolerance_w: float
    drift_w: int

    @property
    def is_inside(self) -> bool:
        return abs(self.seen_w - self.expected_w) <= self.tolerance_w


@dataclass(frozen=True)
class Verdict:
    """kind and cause in words; next_test is empty only when consistent. causes: each explanation that fits.

    fault: what an inconsistent verdict names, true whichever of the causes is: empty with any other.
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
    fault: str = ""


def step_w(off_before: float, on: float, off_after: float) -> float:
    """The step of one reading over the mean of its two baselines, in watts."""
    return on - (off_before + off_after) / 2


def check(tests: TwoSteps) -> Verdict:
    """The verdict of two 120 V steps, one on each leg, and of one across both if it was taken."""
    return _verdict(tests.by_load, service=tests.service, budget=tests.budget)


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


def bands(tests: TwoSteps) -> tuple[Band, ...]:
    """Each step of each leg beside what a right pair of CTs shows of it."""
    right = conditions()[0]
    found = []
    for load, test in tests.by_load.items():
        expected = signature(right, load=load, load_w=test.load_w, service=tests.service)
        seen = _step(test)
        for leg, seen_w, wanted_w, level, drift in zip(
            "AB", (seen.a_w, seen.b_w), (expected.a_w, expected.b_w), _levels(test), _drifts(test), strict=True
        ):
            found.append(Band(load, leg, seen_w, wanted_w, tolerance_w(level, load_w=abs(wanted_w), budget=tests.budget), drift))
    return tuple(found)


def budget_of(test: StepTest, *, budget: Budget) -> tuple[Contribution, ...]:
    """What the tolerance of this test's total is made of."""
    return contributions(_level_total(test), load_w=test.load_w, budget=budget, times=1.5)


def ratios(tests: TwoSteps) -> tuple[Ratio, Ratio]:
    """k of CT A and of CT B, by least squares over all the loads that their own legs carried; 1 is right."""
    found = []
    for number, own in enumerate((Load.LEG_A, Load.LEG_B)):
        loads, steps, level = [], [], 0.0
        for load, test in tests.by_load.items():
            if load in (own, Load.ACROSS):
                right = signature(conditions()[0], load=load, load_w=test.load_w, service=tests.service)
                seen = _step(test)
                loads.append((right.a_w, right.b_w)[number])
                steps.append((seen.a_w, seen.b_w)[number])
                level = max(level, _levels(test)[number])
        found.append(ratio_of(loads, steps, level_w=level, budget=tests.budget))
    return found[0], found[1]


_REPEAT = "Run the 120 V step on each leg in turn again"


def _verdict(tests: Mapping[Load, StepTest], *, service: Service, budget: Budget) -> Verdict:
    steps = {load: _step(test) for load, test in tests.items()}
    numbers = _numbers(tests, steps, budget=budget)
    ratio = sum(step.total_w for step in steps.values()) / sum(test.load_w for test in tests.values())
    tolerance = max(tolerance_of(test, budget=budget) for test in tests.values())
    each_leg = {Load.LEG_A, Load.LEG_B} <= tests.keys()

    def give(kind: Kind, cause: str, next_test: str = "", fitting: list[Condition] | None = None, fault: str = "") -> Verdict:
        causes = tuple(dict.fromkeys(c.cause for c in fitting or () if not c.is_right))
        return Verdict(kind, cause, next_test, tuple(steps.values()), ratio, tolerance, numbers, causes, fault)

    reasons = [reason for load, test in tests.items() for reason in _unusable(test, load=load, service=service, budget=budget)]
    if reasons:
        wanted = list(dict.fromkeys(wanted for _, wanted in reasons))
        return give(Kind.CANNOT_TELL, " ".join(why for why, _ in reasons), f"{_REPEAT}: {'; '.join(wanted)}.")

    fitting = [c for c in conditions() if _fits(c, tests, steps, service=service, budget=budget)]
    # One mistake made alike on both CTs is the likelier story: it is told first.
    fitting.sort(key=lambda c: c.a != c.b)
    wrong = [c for c in fitting if not c.is_right]
    if not fitting:
        return give(
            Kind.CANNOT_TELL,
            f"The steps fit neither a right pair of CTs nor any fault that we know: {_seen_words(steps)}.",
            f"{_REPEAT} with another load whose watts are measured; if it comes out the same, an electrician looks at both CTs.",
        )
    again = f"{_REPEAT} with a larger load whose watts are measured" if each_leg else "Run a 120 V step on each leg in turn"
    causes = tuple(dict.fromkeys(c.cause for c in wrong))
    if len(fitting) > len(wrong) and wrong:
        return give(
            Kind.CANNOT_TELL, f"The steps fit a right pair of CTs, but they fit as well that {_either(causes)}.", f"{again}.", fitting
        )
    near = [c for c in conditions() if _fits(c, tests, steps, service=service, budget=budget, times=GUARD)]
    if wrong and any(c.is_right for c in near):
        return give(
            Kind.CANNOT_TELL,
            f"The steps fit that {_either(causes)}, but a right pair of CTs is too near to rule out: {_seen_words(steps)}.",
            f"{again}.",
            fitting,
        )
    if wrong and (named := _common(near)) is None:
        # Surely wrong, and not surely what: naming one would send the electrician to the wrong place.
        near.sort(key=lambda c: (c not in fitting, c.a != c.b))
        rivals = _either(tuple(dict.fromkeys(c.cause for c in near))).removeprefix("either ")
        return give(
            Kind.CANNOT_TELL,
            f"The CTs are not right, but these steps cannot tell whether {rivals}: {_seen_words(steps)}.",
            f"{again} to tell which; an electrician puts it right afterwards.",
            near,
        )
    if wrong and named is not None:
        fault, mend = named
        alone = len(causes) == 1 and wrong[0].fault == fault
        cause = causes[0] if alone else f"{fault}; the steps fit that {_either(causes)}"
        return give(
            Kind.INCONSISTENT,
            f"{_capital(cause)}: {_seen_words(steps)}.",
            f"A licensed electrician should {mend}. {_REPEAT} afterwards.",
            fitting,
            fault,
        )
    if impossible := _impossible_baseline(tests, budget=budget):
        return give(Kind.CANNOT_TELL, impossible, f"{_REPEAT} with PV and battery off, and note what else runs.")
    return give(Kind.CONSISTENT, f"Each load showed on its own leg, as import, with the expected size: {_seen_words(steps)}.")


def _common(wrong: list[Condition]) -> tuple[str, str] | None:
    """The fault that all these share, and its mending: the same ratio whatever its figure, or the same placing whatever its ratio."""
    if len({c.fault for c in wrong}) == 1:
        return wrong[0].fault, listed(list(dict.fromkeys(c.mend for c in wrong)), last="or")
    placings = {c.placing for c in wrong}
    only = placings.pop()
    return (only.fault, only.mend) if not placings and not only.is_right else None


def _step(test: StepTest) -> Step:
    first, on, last = test.readings
    return Step(step_w(first.a_w, on.a_w, last.a_w), step_w(first.b_w, on.b_w, last.b_w))


def _levels(test: StepTest) -> tuple[float, float]:
    return max(abs(r.a_w) for r in test.readings), max(abs(r.b_w) for r in test.readings)


def _drifts(test: StepTest) -> tuple[int, int]:
    return test.off_after.a_w - test.off_before.a_w, test.off_after.b_w - test.off_before.b_w


def _level_total(test: StepTest) -> float:
    return max(abs(r.a_w + r.b_w) for r in test.readings)


def tolerance_of(test: StepTest, *, budget: Budget) -> float:
    """U = 2 u_c of this test's total step, in watts."""
    return tolerance_w(_level_total(test), load_w=test.load_w, budget=budget)


def _fits(
    condition: Condition,
    tests: Mapping[Load, StepTest],
    steps: Mapping[Load, Step],
    *,
    service: Service,
    budget: Budget,
    times: float = 1.0,
) -> bool:
    """Whether each step lies within `times` U of what this condition shows of its load."""
    for load, test in tests.items():
        expected = signature(condition, load=load, load_w=test.load_w, service=service)
        level_a, level_b = _levels(test)
        for seen, wanted, level in ((steps[load].a_w, expected.a_w, level_a), (steps[load].b_w, expected.b_w, level_b)):
            if abs(seen - wanted) > times * tolerance_w(level, load_w=abs(wanted), budget=budget):
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
        _drifts(test),
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


def _numbers(tests: Mapping[Load, StepTest], steps: Mapping[Load, Step], *, budget: Budget) -> dict[str, float]:
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
            f"{name}_tolerance_w": round(tolerance_of(test, budget=budget), 1),
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
