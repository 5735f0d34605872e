"""The verdict of the consumption-CT check."""

import dataclasses
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.core import ctcheck, ctsignatures
from jobs.core.ctbudget import Budget
from jobs.core.ctcheck import Kind, Reading, StepTest, TwoSteps
from jobs.core.ctsignatures import Load, Service, Step

RIGHT = ctsignatures.conditions()[0]
SHARP = Budget(display_w=1, noise_w=5, load_percent=1)


def steady(a_w, b_w, step_a_w, step_b_w, *, load_w=1700, pv=(None, None, None), battery=(None, None, None)):
    off = (round(a_w), round(b_w))
    on = (round(a_w + step_a_w), round(b_w + step_b_w))
    first, middle, last = (
        Reading(*legs, pv_w=pv_w, battery_w=battery_w) for legs, pv_w, battery_w in zip((off, on, off), pv, battery, strict=True)
    )
    return StepTest(first, middle, last, load_w=load_w)


def two(step_on_a, step_on_b, *, a_w=800, b_w=850, load_w=1700, service=Service.SPLIT_120_240, budget=None):
    return TwoSteps(
        steady(a_w, b_w, *step_on_a, load_w=load_w), steady(a_w, b_w, *step_on_b, load_w=load_w), service=service, budget=budget or Budget()
    )


def as_read(condition, *, load_w=1700, service=Service.SPLIT_120_240, error=1.0, budget=None):
    """Two steps as a home with this condition shows them, its steps off by a factor."""
    seen = [ctsignatures.signature(condition, load=load, load_w=load_w * error, service=service) for load in (Load.LEG_A, Load.LEG_B)]
    return two(*(dataclasses.astuple(step) for step in seen), load_w=load_w, service=service, budget=budget)


def test_two_right_steps_are_consistent_and_need_no_next_test():
    verdict = ctcheck.check(two((1725, 0), (0, 1690)))

    # Total steps 1725 + 1690 = 3415 for 3400 W.
    assert verdict.kind == Kind.CONSISTENT
    assert verdict.next_test == ""
    assert verdict.causes == ()
    assert verdict.steps == (Step(1725, 0), Step(0, 1690))
    assert verdict.ratio == pytest.approx(3415 / 3400)
    assert verdict.numbers["on_a_ratio"] == 1.0147
    # Baseline 800 + 850, load 1700: the trade's simple form expects 3,350 W.
    assert verdict.numbers["on_a_expected_w"] == 3350


def test_the_tolerance_of_a_bracketed_step_counts_noise_and_display_one_and_a_half_times():
    # Level 1650 + 1700 = 3,350 W, by hand:
    # (50.25^2 + 16.75^2 + 85^2) / 3 + 1.5 (100^2/12 + 50^2) = 8343.5; 2 sqrt = 182.7.
    verdict = ctcheck.check(two((1700, 0), (0, 1700)))

    assert verdict.tolerance_w == pytest.approx(182.7, abs=0.05)


@pytest.mark.parametrize("service", list(Service))
@pytest.mark.parametrize("condition", ctsignatures.conditions(), ids=lambda c: c.cause or "right")
def test_exact_steps_name_the_condition_and_only_it(condition, service):
    verdict = ctcheck.check(as_read(condition, service=service, budget=SHARP, load_w=4000))

    if condition.is_right:
        assert verdict.kind == Kind.CONSISTENT
    else:
        assert verdict.kind == Kind.INCONSISTENT
        assert verdict.causes == (condition.cause,)
        assert condition.cause[1:] in verdict.cause
        assert condition.mend in verdict.next_test


@given(
    condition=st.sampled_from(ctsignatures.conditions()),
    service=st.sampled_from(list(Service)),
    load_w=st.integers(1000, 5000),
    error=st.floats(0.97, 1.03),
)
def test_no_wrong_pair_is_ever_called_consistent(condition, service, load_w, error):
    verdict = ctcheck.check(as_read(condition, load_w=load_w, service=service, error=error))

    if not condition.is_right:
        assert verdict.kind != Kind.CONSISTENT
    assert bool(verdict.next_test) == (verdict.kind != Kind.CONSISTENT)
    assert "accura" not in (verdict.cause + verdict.next_test).lower()


def test_one_240_v_step_cannot_tell_swapped_from_reversed():
    # TRADE.md rows C5, C6.
    verdict = ctcheck.check_across(steady(800, 850, -850, -850), budget=SHARP)

    assert verdict.kind == Kind.CANNOT_TELL
    assert verdict.causes[:2] == ("both CTs are reversed", "the CTs are swapped between the legs")
    assert verdict.cause.startswith("The CTs are not right, but these steps cannot tell whether")
    assert verdict.next_test.startswith("Run a 120 V step on each leg in turn to tell which;")


def test_one_right_240_v_step_is_not_enough_because_swapped_and_reversed_looks_alike():
    verdict = ctcheck.check_across(steady(800, 850, 850, 850), budget=SHARP)

    assert verdict.kind == Kind.CANNOT_TELL
    assert "the CTs are swapped between the legs and both are reversed" in verdict.causes
    assert verdict.next_test == "Run a 120 V step on each leg in turn."


def test_two_120_v_steps_tell_swapped_from_reversed():
    assert ctcheck.check(two((-1700, 0), (0, -1700))).causes == ("both CTs are reversed",)
    assert ctcheck.check(two((0, -1700), (-1700, 0))).causes == ("the CTs are swapped between the legs",)


def test_a_step_between_right_and_a_wrong_ratio_cannot_tell():
    # 1,000 W with a budget of some 160 W: 900 W fits 1.0 (1,000) and 0.8 (800) alike.
    verdict = ctcheck.check(two((900, 0), (0, 900), load_w=1000))

    assert verdict.kind == Kind.CANNOT_TELL
    assert any("0.8 times" in cause for cause in verdict.causes)
    assert "larger load" in verdict.next_test


def test_steps_between_two_wrong_ratios_name_the_fault_and_leave_the_figure_open():
    # 0.45 of 1,700 W fits 0.4 (680) and 0.5 (850) alike.
    verdict = ctcheck.check(two((765, 0), (0, 1700)))

    assert verdict.kind == Kind.INCONSISTENT
    assert verdict.fault == "the ratio set for CT A is wrong"
    assert [("0.4 times" in cause, "0.5 times" in cause) for cause in verdict.causes] == [(True, False), (False, True)]
    assert verdict.next_test.startswith("A licensed electrician should set the ratio that is printed on CT A. ")


def test_a_right_pair_near_by_is_not_accused_of_a_wrong_ratio():
    # 1,475 W of 1,700 W on both legs fits 0.8 (1,360 ± 174) and lies beyond U of right (1,700 ± 183), but within one and a half of it.
    verdict = ctcheck.check(two((1475, 0), (0, 1475)))

    assert verdict.kind == Kind.CANNOT_TELL
    assert "a right pair of CTs is too near to rule out" in verdict.cause
    assert "larger load whose watts are measured" in verdict.next_test


def test_a_reversed_ct_is_named_though_its_ratio_may_be_wrong_as_well():
    # Over a baseline of 3,000 W, -1,525 W of 1,700 W fits 1 (1,700) and 0.8 (1,360) alike: reversed it is in either case.
    verdict = ctcheck.check(two((-1525, 0), (0, 1700), a_w=3000))

    assert (verdict.kind, verdict.fault) == (Kind.INCONSISTENT, "CT A is reversed")
    assert len(verdict.causes) == 2
    assert verdict.next_test.startswith("A licensed electrician should turn CT A round. ")


def test_a_240_v_step_beside_the_two_of_120_v_is_weighed_too():
    right = two((1700, 0), (0, 1700))
    across = steady(800, 850, 2000, 2000, load_w=4000)
    odd = steady(800, 850, -2000, 2000, load_w=4000)

    assert ctcheck.check(dataclasses.replace(right, across=across)).kind == Kind.CONSISTENT
    assert ctcheck.check(dataclasses.replace(right, across=odd)).kind == Kind.CANNOT_TELL
    # Leg A by least squares over 1,700 W -> 1,700 W and 2,000 W -> 2,200 W: (1700 * 1700 + 2000 * 2200) / (1700^2 + 2000^2) = 1.0581.
    more = dataclasses.replace(right, across=steady(800, 850, 2200, 2000, load_w=4000))
    assert ctcheck.ratios(more)[0].k == pytest.approx(1.0581, abs=5e-5)
    assert ctcheck.ratios(more)[1].k == pytest.approx(1)


def test_each_step_stands_beside_its_expected_band():
    found = ctcheck.bands(two((1725, 0), (0, 1300)))

    assert [(band.leg, band.seen_w, round(band.expected_w), band.is_inside) for band in found] == [
        ("A", 1725, 1700, True),
        ("B", 0, 0, True),
        ("A", 0, 0, True),
        ("B", 1300, 1700, False),
    ]


def test_how_far_the_baseline_moved_is_told():
    moved = StepTest(Reading(800, 850), Reading(2550, 850), Reading(900, 840), load_w=1700)

    found = ctcheck.bands(TwoSteps(moved, steady(800, 850, 0, 1700)))

    assert [band.drift_w for band in found] == [100, -10, 0, 0]


def test_the_contributions_are_named_and_their_squares_make_the_tolerance():
    tests = two((1700, 0), (0, 1700))

    parts = ctcheck.budget_of(tests.on_a, budget=tests.budget)

    assert [part.name for part in parts] == [
        "the CT",
        "the metering behind it",
        "the known load",
        "the display's last digit",
        "the house meanwhile",
    ]
    assert 2 * sum(part.u_w**2 for part in parts) ** 0.5 == pytest.approx(ctcheck.check(tests).tolerance_w)


def test_steps_that_no_condition_explains_cannot_tell():
    verdict = ctcheck.check(two((1700, 900), (0, 1700)))

    assert verdict.kind == Kind.CANNOT_TELL
    assert "neither a right pair of CTs nor any fault that we know" in verdict.cause


def test_a_load_below_1000_w_cannot_tell():
    verdict = ctcheck.check(two((999, 0), (0, 999), load_w=999))

    assert verdict.kind == Kind.CANNOT_TELL
    assert "too small" in verdict.cause
    assert "at least 1,000\u202fW" in verdict.next_test


def test_a_load_below_ten_sigmas_of_the_noise_cannot_tell():
    verdict = ctcheck.check(two((1700, 0), (0, 1700), budget=Budget(noise_w=171)))

    assert verdict.kind == Kind.CANNOT_TELL
    assert "at least 1,710\u202fW" in verdict.next_test


def test_a_baseline_that_moves_more_than_the_tolerance_cannot_tell():
    good = steady(800, 850, 0, 1700)
    moved = StepTest(Reading(800, 850), Reading(2600, 850), Reading(1000, 850), load_w=1700)

    verdict = ctcheck.check(TwoSteps(moved, good))

    assert verdict.kind == Kind.CANNOT_TELL
    assert "baseline of leg A moved by 200\u202fW" in verdict.cause
    assert "hold each reading for 30 seconds" in verdict.next_test


def test_a_baseline_that_moves_less_is_cancelled_by_the_bracket():
    moved = StepTest(Reading(800, 850), Reading(2550, 850), Reading(900, 850), load_w=1700)

    verdict = ctcheck.check(TwoSteps(moved, steady(800, 850, 0, 1700)))

    assert verdict.kind == Kind.CONSISTENT
    assert verdict.steps[0] == Step(1700, 0)


@pytest.mark.parametrize(
    ("pv", "battery", "kind", "words"),
    [
        ((3000, 3050, 3100), (0, 0, 0), Kind.CONSISTENT, ""),
        ((3000, 3200, 3000), (0, 0, 0), Kind.CANNOT_TELL, "PV changed from 3,000\u202fW to 3,200\u202fW"),
        ((0, 99, 0), (0, 0, 0), Kind.CONSISTENT, ""),
        ((3000, None, 3000), (0, 0, 0), Kind.CANNOT_TELL, "PV was noted at only some"),
        ((0, 0, 0), (0, -900, 0), Kind.CANNOT_TELL, "battery ran at 900\u202fW"),
    ],
)
def test_a_changing_source_cannot_tell(pv, battery, kind, words):
    on_a = steady(800, 850, 1700, 0, pv=pv, battery=battery)

    verdict = ctcheck.check(TwoSteps(on_a, steady(800, 850, 0, 1700)))

    assert verdict.kind == kind
    assert words in verdict.cause


def test_an_export_with_no_source_noted_cannot_tell_and_with_pv_it_is_no_evidence():
    assert ctcheck.check(two((1700, 0), (0, 1700), a_w=-900, b_w=-900)).kind == Kind.CANNOT_TELL

    sunny = (4000, 4000, 4000)
    tests = TwoSteps(steady(-900, -900, 1700, 0, pv=sunny), steady(-900, -900, 0, 1700, pv=sunny))
    assert ctcheck.check(tests).kind == Kind.CONSISTENT


def test_a_load_of_nothing_is_refused():
    with pytest.raises(ValueError, match="must be more than 0"):
        steady(800, 850, 0, 0, load_w=0)


def test_a_negative_budget_is_refused():
    with pytest.raises(ValueError, match="noise_w must be zero or more"):
        Budget(noise_w=-1)


def test_the_fact_keeps_the_readings_so_that_the_verdict_can_be_computed_again():
    tests = two((0, -1700), (-1700, 0))
    verdict = ctcheck.check(tests)

    stored = json.loads(json.dumps(ctcheck.fact_value(tests, verdict)))

    assert stored["verdict"] == "inconsistent"
    assert TwoSteps.from_json(stored["readings"]) == tests
    assert ctcheck.check(TwoSteps.from_json(stored["readings"])) == verdict


def test_a_third_step_is_kept_and_readings_stored_before_there_was_one_are_still_read():
    tests = dataclasses.replace(two((1700, 0), (0, 1700)), across=steady(800, 850, 2000, 2000, load_w=4000))
    stored = json.loads(json.dumps(ctcheck.fact_value(tests, ctcheck.check(tests))))["readings"]

    assert TwoSteps.from_json(stored) == tests
    del stored["across"]
    assert TwoSteps.from_json(stored) == dataclasses.replace(tests, across=None)


def test_a_verdict_cannot_be_changed():
    verdict = ctcheck.check(two((0, -1700), (-1700, 0)))

    with pytest.raises(dataclasses.FrozenInstanceError):
        verdict.kind = Kind.CONSISTENT  # type: ignore[misc]
