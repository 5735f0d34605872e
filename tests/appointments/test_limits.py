"""Load against limits, and the balance in island mode, against a slow second version."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.appointments.limits import Balance, Judged, Limits, Load, judged, leg_currents, run_hours, run_time_words, served

ALL = Limits("Ana Ortiz", 7_600, 40, 20_000, 13_500, 20, 5_000, 95, 96)
LOAD = Load(total_w=3_000, soc_percent=80, pv_w=1_000, leg_a_w=2_400, leg_b_w=600, across_w=0, start_lra=77)


def found(load=LOAD, limits=ALL):
    return {finding.title: finding for finding in judged(load, limits)}


def test_all_within_says_so_and_nothing_more():
    findings = found().values()

    assert {finding.judged for finding in findings} == {Judged.WITHIN}
    for finding in findings:
        assert finding.words.startswith("within the limits that were entered")
        assert not {"safe", "ready", "approved", "accurate", "ok"} & set(finding.words.lower().split())


def test_each_limit_that_nobody_entered_is_named():
    findings = found(Load(total_w=3_000, soc_percent=80, pv_w=4_000), Limits())

    assert [finding.words for finding in findings.values()] == [
        "cannot tell: the continuous power is missing",
        "cannot tell: the load of each leg is missing",
        "cannot tell: the locked rotor current of the largest motor and the power of a start are missing",
        "cannot tell: the floor of the charge is missing",
        "cannot tell: the charging power and the charge from which it takes less are missing",
    ]


def test_what_is_outside_says_what_was_seen_and_what_was_entered():
    findings = found(
        Load(total_w=8_000, soc_percent=20, pv_w=14_000, leg_a_w=6_000, leg_b_w=0, across_w=2_000, start_lra=90),
        ALL,
    )

    assert {finding.judged for finding in findings.values()} == {Judged.OUTSIDE}
    assert findings["Continuous power"].words == "outside: 8,000\u202fW, entered 7,600\u202fW"
    # 6000/120 + 2000/240 = 58.3 A; 2000/240 = 8.3 A; |6000 - 0|/120 = 50 A.
    assert findings["Current of each leg"].words == "outside: A 58.3 A, B 8.3 A, neutral 50.0 A, entered 40 A"


def test_a_neutral_that_carries_more_than_a_leg_may_is_outside():
    # Two legs of 30 and 0 A load the neutral with 30 A.
    load = Load(total_w=3_600, soc_percent=80, leg_a_w=3_600, leg_b_w=0)
    assert found(load, Limits("x", leg_a=29))["Current of each leg"].judged == Judged.OUTSIDE


def test_a_run_time_is_a_range_and_none_at_the_floor():
    # 13,500 Wh * 60 % * 0.96 / 3,000 W = 2.592 h; / 1.25 = 2.07; / 0.75 = 3.46.
    assert run_time_words(LOAD, ALL) == "about 2.1 to 3.5 hours, at 125 to 75 % of what runs now"
    assert "not above the floor" in run_time_words(Load(total_w=900, soc_percent=20), ALL)
    assert run_time_words(LOAD, Limits()) == "cannot tell: the usable energy and the floor of the charge are missing"


def test_nothing_running_and_a_source_on_a_leg_are_refused():
    with pytest.raises(ValueError, match="Nothing runs"):
        run_hours(10_000, soc_percent=90, floor_percent=20, load_w=0)
    with pytest.raises(ValueError, match="cannot be negative"):
        leg_currents(-1, 0)


WATTS = st.integers(-20_000, 20_000)


@settings(max_examples=150)
@given(WATTS, WATTS, WATTS, st.integers(0, 20_000))
def test_the_balance_is_that_of_exact_fractions(pv, battery, grid, load):
    balance = Balance(pv, battery, grid, load)

    left = Fraction(pv) + Fraction(battery) + Fraction(grid) - Fraction(load)
    assert balance.residual_w == left
    assert balance.balanced == (abs(left) <= max(Fraction(100), Fraction(load) / 20))
    assert balance.no_utility == (-30 <= grid <= 30)


@settings(max_examples=150)
@given(st.integers(0, 30_000), st.integers(0, 30_000), st.integers(0, 30_000))
def test_the_currents_of_the_legs_add_up_wire_by_wire(a, b, across):
    legs = leg_currents(a, b, across_w=across)

    # The slow version: each load on its own wires, currents added with their directions.
    wires = {"a": Fraction(0), "b": Fraction(0), "n": Fraction(0)}
    for start, end, watts, volts in (("a", "n", a, 120), ("n", "b", b, 120), ("a", "b", across, 240)):
        wires[start] += Fraction(watts, volts)
        wires[end] -= Fraction(watts, volts)
    assert (legs.a, legs.b, legs.neutral) == pytest.approx((wires["a"], -wires["b"], abs(wires["n"])))


@settings(max_examples=100)
@given(st.integers(0, 5_000), st.integers(0, 5_000))
def test_served_is_four_fifths_of_what_ran_before(now, before):
    assert served(now, before_w=before) == (before > 0 and Fraction(now) >= Fraction(before) * Fraction(4, 5))
