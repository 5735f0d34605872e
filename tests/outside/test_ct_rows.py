"""TRADE.md section 3, rows C1 to C21: what CTs read, checked against the rows worked out there.

Source of the signature rows: active power P = Re(V I*), any circuits text, IEEE Std 1459; they are written down here by
hand and not computed by the code under test.
"""

import numpy as np
import pytest

from jobs.core import ctcheck, ctclass, ctratio, ctsignatures
from jobs.core.ctbudget import Budget, combined_w, contributions, tolerance_w
from jobs.core.ctsignatures import Load, Service

SPLIT, WYE = Service.SPLIT_120_240, Service.TWO_LEGS_OF_120_208
RIGHT = ""
A_REVERSED = "CT A is reversed"
BOTH_REVERSED = "both CTs are reversed"
SWAPPED = "the CTs are swapped between the legs"
SWAPPED_REVERSED = "the CTs are swapped between the legs and both are reversed"
BOTH_ON_A = "both CTs are on leg A"


def reads(cause, load, service=SPLIT):
    (condition,) = [c for c in ctsignatures.conditions() if c.cause == cause]
    step = ctsignatures.signature(condition, load=load, load_w=1700, service=service)
    return round(step.a_w, 6), round(step.b_w, 6)


@pytest.mark.parametrize(
    ("row", "cause", "load", "service", "legs"),
    [
        ("C3", RIGHT, Load.ACROSS, SPLIT, (850, 850)),
        ("C4", A_REVERSED, Load.ACROSS, SPLIT, (-850, 850)),
        ("C5", BOTH_REVERSED, Load.ACROSS, SPLIT, (-850, -850)),
        ("C5", SWAPPED, Load.ACROSS, SPLIT, (-850, -850)),
        ("C6", BOTH_REVERSED, Load.LEG_A, SPLIT, (-1700, 0)),
        ("C6", SWAPPED, Load.LEG_A, SPLIT, (0, -1700)),
        ("C7", SWAPPED_REVERSED, Load.LEG_A, SPLIT, (0, 1700)),
        ("C8", BOTH_ON_A, Load.LEG_A, SPLIT, (1700, -1700)),
        ("C9", SWAPPED, Load.LEG_A, WYE, (0, -850)),
        ("C10", SWAPPED, Load.ACROSS, WYE, (-850, -850)),
        ("C11", BOTH_ON_A, Load.LEG_A, WYE, (1700, -850)),
    ],
)
def test_a_signature_is_the_row_of_the_table(row, cause, load, service, legs):
    assert reads(cause, load, service) == legs, row


# TRADE.md 2.1.2, the whole table for 1,700 W on 120/240 V: (across both legs), (120 V on A), (120 V on B).
@pytest.mark.parametrize(
    ("cause", "across", "on_a", "on_b"),
    [
        (RIGHT, (850, 850), (1700, 0), (0, 1700)),
        (A_REVERSED, (-850, 850), (-1700, 0), (0, 1700)),
        (BOTH_REVERSED, (-850, -850), (-1700, 0), (0, -1700)),
        (SWAPPED, (-850, -850), (0, -1700), (-1700, 0)),
        (SWAPPED_REVERSED, (850, 850), (0, 1700), (1700, 0)),
        (BOTH_ON_A, (850, -850), (1700, -1700), (0, 0)),
        ("CT B is absent, open or not round this feeder", (850, 0), (1700, 0), (0, 0)),
        ("CT A reads 0.5 times what it should (the ratio set is wrong)", (425, 850), (850, 0), (0, 1700)),
        (
            "both CTs read 0.5 times what they should (the ratios set are wrong)",
            (425, 425),
            (850, 0),
            (0, 850),
        ),
        ("CT A is round both hot conductors", (0, 850), (1700, 0), (-1700, 1700)),
    ],
)
def test_the_signature_table_is_the_one_worked_out_by_hand(cause, across, on_a, on_b):
    assert reads(cause, Load.ACROSS) == across
    assert reads(cause, Load.LEG_A) == on_a
    assert reads(cause, Load.LEG_B) == on_b


def test_c1_a_reading_a_little_under_3500_w_is_consistent_with_1700_and_1700():
    # Common practice, no source: 1,700 W baseline and a 1,700 W load read a little under 3,500 W. 3490 is 2.6 % over 3,400.
    budget = Budget()

    allowed = tolerance_w(3400, load_w=1700, budget=budget, bracketed=False)

    assert abs(3490 - 3400) <= allowed
    assert abs(3600 - 3400) > allowed


def test_c2_a_right_pair_reads_positive_import_on_both_legs():
    # Common practice, no source: arrows toward the house are confirmed by a positive import reading.
    assert reads(RIGHT, Load.LEG_A)[0] > 0
    assert reads(RIGHT, Load.LEG_B)[1] > 0


def test_c4_one_reversed_ct_makes_the_total_of_a_240_v_load_zero():
    assert sum(reads(A_REVERSED, Load.ACROSS)) == 0


def test_c7_swapped_and_reversed_has_a_right_total_on_120_240_and_half_of_it_on_120_208():
    assert sum(reads(SWAPPED_REVERSED, Load.LEG_A)) == 1700
    assert sum(reads(SWAPPED_REVERSED, Load.LEG_A, WYE)) == 850


def test_c12_the_bracketed_step_is_1725_w_and_the_ratio_1_0147():
    # TRADE.md 2.1.1: 3425 - (1650 + 1750) / 2 = 1725; 1725 / 1700 = 1.01470...
    step = ctcheck.step_w(1650, 3425, 1750)

    assert step == 1725
    assert step / 1700 == pytest.approx(1.0147, abs=5e-5)


def test_c15_the_budget_gives_81_9_and_163_8_w():
    # GUM: sqrt((51^2 + 17^2 + 85^2) / 3 + 100^2 / 12 + 50^2) = 81.88.
    budget = Budget(ct_percent=1.5, meter_percent=0.5, load_percent=5, display_w=100, noise_w=50)

    allowed = tolerance_w(3400, load_w=1700, budget=budget, bracketed=False)

    assert allowed / 2 == pytest.approx(81.9, abs=0.05)
    assert allowed == pytest.approx(163.8, abs=0.05)


def test_c15_each_contribution_has_the_standard_uncertainty_of_its_kind():
    # JCGM 100:2008, 4.3.7: a / sqrt 3 of 51, 17 and 85 W; q / sqrt 12 of 100 W; the deviation itself of 50 W.
    parts = contributions(3400, load_w=1700, budget=Budget())

    assert [part.u_w for part in parts] == pytest.approx([29.445, 9.815, 49.075, 28.868, 50], abs=0.001)
    assert combined_w(parts) == pytest.approx(81.9, abs=0.05)


def test_c13_1700_w_is_3_54_per_cent_of_a_200_a_ct():
    assert ctclass.share_of_rated(1700, volts=240, rated_a=200) == pytest.approx(0.0354, abs=5e-5)


def test_c14_20_per_cent_of_a_200_a_ct_is_9600_w():
    assert ctclass.power_at_share(0.2, volts=240, rated_a=200) == pytest.approx(9600)


def test_c16_half_a_degree_at_a_power_factor_of_0_9_is_0_419_per_cent():
    # cos(25.842 - 0.5 degrees) / 0.9 - 1, exact; tan(phi) beta would give 0.423 %.
    assert ctclass.phase_error_share(30, power_factor=0.9) == pytest.approx(0.00419, abs=5e-6)
    assert ctclass.phase_error_share(30, power_factor=1) < 5e-5


def test_c17_a_heater_of_1700_w_draws_1757_at_244_v_and_1644_at_236_v():
    assert ctclass.load_at(1700, nameplate_v=240, volts=244) == pytest.approx(1757.1, abs=0.05)
    assert ctclass.load_at(1700, nameplate_v=240, volts=236) == pytest.approx(1643.8, abs=0.05)


def test_c18_a_rise_of_1700_w_from_3400_w_known_is_a_ratio_set_to_half():
    # The reading rises from 850 to 2,550 W.
    assert ctratio.line_of((0, 3400), (850, 2550)).slope == pytest.approx(0.5)
    assert 0.5 in ctsignatures.WRONG_RATIOS


def test_c19_three_loads_give_slope_one_half_and_the_baseline_of_850_w():
    known, read = (0, 1700, 3400), (850, 1700, 2550)

    line = ctratio.line_of(known, read)

    assert (line.slope, line.intercept_w) == pytest.approx((0.5, 850))
    assert (line.slope, line.intercept_w) == pytest.approx(tuple(np.polyfit(known, read, 1)))


def test_c20_six_pairs_of_ct_and_collar_have_a_bias_of_7_w_and_limits_of_minus_12_6_and_26_6():
    # Bland and Altman, Lancet 1986;327:307-310: mean ± 1.96 standard deviations.
    collar = (400, 900, 1500, 2400, 3300, 5200)
    ct = tuple(c + d for c, d in zip(collar, (10, -5, 12, -5, 20, 10), strict=True))

    found = ctclass.agreement(ct, collar)

    assert found.bias_w == pytest.approx(7)
    assert found.deviation_w == pytest.approx(10.0, abs=0.05)
    assert (found.low_w, found.high_w) == pytest.approx((-12.6, 26.6), abs=0.05)
    assert ctclass.agrees(ct, collar)


# IEC 61869-2:2012, Tables 201 and 202, ratio error in per cent, in secondary copies that agree.
@pytest.mark.parametrize(
    ("accuracy_class", "limits"),
    [
        ("0.2", {5: 0.75, 20: 0.35, 100: 0.2, 120: 0.2}),
        ("0.5", {5: 1.5, 20: 0.75, 100: 0.5, 120: 0.5}),
        ("1", {5: 3.0, 20: 1.5, 100: 1.0, 120: 1.0}),
        ("0.2S", {1: 0.75, 5: 0.35, 20: 0.2, 100: 0.2, 120: 0.2}),
        ("0.5S", {1: 1.5, 5: 0.75, 20: 0.5, 100: 0.5, 120: 0.5}),
    ],
)
def test_the_limits_of_a_class_are_those_of_iec_61869_2(accuracy_class, limits):
    for percent, limit in limits.items():
        assert ctclass.ratio_error_limit(accuracy_class, percent_of_rated=percent) == limit


def test_c21_class_1_may_err_by_3_per_cent_at_5_per_cent_of_rated():
    assert ctclass.ratio_error_limit("1", percent_of_rated=5) == 3.0


def test_the_customary_load_stands_below_the_first_limit_of_an_ordinary_class():
    # TRADE.md finding 5: 3.54 % of rated, and ordinary classes have no limit below 5 %; class 0.5S has.
    share = 100 * ctclass.share_of_rated(1700, volts=240, rated_a=200)

    assert ctclass.ratio_error_limit("1", percent_of_rated=share) is None
    assert ctclass.ratio_error_limit("0.5S", percent_of_rated=share) == 1.5
