"""The forecast core against values from outside it; at each the row of the trade's table of check values, or the hand calculation."""

import math

import numpy as np
import pytest
from lifelines.datasets import load_leukemia

from tests.utilities.waits import D0, asking, every_day, history
from utilities.leadtimes import CANCELLED, FITTED, OPEN, Fitted, chance_by, fit, forecast, fronts, pace, promises
from utilities.leadtimes.ages import waits_seen
from utilities.leadtimes.candidates import hazard_of
from utilities.leadtimes.classes import CLASSES, LOWER, UPPER, WIDTH, at_age, class_of, rates, spread, summed
from utilities.leadtimes.counts import count
from utilities.leadtimes.curve import count as count_by_day
from utilities.leadtimes.dates import log_open
from utilities.leadtimes.pool import pretended


def six_mp():
    # Source: Freireich et al. (1963), Blood 21, 699-716, as in lifelines.datasets.load_leukemia; a week written as a day.
    patients = load_leukemia().query("Rx == 0")
    filed = D0 - 100
    return history(
        [(0, filed, None, filed + week, FITTED if end else CANCELLED) for week, end in zip(patients.t, patients.status, strict=True)]
    )


# S1, S2: with next to nothing borrowed, nothing forgotten and a class a week the estimate is Kaplan-Meier's.
def test_with_nothing_borrowed_six_mp_remissions_are_those_of_kaplan_meier():
    counts = count_by_day(waits_seen(six_mp(), every_day(1), D0))
    e0, f0 = pretended(np.full(counts.fitted.size, 1 / 40), np.ones(counts.fitted.size))

    hazard = hazard_of(1e-9, f0, e0, counts.fitted, counts.watched)
    hazard[0] = 0
    still = np.exp(-np.cumsum(rates(hazard)))

    assert still[[6, 10, 23]] == pytest.approx([0.8571, 0.7529, 0.4482], abs=5e-5)
    assert np.flatnonzero(still <= 0.5)[0] == 23


# S3.
def test_six_mp_has_nine_fittings_in_359_weeks():
    counts = count(waits_seen(six_mp(), every_day(1), D0), every_day(1), D0)

    assert counts.fitted.sum() == pytest.approx(9, rel=1e-6)
    assert counts.waited.sum() == pytest.approx(359, rel=1e-6)
    assert counts.fitted.sum() / counts.waited.sum() == pytest.approx(0.02507, abs=5e-6)


# S4. Source: 1 - exp(-28/63) = 0.3588.
@pytest.mark.parametrize("waited", [0, 1, 28, 400, 5000])
def test_a_constant_hazard_of_mean_63_days_has_no_memory_in_age_classes(waited):
    rate = rates(np.full((1, CLASSES), -math.expm1(-1 / 63)))
    upto = at_age(rate, summed(rate), np.array([0, 0]), np.array([waited, waited + 28]))

    assert -np.expm1(upto[0] - upto[1]) == pytest.approx(0.3588, abs=5e-5)


# S4, learned: 20,000 exponential waits of mean 63, seed 63. Standard error of each chance below 0.006; the pace is uncertain besides.
@pytest.mark.parametrize("waited", [0, 30, 90])
def test_exponential_waits_are_learned_to_have_no_memory(waited):
    chance = np.random.default_rng(63)
    filed, days = D0 - chance.integers(1, 1500, 20_000), np.ceil(chance.exponential(63, 20_000)).astype(int)
    rows = [
        (0, sent, None, sent + wait, FITTED) if sent + wait <= D0 else (0, sent, None, None, OPEN)
        for sent, wait in zip(filed.tolist(), days.tolist(), strict=True)
    ]

    said = forecast(fit(history(rows), every_day(1), D0), asking(D0 - waited))

    assert chance_by(said, D0 + 28) == pytest.approx([0.3588], abs=0.03)


# By hand: (4/10 + 3)/(4 x 1 + 20) = 3.4/24 = 17/120.
def test_four_borrowed_requests_steady_three_own_fittings_in_twenty_days():
    assert hazard_of(4, np.array(0.1), np.array(1.0), np.array(3.0), np.array(20.0)) == pytest.approx(17 / 120, abs=1e-15)


# By hand: a request of hazard 1/10 waits (S0 - S1)/h days in a class, and over all classes 1/h = 10 days with one fitting.
def test_a_pretended_request_waits_as_long_as_its_hazard_says_and_is_fitted_once():
    e0, f0 = pretended(np.full(CLASSES, 0.1))
    first = 1 - math.exp(-0.1 * 0.25)

    assert (e0[0], f0[0]) == pytest.approx((first / 0.1, first), rel=1e-12)
    young = UPPER < 100  # at old ages a thousandth of the class is kept
    assert e0[young].sum() == pytest.approx(10, abs=0.02)
    assert f0[young].sum() == pytest.approx(1, abs=0.002)
    assert (e0[-3:] == 0.001 * WIDTH[-3:]).all()


# By hand: (4 + 6)/(4 + 12) = 10/16, a fortnight later (9.5 + 0.2)/(15.2 + 0.2) = 9.7/15.4.
def test_six_fitted_where_twelve_were_expected_is_a_pace_of_five_eighths():
    a, b = np.array(4.0 + 6), np.array(4.0 + 12)

    assert a / b == 0.625
    assert pace.forget(a) / pace.forget(b) == pytest.approx(0.629870, abs=5e-7)


# By hand: (1 + 1.6/16)^-10 = (10/11)^10.
def test_an_uncertain_pace_is_averaged_out():
    mean, variance = pace.over(np.array(0.0), np.array(10.0), np.array(16.0))

    still = np.exp(pace.log_open(np.array(1.6), mean, variance))
    assert still == pytest.approx((10 / 11) ** 10, abs=1e-12)
    assert still == pytest.approx(0.385543, abs=5e-7)


# By hand: (4/(4 + 4))^4 = 1/16. With N: the negative binomial of scipy, an independent library.
def test_four_expected_and_none_fitted_has_chance_one_in_sixteen():
    from scipy.stats import nbinom

    def told(number, expected):
        return math.exp(pace.log_chance(np.array(float(number)), np.array(expected), np.array(4.0), np.array(4.0)))

    assert told(0, 4.0) == pytest.approx(1 / 16, abs=1e-15)
    for number in (1, 3, 9):
        assert told(number, 2.5) / math.factorial(number) == pytest.approx(nbinom.pmf(number, 4, 4 / 6.5), rel=1e-12)


# By hand: 93/200 + 0.03 e^-1.5 + 0.04/(1 + 3^-1.5).
@pytest.mark.parametrize("sharpness", fronts.SHARPNESS)
def test_at_the_front_about_half_is_served(sharpness):
    assert fronts.open_share(np.array(1.0), sharpness) == pytest.approx(0.505238, abs=5e-7)


# By hand: lag 10 + 10(1 - 1/2) = 15, between 1.15^19 = 14.23 and 1.15^20 = 16.37; ln(15/14.23)/ln 1.15 = 0.376. (10 is no lag of the grid.)
def test_a_lag_of_ten_at_half_speed_grows_to_fifteen():
    assert fronts.moved_lag(np.array(10.0), np.array(0.5)) == 15
    assert math.log(15 / 1.15**19) / math.log(1.15) == pytest.approx(0.376, abs=5e-4)


def test_a_moved_lag_is_split_by_distance_in_its_logarithm(monkeypatch):
    monkeypatch.setattr(fronts, "LAGS", np.concatenate([[10.0], 1.15 ** np.arange(1, 46.0)]))
    monkeypatch.setattr(fronts, "SPEEDS", np.array([0.5]))
    # The step of the grid is that of its first two lags: keep it 1.15.
    monkeypatch.setattr(fronts, "LAG_STEP", math.log(1.15))

    to = fronts.moves()[0, 0]

    assert to[[19, 20]] == pytest.approx([0.624, 0.376], abs=5e-4)
    assert to.sum() == pytest.approx(1)


# By hand: sum of speed x chance = 2003/2000.
def test_the_mean_speed_is_one_but_for_little():
    assert fronts.SPEED_CHANCES.sum() == pytest.approx(1, abs=1e-15)
    assert (fronts.SPEEDS * fronts.SPEED_CHANCES).sum() == pytest.approx(2003 / 2000, abs=1e-15)


# By hand: e^(ln 0.1 - 1) and e^(ln 0.2 - 2), each half: e/(e + 2) to the first; ln((0.1/e + 0.2/e^2)/2) = -3.444288.
def test_one_fitting_in_ten_days_decides_between_two_hazards(monkeypatch):
    monkeypatch.setattr(fronts, "SPEEDS", np.array([1.0]))
    hazards = np.array([0.1, 0.2])

    chance, score = fronts.learned(np.full((1, 1, 2), 0.5), np.log(hazards)[None], np.array([1.0]), 10 * hazards[None])

    assert chance.ravel() == pytest.approx([math.e / (math.e + 2), 2 / (math.e + 2)], abs=1e-12)
    assert chance[0, 0, 0] == pytest.approx(0.576117, abs=5e-7)
    assert score == pytest.approx([-3.444288], abs=5e-7)


# By hand: G = 1/(1 + x^5): G(2)/G(1) = (1/33)/(1/2) = 2/33.
def test_in_order_alone_two_in_thirty_three_are_open_at_twice_the_lag(monkeypatch):
    monkeypatch.setattr(fronts, "open_share", lambda x, sharpness: 1 / (1 + x**sharpness))
    lag = fronts.LAGS[30]
    monkeypatch.setattr(fronts, "LOWER", np.array([lag]))
    monkeypatch.setattr(fronts, "UPPER", np.array([2 * lag]))

    assert np.exp(-rates(fronts.hazards(5)[0, 30]) * lag) == pytest.approx(2 / 33, rel=1e-12)


# Simulated: 200,000 paths of speed and lag, seed 7a; within 0.001.
@pytest.mark.parametrize(("age", "speed", "lag", "fortnights"), [(36, 3, 24, 3), (10, 1, 22, 6)])
def test_the_front_table_agrees_with_simulated_paths(age, speed, lag, fortnights):
    chance, paths = np.random.default_rng(0x7A), 200_000
    rate = rates(fronts.SPEEDS[:, None, None] * fronts.hazards(10).T)  # (speeds, lags, classes)
    v, place, still = np.full(paths, speed), np.full(paths, lag), np.zeros(paths)
    for stretch in range(fortnights):
        v = np.where(chance.random(paths) < 0.8, v, chance.choice(6, paths, p=fronts.SPEED_CHANCES))
        exact = np.clip(np.log(fronts.moved_lag(fronts.LAGS[place], fronts.SPEEDS[v])) / np.log(1.15), 0, 45)
        place = np.minimum(np.floor(exact).astype(int) + (chance.random(paths) < exact % 1), 45)
        here = rate[v, place]
        days = np.clip(age + 10 * (stretch + 1), LOWER, UPPER) - np.clip(age + 10 * stretch, LOWER, UPPER)
        still += here @ days

    table = fronts.open_table().reshape(len(fronts.FRONTS), 6, 46, fronts.OFFSETS.size, fronts.AGES.size)
    ours = table[1, speed, lag, list(fronts.OFFSETS).index(10 * fortnights), list(fronts.AGES).index(age)]

    assert ours == pytest.approx(np.exp(-still).mean(), abs=0.001)


# By hand: (10 x 0.7 + 3)/(10 + 4) = 10/14. L5: 9 of 60 with prior 2 and 18 (mean 1/10, strength 20) = 11/80.
def test_a_keep_rate_is_drawn_towards_that_of_all():
    assert promises.keep_rate(3, 4, pool=0.7) == pytest.approx(10 / 14)
    assert promises.keep_rate(9, 60, pool=0.1, strength=20) == pytest.approx(0.1375)


# L2: Little (2011), Operations Research 59(3), 536-549: waits 1 to 11, 5 to 25 and 20 to (open) January, seen until 31 January: 41 days.
def test_days_waited_are_the_same_by_request_and_by_day():
    first = D0 - 31
    rows = [(0, first + 1, None, first + 11, FITTED), (0, first + 5, None, first + 25, FITTED), (0, first + 20, None, None, OPEN)]

    counts = count(waits_seen(history(rows), every_day(1), D0), every_day(1), D0)

    by_day = sum(sent < day <= (by or D0) for day in range(first, D0 + 1) for _, sent, _, by, _ in rows)
    assert counts.waited.sum() == pytest.approx(41, rel=1e-6) == by_day


# By hand: ages up to 0.3 lie 0.25 in the first class, 0.025 in the second, 0.025 of the 0.0275 of the third.
def test_days_are_spread_over_the_classes_they_cross():
    number, ages = np.zeros(CLASSES), np.zeros(CLASSES)
    number[2], ages[2] = 1, 0.3

    assert spread(number, ages)[:4] == pytest.approx([0.25, 0.025, 0.025, 0], abs=1e-12)
    assert LOWER[class_of(np.array([60]))] < 60 <= UPPER[class_of(np.array([60]))]
    assert isinstance(fit(history([]), every_day(1), D0), Fitted)


# Simulated: log-normal waits, seed 7, of which the list holds only those open on its day: within 0.03 of the truth.
def test_a_late_list_gives_back_the_law_only_with_its_entry_ages():
    chance = np.random.default_rng(7)
    wait = np.ceil(chance.lognormal(np.log(80), 0.6, 6000)).astype(int)
    filed = D0 - 300 - chance.integers(0, 365, 6000)
    listed = D0 - 300
    kept = filed + wait >= listed
    rows = [(0, sent, listed, sent + days, FITTED) for sent, days in zip(filed[kept].tolist(), wait[kept].tolist(), strict=True)]
    ages = np.array([40, 80, 120, 200])
    truth = np.array([(wait > age).mean() for age in ages])

    def curve(told):
        counts = count(waits_seen(history(told), every_day(1), D0), every_day(1), D0)
        fitted, waited = counts.totals()
        rate = rates(fitted / np.maximum(waited, 1e-9))
        return np.exp(-at_age(rate, summed(rate), np.zeros(4, int), ages))

    assert np.abs(curve(rows) - truth).max() < 0.03
    assert np.abs(curve([(row[0], row[1], None, *row[3:]) for row in rows]) - truth).max() > 0.1


def test_no_request_is_surely_open_or_surely_fitted():
    fitted = fit(six_mp(), every_day(1), D0)

    curve = log_open(fitted, np.array([0]), np.array([3]), np.array([1.0]))

    assert (np.diff(curve) <= 0).all()
    assert -700 < curve[0, -1] < 0
