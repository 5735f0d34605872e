"""TRADE.md section 3, rows M1 to M9: power from the utility meter's pulses.

Sources: Lawrence Berkeley National Laboratory, note on measuring standby power (M1); Handbook for Electricity Metering, for
P = 3600 Kh n / t (M2 to M5, M9); NAVFAC MO-221 (M8); the rest is arithmetic beside the row.
"""

import pytest

from jobs.core.metertiming import Mark, hours_on_register, power_w, timed, timing_share, transformer_factor, wh_of


@pytest.mark.parametrize(
    ("row", "kh", "count", "seconds", "watts", "within"),
    [
        ("M1", 7.2, 1, 600, 43.2, 0.05),
        ("M1", 7.2, 1, 582, 44.5, 0.05),
        ("M1", 7.2, 1, 609, 42.6, 0.05),
        ("M1", 7.2, 1, 597, 43.4, 0.05),
        ("M2", 7.2, 1, 15.25, 1699.7, 0.05),
        ("M3", 1, 10, 10.588, 3400, 0.5),
        ("M9", 12, 4, 60, 2880, 1e-9),
    ],
)
def test_turns_of_kh_watt_hours_in_a_time_are_this_power(row, kh, count, seconds, watts, within):
    assert power_w(kh=kh, count=count, seconds=seconds) == pytest.approx(watts, abs=within), row


def test_m4_at_1700_w_a_pulse_of_one_watt_hour_takes_2_118_seconds():
    assert power_w(kh=1, count=1, seconds=2.118) == pytest.approx(1700, abs=0.5)


def test_m5_48_impulses_of_a_1000_per_kwh_meter_in_a_minute_are_2880_w():
    assert power_w(kh=wh_of(Mark.IMPULSES, 1000), count=48, seconds=60) == pytest.approx(2880)


def test_m6_taps_right_within_0_2_s_leave_0_94_per_cent_of_doubt_over_30_s():
    # sqrt 2 * 0.2 / 30 = 0.00943; twice that is the expanded uncertainty.
    assert timing_share(30, tap_s=0.2) == pytest.approx(0.0094, abs=5e-5)
    assert timed(kh=1, count=28, seconds=30, tap_s=0.2).expanded_w / 3360 == pytest.approx(0.01886, abs=5e-6)


def test_m7_a_register_of_whole_kilowatt_hours_needs_5_88_hours_for_5_per_cent_of_3_4_kw():
    assert hours_on_register(1, share=0.05, power_kw=3.4) == pytest.approx(5.88, abs=0.005)


def test_m8_transformers_of_20_to_5_and_7200_to_120_make_240():
    assert transformer_factor((20, 5), (7200, 120)) == 240
    assert power_w(kh=1.8, count=1, seconds=10, factor=240) == pytest.approx(1.8 * 3600 / 10 * 240)
