"""No reading within the budget makes the check name another fault than the true one.

The faults are the rows of TRADE.md 2.1.2. Steps are drawn anywhere within the expanded uncertainty of what the fault would
show, which is what "noise inside the budget" means: each drawn share of U stands for CT, metering, load, display and house together.
"""

from __future__ import annotations

import random
from collections import Counter

from hypothesis import given
from hypothesis import strategies as st

from jobs.core import ctcheck, ctsignatures
from jobs.core.ctbudget import Budget, tolerance_w
from jobs.core.ctcheck import Kind, Reading, StepTest, TwoSteps
from jobs.core.ctsignatures import Load, Service

TABLE = (
    "CT A is reversed",
    "both CTs are reversed",
    "the CTs are swapped between the legs",
    "the CTs are swapped between the legs and both are reversed",
    "both CTs are on leg A",
    "CT B is absent, open or not round this feeder",
    "CT A reads 0.5 times what it should (the ratio set is wrong)",
    "both CTs read 0.5 times what they should (the ratios set are wrong)",
    "CT A is round both hot conductors",
)
FAULTS = {c.cause: c for c in ctsignatures.conditions() if c.cause in TABLE}
BUDGET = Budget()
SERVICES = st.sampled_from(list(Service))
OFF = st.floats(-1, 1)
# The level of a baseline widens the budget by the percentages of CT and metering alone: up to a home with its heating on.
BASE = st.integers(100, 3_000)


def shown(condition, *, load, load_w, service, off, base_w):
    """A bracketed step whose legs read what the condition shows of the load, each off by a share of what the budget allows there."""
    step = ctsignatures.signature(condition, load=load, load_w=load_w, service=service)
    reads = []
    for rise, share in zip((step.a_w, step.b_w), off, strict=True):
        level = max(abs(base_w), abs(base_w + rise))
        # Just inside: readings are whole watts, and a reading pulled down has a level, and so a budget, that is a little less.
        allowed = 0.98 * tolerance_w(level, load_w=abs(rise), budget=BUDGET) - 1
        reads.append(round(base_w + rise + share * allowed))
    before = Reading(base_w, base_w)
    return StepTest(before, Reading(*reads), before, load_w=load_w)


def test_the_table_has_nine_faults():
    assert len(FAULTS) == 9


@given(
    fault=st.sampled_from(TABLE),
    service=SERVICES,
    load_w=st.integers(800, 1_800),
    base_w=BASE,
    off=st.tuples(OFF, OFF),
    more=st.tuples(OFF, OFF),
)
def test_two_120_v_steps_never_name_another_fault(fault, service, load_w, base_w, off, more):
    true = FAULTS[fault]
    tests = TwoSteps(
        shown(true, load=Load.LEG_A, load_w=load_w, service=service, off=off, base_w=base_w),
        shown(true, load=Load.LEG_B, load_w=load_w, service=service, off=more, base_w=base_w),
        service=service,
    )

    verdict = ctcheck.check(tests)

    assert verdict.kind != Kind.CONSISTENT
    if verdict.kind == Kind.INCONSISTENT:
        assert verdict.fault == true.fault
    else:
        assert verdict.next_test


@given(fault=st.sampled_from(TABLE), service=SERVICES, load_w=st.integers(1_000, 5_000), base_w=BASE, off=st.tuples(OFF, OFF))
def test_one_240_v_step_never_names_another_fault(fault, service, load_w, base_w, off):
    true = FAULTS[fault]

    verdict = ctcheck.check_across(shown(true, load=Load.ACROSS, load_w=load_w, service=service, off=off, base_w=base_w), service=service)

    assert verdict.kind != Kind.CONSISTENT
    if verdict.kind == Kind.INCONSISTENT:
        assert verdict.fault == true.fault
    else:
        assert verdict.next_test


@given(
    fault=st.sampled_from(TABLE), service=SERVICES, small=st.integers(800, 1_800), large=st.integers(1_000, 5_000), base_w=BASE,
    off=st.tuples(OFF, OFF, OFF, OFF, OFF, OFF),
)  # fmt: skip
def test_all_three_steps_together_never_name_another_fault(fault, service, small, large, base_w, off):
    true = FAULTS[fault]
    tests = TwoSteps(
        shown(true, load=Load.LEG_A, load_w=small, service=service, off=off[:2], base_w=base_w),
        shown(true, load=Load.LEG_B, load_w=small, service=service, off=off[2:4], base_w=base_w),
        service=service,
        across=shown(true, load=Load.ACROSS, load_w=large, service=service, off=off[4:], base_w=base_w),
    )

    verdict = ctcheck.check(tests)

    assert verdict.kind != Kind.CONSISTENT
    if verdict.kind == Kind.INCONSISTENT:
        assert verdict.fault == true.fault


# From 1,250 W: below, with every error at its limit at once, a CT that reads half is not told from what else it may be ("cannot tell").
@given(fault=st.sampled_from(TABLE), service=SERVICES, load_w=st.integers(1_250, 1_800), off=st.tuples(OFF, OFF), more=st.tuples(OFF, OFF))
def test_two_120_v_steps_one_on_each_leg_name_every_fault(fault, service, load_w, off, more):
    true = FAULTS[fault]
    tests = TwoSteps(
        shown(true, load=Load.LEG_A, load_w=load_w, service=service, off=off, base_w=500),
        shown(true, load=Load.LEG_B, load_w=load_w, service=service, off=more, base_w=500),
        service=service,
    )

    verdict = ctcheck.check(tests)

    assert (verdict.kind, verdict.fault) == (Kind.INCONSISTENT, true.fault)


def test_readings_drawn_as_real_ones_scatter_never_name_another_fault_and_no_right_pair_is_accused():
    # Load, CT and metering off by their rectangular shares, noise normal, the display rounded: 600 homes, a tenth of them right, seed 7.
    draw = random.Random(7)
    said = Counter()
    for _ in range(600):
        fault = draw.choice((*TABLE, ""))
        condition = FAULTS[fault] if fault else ctsignatures.conditions()[0]
        service = draw.choice(list(Service))
        load_w, base_w = draw.randint(1_000, 1_800), draw.randint(200, 1_500)
        actual_w = load_w * draw.uniform(0.95, 1.05)
        gains = [draw.uniform(0.985, 1.015) * draw.uniform(0.995, 1.005) for _ in "ab"]

        def reading(rise_a=0.0, rise_b=0.0, *, base_w=base_w, gains=gains):
            return Reading(
                *(
                    round(((base_w + rise) * gain + draw.gauss(0, 50)) / 100) * 100
                    for rise, gain in zip((rise_a, rise_b), gains, strict=True)
                )
            )

        steps = [ctsignatures.signature(condition, load=load, load_w=actual_w, service=service) for load in (Load.LEG_A, Load.LEG_B)]
        tests = [StepTest(reading(), reading(step.a_w, step.b_w), reading(), load_w=load_w) for step in steps]
        on_a, on_b = tests
        verdict = ctcheck.check(TwoSteps(on_a, on_b, service=service))

        assert verdict.kind != Kind.INCONSISTENT or (fault and verdict.fault == condition.fault), (fault, verdict.cause)
        assert verdict.kind != Kind.CONSISTENT or not fault
        said[bool(fault), verdict.kind] += 1

    # And it does not buy that with silence: of either it tells more than half.
    assert said[True, Kind.INCONSISTENT] > 0.5 * (said[True, Kind.INCONSISTENT] + said[True, Kind.CANNOT_TELL])
    assert said[False, Kind.CONSISTENT] > 0.5 * (said[False, Kind.CONSISTENT] + said[False, Kind.CANNOT_TELL])


def test_a_load_of_less_than_1000_w_names_no_fault_and_asks_for_a_larger_one():
    true = FAULTS[TABLE[0]]
    tests = TwoSteps(
        *(
            shown(true, load=load, load_w=800, service=Service.SPLIT_120_240, off=(0, 0), base_w=500)
            for load in (Load.LEG_A, Load.LEG_B)
        )
    )  # fmt: skip

    verdict = ctcheck.check(tests)

    assert verdict.kind == Kind.CANNOT_TELL
    assert "at least 1,000\u202fW" in verdict.next_test
