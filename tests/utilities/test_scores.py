"""What forecasts were worth: by hand, by law, and against the curves they were kept from."""

from __future__ import annotations

import numpy as np
import pytest

from tests.utilities.waits import D0, FOUR_DAYS, history, ten_rows, working
from utilities.leadtimes import BEYOND, HORIZON, NO_DAY, Calendars, History, OpenRequests, Quantiles, chance_by, fit, forecast, scores
from utilities.leadtimes.history import CANCELLED, FITTED, OPEN
from utilities.leadtimes.scores import NEVER, Judged, Said, Totals, Truth, judge, lasting, spread
from utilities.workdays import FEDERAL

EVERY_DAY = Calendars.of([np.ones(HORIZON + 30, dtype=bool)], D0 - 1)


def truth(fitted=NEVER, *, after=None, cancelled=NEVER):
    days = np.atleast_1d(np.array(fitted, dtype=np.int32))
    before = days - 1 if after is None else np.atleast_1d(np.array(after, dtype=np.int32))
    return Truth(after=before, fitted=days, cancelled=np.broadcast_to(np.array(cancelled, dtype=np.int32), days.shape))


def steps(*chances: tuple[int, float], horizon: int = 40) -> Said:
    """F as it jumps: (day, F from then on)."""
    told = np.zeros((1, horizon + 1))
    for day, chance in chances:
        told[0, day:] = chance
    levels = [next((day for day, chance in chances if chance >= level / 100), NEVER) for level in scores.LEVELS]
    return Said(chances=told, days=np.array([levels]))


def weights(became: Truth, horizon: int) -> np.ndarray:
    return scores.weights(became, lasting(became, horizon))


def judged(said: Said, became: Truth) -> Judged:
    return judge(said, became, weights(became, said.chances.shape[1] - 1))


def all_of(said: Said, became: Truth) -> Totals:
    return judged(said, became).total(np.arange(len(became)))


def kept(days: np.ndarray, p_never: np.ndarray) -> Quantiles:
    """days: (n, 99) days ahead."""
    packed = [np.minimum(row, BEYOND).astype("<u2").tobytes() for row in days]
    return Quantiles.kept(packed, D0, EVERY_DAY, np.zeros(len(days), dtype=np.int32), p_never)


def test_half_on_one_day_and_all_on_another_costs_two_and_a_half_days():
    # FORECASTING.md section 16: 4 days x 1/4 + 6 days x 1/4.
    assert all_of(steps((10, 0.5), (20, 1.0)), truth(14)).mean_crps == pytest.approx(2.5)


def test_certain_of_the_wrong_day_costs_the_days_between():
    # FORECASTING.md section 16.
    told = all_of(Said.certain(np.array([10]), 40), truth(14))

    assert told.mean_crps == pytest.approx(4)
    assert told.median_error == pytest.approx(4)
    # Four days late: p x 4 at each level.
    assert told.mean_pinball.tolist() == pytest.approx([0.4, 2.0, 3.2, 3.6])


def test_a_fitting_before_the_day_costs_the_rest_of_the_level():
    # Six days early: (1 - p) x 6.
    assert all_of(Said.certain(np.array([20]), 40), truth(14)).mean_pinball.tolist() == pytest.approx([5.4, 3.0, 1.2, 0.6])


def test_an_open_home_counts_up_to_the_day_to_which_it_was_followed():
    told = all_of(Said.certain(np.array([10]), 40), truth())

    assert told.mean_crps == pytest.approx(31)  # days 10 to 40
    assert told.median_error == pytest.approx(30)  # 40 at most, less 10
    assert (told.passed.tolist(), told.coverage.tolist()) == ([1, 1, 1], [0, 0, 0])


def test_a_day_that_has_not_come_is_not_judged_whatever_happened():
    told = all_of(steps((10, 0.5), (20, 0.8)), truth(3))

    assert told.passed.tolist() == [1, 1, 0]  # nine in ten was named for no day
    assert told.coverage[:2].tolist() == [1, 1]
    assert told.stated_there[:2].tolist() == [0.5, 0.8]
    assert np.isnan(told.coverage[2])


def test_over_a_bracket_the_fitting_is_spread_evenly():
    # In (10, 14]: a quarter on each of four days; certain of day 12: 1/4 on day 11, 1/2 and 1/4 of an error on days 12 and 13.
    assert all_of(Said.certain(np.array([12]), 40), truth(14, after=10)).mean_crps == pytest.approx(0.25 + 0.5 + 0.25)
    exact = all_of(Said.certain(np.array([12]), 40), truth(14, after=13))
    assert exact.as_json() == all_of(Said.certain(np.array([12]), 40), truth(14)).as_json()


def test_the_pit_interval_is_spread_over_the_bars():
    assert spread(np.array([0.05]), np.array([0.25]))[0].tolist() == pytest.approx([0.25, 0.5, 0.25, 0, 0, 0, 0, 0, 0, 0])
    assert spread(np.array([0.5]), np.array([1.0]))[0].tolist() == pytest.approx([0] * 5 + [0.2] * 5)
    assert spread(np.array([0.0, 0.3]), np.array([0.0, 0.3])).argmax(axis=1).tolist() == [0, 2]  # no chance was left for its day

    # Fitted on day 14, F goes from 0.5 to 0.5 there: the bar that ends with it. Open at 40: above F(40).
    assert all_of(steps((10, 0.5), (20, 0.8)), truth(14)).bars.tolist() == pytest.approx([0, 0, 0, 0, 1, 0, 0, 0, 0, 0])
    assert all_of(steps((10, 0.5), (20, 0.8)), truth()).bars.tolist() == pytest.approx([0] * 8 + [0.5, 0.5])


def test_a_cancelled_home_is_weighted_out_and_the_others_stand_for_it():
    # Four homes, one cancelled on day 10: G = 3/4 from then on; the one fitted on day 10 comes before it, the one of day 5 too.
    became = truth([5, 10, NEVER, NEVER], cancelled=[NEVER, NEVER, 10, NEVER])

    told = weights(became, 40)

    assert told[:, 9].tolist() == [1, 1, 1, 1]
    assert told[:, 10].tolist() == pytest.approx([1, 1, 0, 2])  # two were left when one of them was cancelled
    assert told[:, 40].tolist() == pytest.approx([1, 1, 0, 2])


def test_weights_of_each_day_add_up_to_the_homes():
    random = np.random.default_rng(5)
    became = truth(random.integers(1, 90, 300), cancelled=random.integers(1, 90, 300))
    became = Truth(after=became.after, fitted=became.fitted, cancelled=np.where(became.cancelled < became.fitted, became.cancelled, NEVER))
    fitted = np.where(became.cancelled != NEVER, NEVER, became.fitted)
    became = Truth(after=fitted - 1, fitted=fitted, cancelled=became.cancelled)

    assert weights(became, 40).sum(axis=0) == pytest.approx(np.full(41, 300))


def simulated(homes: int) -> tuple[Said, np.ndarray]:
    """Homes whose waits follow the forecasts exactly: exponential with a mean of its own each, in whole days."""
    random = np.random.default_rng(11)
    mean = random.uniform(10, 80, homes)
    days = np.ceil(random.exponential(mean)).astype(np.int32)
    q = np.ceil(-np.log1p(-np.arange(1, 100) / 100) * mean[:, None] - 1e-9)
    p_never = np.exp(-HORIZON / mean)
    return Said.of(kept(np.where(q > HORIZON, BEYOND, q), p_never), 120), days


def test_a_forecaster_who_is_right_is_found_to_be_right():
    said, days = simulated(4_000)

    told = all_of(said, truth(days))

    # Three standard errors: 3 x sqrt(0.25 / 4000) and less.
    assert np.abs(told.coverage - told.stated_there).max() < 0.024
    assert told.stated_there[0] == pytest.approx(0.5, abs=0.02)
    assert np.abs(told.bars - 0.1).max() < 3 * np.sqrt(0.09 / 4_000)
    assert told.passed[0] > told.passed[2]


def test_one_who_is_too_sure_or_too_early_is_found_out():
    said, days = simulated(4_000)

    early = all_of(said, truth(2 * days))
    sure = all_of(Said.certain(np.full(4_000, 30), 120), truth(days))

    assert early.coverage[1] < 0.65
    assert early.bars[-1] > 0.2 > 0.07 > early.bars[0]
    assert sure.bars[0] + sure.bars[-1] > 0.95
    assert all_of(said, truth(days)).skill(sure) > 0.2


def test_with_homes_cancelled_at_random_the_figures_stay_what_they_were():
    said, days = simulated(4_000)
    random = np.random.default_rng(12)
    gone = np.ceil(random.exponential(100, 4_000)).astype(np.int32)
    lost = gone < days
    became = truth(np.where(lost, NEVER, days), cancelled=np.where(lost, gone, NEVER))

    whole, weighted = all_of(said, truth(days)), all_of(said, became)

    assert np.count_nonzero(lost) > 1_000
    assert weighted.mean_crps == pytest.approx(whole.mean_crps, rel=0.05)
    assert weighted.coverage == pytest.approx(whole.coverage, abs=0.03)
    # Leaving them out without weights keeps the short waits.
    naive = judge(said, became, (weights(became, 120) > 0).astype(float)).total(np.arange(4_000))
    assert naive.coverage[2] > whole.coverage[2] + 0.01


def test_ninety_nine_days_tell_nearly_what_the_whole_curve_tells():
    # Weibull waits of shape 2 with means of about 13 to 266 days, the curve in whole days: nowhere a tenth of a day off.
    scale = np.geomspace(15, 300, 12)
    curve = -np.expm1(-((np.arange(HORIZON + 1) / scale[:, None]) ** 2))
    q = (curve[:, :, None] < np.arange(1, 100) / 100 - 1e-9).sum(axis=1)
    said = Said.of(kept(np.where(q > HORIZON, BEYOND, q), 1 - curve[:, -1]), 365)
    days = np.maximum(scale * 0.9, 1).astype(np.int32)

    ours = judged(said, truth(days)).crps
    whole = judged(Said(chances=curve[:, :366], days=said.days), truth(days)).crps

    assert ours == pytest.approx(whole, abs=0.1)


def test_many_days_at_once_are_what_chance_by_says_of_each():
    calendars = working(FEDERAL, FOUR_DAYS)
    told = forecast(fit(history(ten_rows()), calendars, D0), OpenRequests.from_columns(utility=[0, 1, 1], filed=[D0, D0 - 9, D0 - 300]))

    at_once = scores.chances(told, 200)

    for ahead in range(0, 201, 7):
        assert at_once[:, ahead] == pytest.approx(chance_by(told, D0 + ahead), abs=1e-12)


def test_kept_days_that_fall_together_or_are_blank_are_read_as_chance_by_reads_them():
    together = [3] * 40 + [9] * 40 + [BEYOND] * 19
    told = kept(np.array([together, [BEYOND] * 99]), np.array([0.1, 0.9]))

    at_once = scores.chances(told, 300)

    for ahead in (*range(12), 100, 300):
        assert at_once[:, ahead] == pytest.approx(chance_by(told, D0 + ahead), abs=1e-12)


def test_a_slow_second_reckoning_comes_to_the_same():
    random = np.random.default_rng(3)
    homes, horizon = 25, 60
    mean = random.uniform(5, 60, homes)
    q = np.maximum(np.ceil(-np.log1p(-np.arange(1, 100) / 100) * mean[:, None]), 1)
    said = Said.of(kept(np.where(q > HORIZON, BEYOND, q), np.exp(-HORIZON / mean)), horizon)
    fitted, gone = np.ceil(random.exponential(40, homes)).astype(int), np.ceil(random.exponential(80, homes)).astype(int)
    became = truth(np.where(gone < fitted, NEVER, fitted), cancelled=np.where(gone < fitted, gone, NEVER))

    told = judged(said, became)

    for home in range(homes):
        chance, end, cancelled = said.chances[home], int(became.fitted[home]), int(became.cancelled[home])
        weight = [0.0 if day >= cancelled else 1 / _left(became, min(day, end - 1)) for day in range(horizon + 1)]
        assert told.crps[home] == pytest.approx(sum(weight[day] * (chance[day] - (end <= day)) ** 2 for day in range(1, horizon + 1)))
        for place, level in enumerate(scores.LEVELS):
            seen, named = min(end, horizon), min(int(said.days[home, place]), horizon)
            loss = level / 100 * (seen - named) if seen >= named else (1 - level / 100) * (named - seen)
            assert told.pinball[home, place] == pytest.approx(weight[horizon] * loss)
        for place, share in enumerate(scores.SHARES):
            named = int(said.days[home, scores.LEVELS.index(share)])
            standing = weight[named] if named <= horizon else 0.0
            assert told.standing[home, place] == pytest.approx(standing)
            assert told.covered[home, place] == pytest.approx(standing * (end <= named))
        low, high = (chance[end - 1], chance[end]) if end <= horizon else (chance[horizon], 1.0)
        for bar in range(scores.BARS):
            inside = max(0.0, min(high, (bar + 1) / 10) - max(low, bar / 10)) / (high - low)
            assert told.pit[home, bar] == pytest.approx(weight[horizon] * inside, abs=1e-9)


def _left(became: Truth, day: int) -> float:
    """G as a product over days; those fitted on a day are not at risk of being cancelled on it."""
    left = 1.0
    for each in range(1, day + 1):
        at_risk = np.count_nonzero((became.fitted > each) & (became.cancelled >= each))
        if at_risk:
            left *= 1 - np.count_nonzero(became.cancelled == each) / at_risk
    return max(left, scores.LEAST_LEFT)


def test_what_became_of_a_row_is_what_was_known_by_the_day_asked():
    told = History.from_columns(
        utility=[0] * 5,
        filed=[100] * 5,
        outcome=[FITTED, FITTED, CANCELLED, OPEN, FITTED],
        by=[210, 260, 230, NO_DAY, 220],
        after=[NO_DAY, NO_DAY, NO_DAY, NO_DAY, 190],
    )

    became = Truth.of(told, np.arange(5), as_of=200, known_to=250)

    assert became.fitted.tolist() == [10, NEVER, NEVER, NEVER, 20]
    assert became.after.tolist() == [9, NEVER - 1, NEVER - 1, NEVER - 1, 0]  # its bracket opened before the as-of day
    assert became.cancelled.tolist() == [NEVER, NEVER, 30, NEVER, NEVER]


def test_the_spreadsheet_adds_the_mean_of_completed_waits_and_says_tomorrow_when_it_has_passed():
    told = History.from_columns(
        utility=[0, 0, 0, 0, 1, 2],
        filed=[100, 100, 100, 195, 170, 190],
        outcome=[FITTED, FITTED, FITTED, OPEN, OPEN, FITTED],
        by=[140, 160, 205, NO_DAY, NO_DAY, 200],
    )

    # Utility 0: (40 + 60) / 2 = 50, the third is not known on day 200; utility 1 has none: (40 + 60 + 10) / 3 = 36.67, so day 207.
    assert scores.spreadsheet(told, np.array([2, 3, 4]), 200).tolist() == [1, 45, 7]


def test_sums_are_kept_and_added_up():
    said, days = simulated(60)
    each = judged(said, truth(days))
    first, second = each.total(np.arange(30)), each.total(np.arange(30, 60))

    both = Totals.from_json((first + second + Totals.nothing()).as_json())

    assert both.n == 60
    assert both.mean_crps == pytest.approx(each.total(np.arange(60)).mean_crps, rel=1e-7)
    assert np.isnan(Totals.nothing().mean_crps)
