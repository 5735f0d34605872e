"""Rows L3-L5 of TRADE.md, and the length of a standby list. No database."""

from __future__ import annotations

import pytest
from scipy import stats

from jobs.appointments.noshows import at_least_one, shrunk, standby_wanted, wilson


def test_l3_nine_of_sixty_is_fifteen_in_a_hundred_with_its_wilson_interval():
    rate = wilson(9, calls=60)

    # Wilson 1927, by TRADE.md L3; the library's own interval beside it.
    assert (round(100 * rate.low, 1), round(100 * rate.high, 1)) == (8.1, 26.1)
    told = stats.binomtest(9, 60).proportion_ci(method="wilson")
    assert (rate.low, rate.high) == pytest.approx((told.low, told.high), abs=1e-12)


@pytest.mark.parametrize(("missed", "calls"), [(0, 1), (0, 12), (12, 12), (1, 3), (499, 1000)])
def test_the_interval_is_the_librarys_at_the_edges_too(missed, calls):
    told = stats.binomtest(missed, calls).proportion_ci(method="wilson")

    rate = wilson(missed, calls=calls)

    assert (rate.low, rate.high) == pytest.approx((told.low, told.high), abs=1e-12)


def test_l4_at_least_one_of_eight_calls_is_missed():
    assert at_least_one(0.15, calls=8) == pytest.approx(0.7275, abs=5e-5)


def test_l5_a_small_sample_is_drawn_to_the_overall_rate():
    # Prior a 2, b 18: an overall rate of 0.1 that weighs 20 calls.
    assert shrunk(9, calls=60, overall=0.1) == pytest.approx(0.1375)
    assert shrunk(0, calls=0, overall=0.1) == pytest.approx(0.1)


@pytest.mark.parametrize(("chance", "calls"), [(0.15, 8), (0.15, 30), (0.0, 5), (1.0, 4), (0.3, 0)])
def test_the_standby_list_is_the_ninetieth_of_the_hundred(chance, calls):
    assert standby_wanted(chance, calls=calls) == max(0, int(stats.binom.ppf(0.9, calls, chance)))


@pytest.mark.parametrize(("missed", "calls"), [(1, 0), (0, 0), (-1, 4), (5, 4)])
def test_what_is_no_share_is_refused(missed, calls):
    with pytest.raises(ValueError, match="is no share"):
        wilson(missed, calls=calls)
