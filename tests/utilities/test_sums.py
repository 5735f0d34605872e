"""Sums of many forecasts: hand-worked laws, brute force, and simulation with the pace shared."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from tests.utilities.waits import D0, every_day, history
from utilities.leadtimes import CANCELLED, FITTED, OPEN, OpenRequests, chance_by, fit, forecast, fronts, open_rows, sums
from utilities.leadtimes.lasting import ending_hazard, lasts
from utilities.leadtimes.sums import SHARED, conditional, equal_groups, number_law, range_at, together, total

MONDAY = D0 + 6


def past(utility, n, wait, spread, rng):
    """Requests filed on even days over two years; those not fitted by D0 are open."""
    filed = np.sort(D0 - rng.integers(1, 700, n))
    ended = filed + np.maximum(rng.normal(wait, spread, n).astype(int), 1)
    return [
        (utility, int(day), None, int(end), FITTED) if end <= D0 else (utility, int(day), None, None, OPEN)
        for day, end in zip(filed, ended, strict=True)
    ]


@pytest.fixture(scope="module")
def learned():
    rng = np.random.default_rng(7)
    rows = history(past(0, 150, 60, 25, rng) + past(1, 60, 90, 30, rng) + past(2, 12, 60, 25, rng))
    fitted = fit(rows, every_day(3), D0)
    requests = OpenRequests.of(rows, open_rows(rows, D0))
    return rows, fitted, requests, forecast(fitted, requests)


def test_two_independent_homes_of_chance_a_half_and_a_quarter_give_three_eighths_a_half_and_an_eighth():
    assert number_law(np.array([1 / 2, 1 / 4]), np.array([1, 1])).tolist() == [3 / 8, 1 / 2, 1 / 8]


def test_amounts_add_up_as_every_combination_says():
    rng = np.random.default_rng(3)
    chance, sizes = rng.random(7), rng.integers(1, 9, 7)
    by_hand = np.zeros(sizes.sum() + 1)
    for came in product((0, 1), repeat=7):
        by_hand[np.dot(came, sizes)] += np.prod(np.where(came, chance, 1 - chance))
    assert np.allclose(number_law(chance, sizes), by_hand, atol=1e-14)


def test_one_home_under_one_pace_has_its_own_chance():
    of_one = total(np.full((SHARED, 1, 3), [0.05, 0.3, 0.95]), np.array([1]))
    assert np.allclose(of_one.mean, [0.05, 0.3, 0.95])
    assert np.allclose(of_one.variance, [0.05 * 0.95, 0.3 * 0.7, 0.95 * 0.05])
    assert (of_one.low.tolist(), of_one.high.tolist()) == ([0, 0, 1], [0, 1, 1])


def test_the_shared_values_keep_the_mean_that_was_forecast():
    rng = np.random.default_rng(5)
    chance, given = rng.random((20, 4)) ** 3, rng.random((SHARED, 20, 4)) ** 2
    told = conditional(chance, given)
    assert np.allclose(told.mean(axis=0), chance)
    assert told.min() >= 0
    assert told.max() <= 1


def test_states_are_split_into_nine_groups_of_one_chance_in_order_of_staying_open():
    chance, still = np.array([0.5, 0.3, 0.2]), np.array([0.1, 0.9, 0.5])
    group = equal_groups(chance, still)
    assert np.allclose(group.sum(axis=1), 1)
    assert np.allclose(group.mean(axis=0), chance)
    assert np.allclose(group[0], [0, 1, 0])  # the likeliest to stay open
    assert np.allclose(group[-1], [1, 0, 0])
    assert np.allclose(group[2], [0, 0.7, 0.3])  # 2/9 to 3/9: the second state ends at 0.3


def test_the_mean_of_a_week_is_the_sum_of_its_homes_chances(learned):
    rows, fitted, requests, told = learned
    weeks = sums.weeks(fitted, requests, told, first=MONDAY)
    each = chance_by(told, MONDAY + 6) - chance_by(told, MONDAY - 1)
    for utility in range(3):
        assert weeks.mean[utility, 0] == pytest.approx(each[requests.utility == utility].sum(), abs=1e-12)
    assert weeks.mean.shape == (3, 13)


def test_homes_that_share_a_pace_have_a_wider_sum_than_independent_ones(learned):
    _, fitted, requests, told = learned
    chosen = np.repeat(np.flatnonzero(requests.utility == 0), 8)
    weeks = sums.weeks(fitted, requests, told, first=MONDAY, count=2, rows=chosen)
    p = np.diff(np.stack([chance_by(told, MONDAY - 1 + 7 * week)[chosen] for week in range(3)]), axis=0)
    # In later weeks a faster pace brings some homes and has brought others already, so that they gain less.
    assert weeks.variance[0, 0] > 1.05 * (p * (1 - p)).sum(axis=1)[0]
    # A hundred homes of chance 1/4 under nine values from 1/8 to 3/8, by hand: 9/4 of 100 x 1/4 x 3/4 and more.
    values = np.linspace(1 / 8, 3 / 8, SHARED)
    of_many = total(np.repeat(values[:, None, None], 100, axis=1), np.ones(100, dtype=np.int64))
    assert of_many.mean.item() == pytest.approx(25)
    assert of_many.variance.item() == pytest.approx(100 * (values * (1 - values)).mean() + 100**2 * values.var())
    alone = np.cumsum(number_law(np.full(100, 1 / 4), np.ones(100, dtype=np.int64)))
    assert of_many.high.item() - of_many.low.item() > 2 * ((alone < 0.9).sum() - (alone < 0.1).sum())


def test_an_exact_law_and_its_mean_and_variance_alone_name_nearly_the_same_range(learned):
    _, fitted, requests, told = learned
    exact = sums.weeks(fitted, requests, told, first=MONDAY, count=4)
    rough = [range_at(level, exact.mean, exact.variance) for level in (0.1, 0.9)]
    assert np.abs(rough[0] - exact.low).max() <= 1
    assert np.abs(rough[1] - exact.high).max() <= 1


@pytest.mark.parametrize("served", ["at a pace", "in order"])
def test_simulated_homes_that_share_what_they_share_come_out_as_the_sums_say(learned, served, monkeypatch):
    _, fitted, requests, told = learned
    if served == "in order":
        monkeypatch.setattr(sums, "FRONT_FROM", 0.0)
    chosen = np.flatnonzero(requests.utility == 0)
    seen = []

    def noted(chance, sizes):
        seen.append(chance)
        return total(chance, sizes)

    monkeypatch.setattr(sums, "total", noted)
    weeks = sums.weeks(fitted, requests, told, first=MONDAY, count=3, rows=chosen)
    # Given the shared value homes are independent: draw one of the nine, then each home.
    rng = np.random.default_rng(17)
    value = rng.integers(0, SHARED, 40_000)
    came = (rng.random((40_000, chosen.size)) < seen[0][value, :, 1]).sum(axis=1)
    # Standard errors of 40,000 draws: below 0.01 of the mean's spread, about 0.7 % of the variance. Four of them are allowed.
    assert came.mean() == pytest.approx(weeks.mean[0, 1], abs=4 * came.std() / 200)
    assert came.var() == pytest.approx(weeks.variance[0, 1], rel=0.03)
    assert (came <= weeks.high[0, 1]).mean() >= 0.9 - 0.006
    assert (came < weeks.low[0, 1]).mean() <= 0.1 + 0.006


def test_a_utility_strictly_in_order_is_summed_over_states_of_its_front():
    rng = np.random.default_rng(2)
    filed = np.sort(D0 - rng.integers(1, 720, 400))
    ended = filed + (80 + 40 * np.sin(filed / 60)).astype(int)  # in order, while the wait swings between 40 and 120 days
    rows = history(
        [(0, int(d), None, int(e), FITTED) if e <= D0 else (0, int(d), None, None, OPEN) for d, e in zip(filed, ended, strict=True)]
    )
    fitted = fit(rows, every_day(1), D0)
    assert fitted.weight[7:, 0].sum() > 0.5
    requests = OpenRequests.of(rows, open_rows(rows, D0))
    told = forecast(fitted, requests)
    weeks = sums.weeks(fitted, requests, told, first=MONDAY)
    p = chance_by(told, MONDAY + 6) - chance_by(told, MONDAY - 1)
    assert weeks.mean[0, 0] == pytest.approx(p.sum(), abs=1e-9)
    assert weeks.variance[0, 0] > (p * (1 - p)).sum()
    assert (weeks.low <= weeks.mean + 1).all()
    assert (weeks.high >= weeks.mean - 1).all()
    assert fronts.OFFSETS[-1] >= 13 * 7


def test_a_range_of_amounts_is_the_range_of_counts_times_the_amount(learned):
    _, fitted, requests, told = learned
    counts = sums.weeks(fitted, requests, told, first=MONDAY, count=4)
    cash = sums.weeks(fitted, requests, told, first=MONDAY, count=4, amounts=np.full(len(requests), 250_00))
    assert np.allclose(cash.mean, 250_00 * counts.mean)
    assert np.allclose(cash.variance, 250_00**2 * counts.variance)
    # Amounts are told apart to a two-thousandth of the total.
    assert np.allclose(cash.low, 250_00 * counts.low, rtol=0.02)
    assert np.allclose(cash.high, 250_00 * counts.high, rtol=0.02)


def test_utilities_together_add_their_means_and_variances():
    both = together(np.array([[2.0], [1.5]]), np.array([[3.0], [2.5]]))
    # scipy.stats.nbinom(r, p).ppf(0.1), ppf(0.9) with mean 3.5 and variance 5.5: r = 6.125, p = 7/11
    assert (both.mean.item(), both.variance.item(), both.low.item(), both.high.item()) == (3.5, 5.5, 1.0, 7.0)
    # A variance below the mean: normal, 10 +- 1.2816 x 2, to the nearest whole number.
    even = together(np.array([[10.0]]), np.array([[4.0]]))
    assert (even.low.item(), even.high.item()) == (7.0, 13.0)
    assert together(np.zeros((0, 2)), np.zeros((0, 2))).mean.tolist() == [0, 0]


def test_a_cancelled_home_brings_nothing(learned):
    rows, fitted, requests, told = learned
    ended = [(0, D0 - 200 - day, None, D0 - 200 - day + 50, CANCELLED) for day in range(0, 300, 3)]
    columns = (rows.utility, rows.filed, rows.by, rows.outcome)
    kept = [(int(u), int(f), None, None if o == OPEN else int(b), int(o)) for u, f, b, o in zip(*columns, strict=True)]
    ending = ending_hazard(history(kept + ended), every_day(3), D0)
    fewer = sums.weeks(fitted, requests, told, first=MONDAY, count=3, ending=ending)
    all_of_them = sums.weeks(fitted, requests, told, first=MONDAY, count=3)
    assert (fewer.mean[0] < all_of_them.mean[0]).all()
    # A request past the age at which so many ended is likelier to last.
    ages = np.array([30, 120])
    told_lasts = lasts(ending, ages, ages + 30)
    assert told_lasts[0] < told_lasts[1] < 1


def test_where_no_request_ever_ended_without_fitting_every_one_lasts():
    ending = ending_hazard(history([(0, D0 - 90, None, D0 - 30, FITTED), (0, D0 - 9, None, None, OPEN)]), every_day(1), D0)
    assert lasts(ending, np.array([5]), np.array([500])).tolist() == [1.0]


def test_one_hazard_of_ending_is_found_again():
    rng = np.random.default_rng(9)
    filed = D0 - rng.integers(1, 900, 4000)
    gone = filed + rng.geometric(0.004, 4000)
    rows = history(
        [(0, int(d), None, int(e), CANCELLED) if e <= D0 else (0, int(d), None, None, OPEN) for d, e in zip(filed, gone, strict=True)]
    )
    ending = ending_hazard(rows, every_day(1), D0)
    # 100 days of 0.4 % each; about 3,300 endings: standard error near 1 %, three of them.
    assert lasts(ending, np.array([20]), np.array([120]))[0] == pytest.approx(0.996**100, rel=0.03)
