"""The parts of the forecast core one by one, by hand or on waits of a known law."""

import math

import numpy as np
import pytest

from tests.utilities.waits import D0, asking, every_day, history, said, working
from utilities.leadtimes import CANCELLED, FITTED, NO_DAY, OPEN, History, OpenRequests, fit, forecast, promises
from utilities.leadtimes.ages import waits_seen
from utilities.leadtimes.brackets import any_bracketed, shared_out
from utilities.leadtimes.classes import CLASSES, LOWER, UPPER
from utilities.leadtimes.counts import count
from utilities.leadtimes.dates import AHEAD, first_reached
from utilities.leadtimes.districts import districts_of
from utilities.leadtimes.pool import pool_of, scales
from utilities.leadtimes.weights import log_weights, weights
from utilities.workdays import FEDERAL


def real(rows, calendars=None, as_of=D0):
    return fit(history(rows), calendars or every_day(2), as_of)


def log_normal(seed, n, *, usual, utility=0, sigma=0.5, years=2):
    chance = np.random.default_rng(seed)
    filed = D0 - chance.integers(1, 365 * years, n)
    wait = np.ceil(chance.lognormal(math.log(usual), sigma, n)).astype(int)
    return [
        (utility, sent, None, *((sent + days, FITTED) if sent + days <= D0 else (None, OPEN)))
        for sent, days in zip(filed.tolist(), wait.tolist(), strict=True)
    ]


# Counts


def test_days_waited_fall_into_the_fortnight_they_were_waited_in():
    # Filed 20 days ago, fitted 3 days ago: 6 days in the older fortnight, 11 in the newer one.
    counts = count(waits_seen(history([(0, D0 - 20, None, D0 - 3, FITTED)]), every_day(1), D0), every_day(1), D0)

    assert counts.waited.sum(axis=(1, 2)) == pytest.approx([6, 11], rel=1e-6)
    assert counts.fitted.sum(axis=(1, 2)) == pytest.approx([0, 1], rel=1e-6)
    assert np.flatnonzero(counts.fitted[1, 0]).tolist() == np.flatnonzero((UPPER > 16) & (LOWER < 17)).tolist()


def test_what_is_older_than_104_fortnights_falls_into_the_oldest():
    rows = [(0, D0 - 3000, None, D0 - 2900, FITTED), (0, D0 - 2000, None, D0 - 1500, CANCELLED)]

    counts = count(waits_seen(history(rows), every_day(1), D0), every_day(1), D0)

    assert len(counts.waited) == 104
    first_ends = D0 - 14 * 103
    assert first_ends > D0 - 1500
    assert counts.waited[0].sum() == pytest.approx(600, rel=1e-6)


# Pool


def test_a_utility_without_fittings_is_taken_for_slower_the_longer_it_was_watched():
    n, r = np.array([50.0, 50, 0, 0]), np.array([3000.0, 3000, 100, 4000])

    scale, centre, _ = scales(n, r)

    assert scale[0] == pytest.approx(math.log(60), abs=0.05)
    assert centre == pytest.approx(math.log(60), abs=0.05)
    assert scale[2] < scale[3]


def test_with_nothing_fitted_the_pool_is_a_constant_hazard():
    pool = pool_of(np.zeros((1, CLASSES)), np.full((1, CLASSES), 1.0))

    assert (pool.shape == 1).all()
    # By hand: g = 1/(99 + 40); raw scale (99 + 0.5 x 139)/0.5 = 337 days, drawn from 139 to it by 0.4/(0.4 + 2) = 1/6 of its
    # logarithm: 161 days, rounded to a class.
    assert pool.hazard()[0] == pytest.approx(np.full(CLASSES, 1 / 161), rel=0.05)


def test_the_pool_moves_to_the_scale_of_each_utility():
    rows = log_normal(1, 800, usual=30) + log_normal(2, 800, usual=120, utility=1)
    fitted = real(rows)

    assert np.exp(fitted.pool.scale[1] - fitted.pool.scale[0]) == pytest.approx(4, rel=0.15)
    # A third, new utility: between the two, and wide.
    new = forecast(fit(history(rows), every_day(3), D0), asking(D0, utility=2))
    assert 30 < new.q_at(50)[0] - D0 < 120
    assert new.why.thin.tolist() == [True]


# Whom to believe


def test_a_record_counts_ten_times_as_much_at_home_as_elsewhere():
    # By hand: utility 0 says -1 and -3, utility 1 says -20 and 0: -1 + 0.1 x -20 = -3, -3 + 0 = -3.
    record = np.array([[-1.0, -20.0], [-3.0, 0.0]])

    assert weights(log_weights(record, np.zeros((2, 2))))[:, 0] == pytest.approx([0.5, 0.5])
    assert weights(log_weights(record, np.array([[0, 0], [math.log(3), 0]])))[:, 0] == pytest.approx([0.25, 0.75])


# Fronts. The front's lag swings between 35 and 85 days, so that the age at which a request is served tells less than its turn.


def in_order(seed, requests=260):
    """(filed, fitted on), both in order of filing; the last ones are fitted after the as-of day. At it the lag is 60 days."""
    days = np.arange(D0 - 700, D0 + 400)
    front = days - 60 - 25 * np.sin((days - D0) / 60)
    filed = np.sort(D0 - np.random.default_rng(seed).integers(0, 600, requests))
    return filed, days[np.searchsorted(front, filed)]


def test_a_utility_strictly_in_order_is_found_out():
    filed, by = in_order(1)
    rows = [
        (0, sent, None, *((done, FITTED) if done <= D0 else (None, OPEN))) for sent, done in zip(filed.tolist(), by.tolist(), strict=True)
    ]

    dates = forecast(real(rows), asking(D0 - 30))

    assert dates.why.front_weight[0] > 0.9
    assert dates.why.front_lag[0] == pytest.approx(60, rel=0.13)
    assert dates.why.front_day[0] == pytest.approx(D0 - 60, abs=9)
    # In truth its turn comes 52 days on, for the front moves at 0.58 of the usual speed of seven days of filing a week.
    assert by[np.searchsorted(filed, D0 - 30)] - D0 == pytest.approx(52, abs=4)
    assert dates.q_at(25)[0] - D0 < 52 < dates.q_at(95)[0] - D0
    assert dates.why.front_speed[0] == pytest.approx(0.58 * 7, abs=1.5)
    assert np.isnan(dates.why.pace[0])


def test_a_utility_that_serves_at_random_is_not_taken_for_one_in_order():
    dates = forecast(real(log_normal(3, 500, usual=60, sigma=0.8)), asking(D0 - 30))

    assert dates.why.front_weight[0] < 0.1
    assert np.isnan(dates.why.front_speed[0])
    assert dates.why.front_day.tolist() == [NO_DAY]


def test_a_utility_that_fits_on_one_day_of_four_weeks_is_not_taken_for_a_front_that_stands_and_runs():
    # Who is due on a day is a matter of chance there, one in three of those open (seed 11).
    chance = np.random.default_rng(11)
    rows = []
    for sent in (D0 - chance.integers(1, 1400, 400)).tolist():
        by = sent + (D0 - 10 - sent) % 28 + 28 * int(chance.geometric(1 / 3) - 1)
        rows.append((0, sent, None, *((by, FITTED) if by <= D0 else (None, OPEN))))

    why = forecast(real(rows), asking(D0)).why

    assert why.front_weight[0] < 0.1


def test_a_utility_that_serves_the_oldest_on_one_day_of_four_weeks_is_not_forecast_far_too_late():
    # On each 28th day, last 20 days ago, all that were sent 60 days before or earlier. A fast fortnight follows a standing one.
    filed = np.sort(D0 - np.random.default_rng(2).integers(0, 1100, 500))
    by = filed + 60 + (D0 - 20 - filed - 60) % 28
    rows = [
        (0, sent, None, *((done, FITTED) if done <= D0 else (None, OPEN))) for sent, done in zip(filed.tolist(), by.tolist(), strict=True)
    ]

    dates = forecast(real(rows), OpenRequests.from_columns(utility=[0] * 3, filed=[D0 - 60, D0 - 30, D0 - 5]))

    # In truth on days 8, 36 and 64.
    late = dates.q_at(50) - D0 - np.array([8, 36, 64])
    assert (np.abs(late) <= 16).all()
    assert (dates.q_at(90) - D0 < 125).all()


def test_a_frozen_utility_that_serves_in_order_gives_later_dates_than_one_that_goes_on():
    filed, by = in_order(1)
    stopped = [
        (0, sent, None, *((done, FITTED) if done <= D0 - 60 else (None, OPEN)))
        for sent, done in zip(filed.tolist(), by.tolist(), strict=True)
    ]
    going = [
        (0, sent, None, *((done, FITTED) if done <= D0 else (None, OPEN))) for sent, done in zip(filed.tolist(), by.tolist(), strict=True)
    ]

    late, usual = (forecast(real(rows), asking(D0 - 20)) for rows in (stopped, going))

    assert late.q_at(50)[0] > usual.q_at(50)[0] + 20


# Pace


def test_a_slower_utility_is_said_to_be_slower():
    # Exponential waits of mean 30 days, from 84 days ago on a third as fast.
    chance = np.random.default_rng(5)
    rows = []
    for sent in (D0 - chance.integers(0, 900, 900)).tolist():
        work = chance.exponential(30)
        before = max(D0 - 84 - sent, 0)
        by = math.ceil(sent + (work if work <= before else before + 3 * (work - before)))
        rows.append((0, sent, None, *((by, FITTED) if by <= D0 else (None, OPEN))))

    why = forecast(real(rows), asking(D0)).why

    assert why.pace[0] < 0.9
    assert why.own_weight[0] > 0.5
    assert why.counted[0] > 5


# Districts


def test_a_district_with_twice_the_fittings_expected_is_drawn_half_way():
    # Constant hazard 1/50; everyone waited 50 days: district 0 has 25 fittings of 25 requests, district 1 has none of 25.
    filed = D0 - 50
    told = History.from_columns(
        utility=[0] * 50,
        filed=[filed] * 50,
        outcome=[FITTED] * 25 + [OPEN] * 25,
        by=[D0] * 25 + [NO_DAY] * 25,
        district=[0] * 25 + [1] * 25,
    )
    waits = waits_seen(told, every_day(1), D0)

    found = districts_of(waits, np.full((1, CLASSES), 1 / 50), D0)

    # By hand: 50 expected, scaled to the 25 fitted: 12.5 each. (25 + 25)/(25 + 12.5) = 4/3; 25/37.5 = 2/3. Blank or unheard of: 1.
    factors = found.of(np.zeros(4, np.int32), np.array([0, 1, -1, 9], np.int32))
    assert factors == pytest.approx([4 / 3, 2 / 3, 1, 1])


def test_a_slow_district_gives_later_dates():
    chance = np.random.default_rng(8)
    slow = chance.random(600) < 0.5
    filed = D0 - chance.integers(1, 700, 600)
    by = filed + np.ceil(chance.lognormal(np.where(slow, math.log(90), math.log(45)), 0.5)).astype(int)
    done = by <= D0
    told = History.from_columns(
        utility=[0] * 600, filed=filed, outcome=np.where(done, FITTED, OPEN), by=np.where(done, by, NO_DAY), district=slow.astype(int)
    )

    dates = forecast(fit(told, every_day(1), D0), OpenRequests.from_columns(utility=[0] * 3, filed=[D0] * 3, district=[0, 1, -1]))

    assert dates.q_at(50)[0] < dates.q_at(50)[2] < dates.q_at(50)[1]
    assert dates.why.factor[0] > 1.1 > 0.9 > dates.why.factor[1]


# Brackets


def test_a_bracket_of_one_day_is_a_known_day_and_needs_no_sharing():
    known = log_normal(4, 60, usual=40)
    bracketed = [(*row, row[3] - 1) if row[4] == FITTED else row for row in known]

    assert not any_bracketed(waits_seen(history(bracketed), every_day(1), D0))
    one, other = (forecast(real(rows), asking(D0 - 9)) for rows in (known, bracketed))
    assert one.q.tolist() == other.q.tolist()


def test_a_bracket_is_shared_out_by_the_chance_of_each_day():
    # Hazard 1/2 a day (rate ln 2): days 4, 5, 6 have chances 1/2, 1/4, 1/8 of what is open after day 3.
    waits = waits_seen(history([(0, D0 - 9, None, D0 - 3, FITTED, D0 - 6), (0, D0 - 5, None, None, OPEN)]), every_day(1), D0)

    parts = shared_out(waits, np.full((1, CLASSES), 0.5))

    assert parts.end.tolist() == [5, 4, 5, 6]
    assert parts.weight == pytest.approx([1, 4 / 7, 2 / 7, 1 / 7])
    assert count(parts, every_day(1), D0).waited.sum() == pytest.approx(5 + (4 * 4 + 5 * 2 + 6) / 7, rel=1e-6)


def test_fittings_seen_only_each_fourteenth_day_give_dates_near_those_of_known_days():
    known = log_normal(14, 800, usual=60)
    seen = [
        (0, sent, None, by, FITTED, max(by - 14, sent))
        if outcome == FITTED and (by := sent + -(-(end - sent) // 14) * 14) <= D0
        else (0, sent, None, None, OPEN)
        for _, sent, _, end, outcome in known
    ]

    one, other = (forecast(real(rows), asking(D0)) for rows in (known, seen))

    assert other.q_at(50)[0] == pytest.approx(one.q_at(50)[0], abs=4)


# Dates


def test_a_share_that_is_reached_exactly_counts_as_reached():
    # One half is open after a day and a quarter after two: the median is day 1, three in four day 2.
    curve = np.concatenate([[0.0], np.log(0.5) * AHEAD])[None]

    days = first_reached(curve)[0]

    assert (days[49], days[50], days[74], days[75]) == (1, 2, 2, 3)
    assert days[98] == 7  # 1 - 2^-7 = 0.992


def test_far_days_between_offsets_lie_on_a_straight_line():
    # ln S = -day/500: p is reached at -500 ln(1 - p): 52.7, 346.6.
    days = first_reached(np.concatenate([[0.0], -AHEAD / 500])[None])[0]

    assert (days[9], days[49]) == (53, 347)


def test_dates_of_a_long_history_are_near_kaplan_meier():
    rows = log_normal(6, 3000, usual=60, years=4)

    real_dates, plain = forecast(real(rows), asking(D0 - 10)), said(rows, filed=D0 - 10)

    for percent in (10, 50, 80):
        assert real_dates.q_at(percent)[0] - D0 == pytest.approx(plain.q_at(percent)[0] - D0, rel=0.15)
    assert working(FEDERAL).utilities == 1


# Promises


def test_a_window_ahead_is_kept_as_often_as_such_promises_are():
    base = -np.arange(61) / 30
    told = np.exp(promises.log_open(base, first=10, last=14, kept=0.7))

    # Before the window 0.3 of the rate; over it seven in ten of those still open, in five equal parts; behind it the base rate.
    assert told[9] == pytest.approx(math.exp(-0.3 * 9 / 30))
    assert told[14] / told[9] == pytest.approx(0.3)
    assert np.diff(told[9:15]) == pytest.approx(np.full(5, -0.14 * told[9]))
    assert told[20] / told[14] == pytest.approx(math.exp(-6 / 30))


def test_a_window_that_has_passed_is_spent_and_one_that_has_begun_has_its_days_left():
    base = -np.arange(61) / 30

    assert promises.log_open(base, first=-4, last=0, kept=0.9) is base
    begun = np.exp(promises.log_open(base, first=-1, last=2, kept=0.8))
    # Of four days two have passed: 0.2 each; open when they begin 0.6, so 1/3 and then 1/2 of it.
    assert begun[1:3] == pytest.approx([2 / 3, 1 / 3])


def test_rates_of_promises_begin_in_the_middle_and_a_wrong_window_is_refused():
    assert promises.pool_rate([], []) == 0.5
    assert promises.pool_rate([3, 5], [4, 9]) == pytest.approx(9 / 15)
    assert promises.early_rate(0, 0) == 0.3
    with pytest.raises(ValueError, match="does not end before it begins"):
        promises.log_open(np.zeros(3), first=5, last=4, kept=0.5)
