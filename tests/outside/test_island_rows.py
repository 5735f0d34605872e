"""TRADE.md section 3, rows R1 to R8 and C20: readiness for island mode, and CTs against the collar.

Each row was worked out there with numpy; R4 and R8 are judgments of ours, R12 stands in test_service_rows.py with R9 to R11.
"""

import datetime as dt

import numpy as np
import pytest

from jobs.appointments import limits
from jobs.appointments.evidence import LOAD_SERVED, MID_OPEN, UTILITY_POWER, Sighting, evidence
from jobs.core import pairs


@pytest.mark.parametrize(
    ("row", "usable_wh", "soc", "floor", "efficiency", "load_w", "hours"),
    [("R1", 13_500, 80, 20, 1.0, 1_700, 4.76), ("R2", 10_000, 90, 20, 0.95, 2_000, 3.325), ("R3", 20_000, 50, 10, 0.96, 1_200, 6.4)],
)
def test_r1_to_r3_hours_of_a_steady_load(row, usable_wh, soc, floor, efficiency, load_w, hours):
    # TRADE.md 2.3.2: t = E (SOC - floor) eta / P.
    found = limits.run_hours(usable_wh, soc_percent=soc, floor_percent=floor, load_w=load_w, efficiency=efficiency)
    assert found == pytest.approx(hours, abs=0.005), row


def test_r4_below_the_floor_there_is_no_time_and_never_a_negative_one():
    assert limits.run_hours(10_000, soc_percent=15, floor_percent=20, load_w=1_000) is None


def test_r5_the_currents_of_legs_and_neutral():
    # 2400/120 + 3600/240 = 35; 600/120 + 15 = 20; |2400 - 600|/120 = 15.
    assert limits.leg_currents(2_400, 600, across_w=3_600) == limits.Legs(35.0, 20.0, 15.0)


def test_r6_a_balance_with_fifty_watts_left_over():
    balance = limits.Balance(pv_w=1_200, battery_w=1_900, grid_w=0, load_w=3_050)
    assert balance.residual_w == 50
    assert balance.balanced


def test_r7_the_start_of_a_motor_of_77_a():
    # NEC article 430, locked-rotor current (from memory): S = V * LRA = 240 * 77.
    assert limits.start_va(77) == pytest.approx(18_480)


def test_r8_an_open_mid_with_nothing_running_proves_nothing():
    at = dt.datetime(2026, 11, 18, 21, tzinfo=dt.UTC)
    seen = [Sighting(what, at + dt.timedelta(seconds=n), 0, n) for n, what in enumerate((MID_OPEN, UTILITY_POWER, LOAD_SERVED))]
    assert evidence(seen, load_before_w=640, until=at + dt.timedelta(minutes=5)).missing
    assert not limits.served(0, before_w=640)


def test_c20_bias_and_limits_of_agreement():
    # Bland and Altman, Lancet 1986; 327: 307-310 (from memory); numpy says the same.
    differences = [10, -5, 12, -5, 20, 10]
    found = pairs.agreement(differences)
    assert (found.bias_w, found.spread_w) == pytest.approx((np.mean(differences), np.std(differences, ddof=1)))
    assert (found.bias_w, found.spread_w) == pytest.approx((7, 10.0))
    assert (found.low_w, found.high_w) == pytest.approx((-12.6, 26.6))
