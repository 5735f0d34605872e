"""The drift alarm: its ratios by hand, its counts, and its false alarms by simulation."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from tests.utilities.waits import D0, every_day, history, working
from utilities.leadtimes import CANCELLED, FITTED, OPEN, History, fit
from utilities.leadtimes.ages import waits_seen
from utilities.leadtimes.alarm import ALPHA, WEEKS, Watch, clump, found, frozen, log_evidence, log_ratios, weekly
from utilities.leadtimes.classes import CLASSES
from utilities.workdays import day_number

RING = -np.log(ALPHA)


def years(n, *, per_week, kappa, pace, seed):
    """Utility-years whose true pace is known only as well as kappa requests tell: the share that rang, and the week in which each did."""
    rng = np.random.default_rng(seed)
    own = rng.gamma(kappa, 1 / kappa, n)[:, None]
    number = rng.poisson(per_week * own * pace, (n, WEEKS)).astype(float)
    rang = log_evidence(number, np.full((n, WEEKS), float(per_week)), np.full(n, float(kappa))) >= RING
    return rang.any(axis=1).mean(), np.where(rang.any(axis=1), rang.argmax(axis=1) + 1, WEEKS + 1)


@pytest.mark.parametrize(("per_week", "kappa"), [(4, 100), (1, 20), (10, 300)])
def test_at_most_two_in_a_hundred_years_of_an_unchanged_pace_ring(per_week, kappa):
    share, _ = years(2_000, per_week=per_week, kappa=kappa, pace=1, seed=31)
    assert share <= ALPHA  # in this simulation 0 to 0.5 %


def test_a_fall_of_the_pace_to_four_tenths_is_found_where_four_a_week_are_expected_and_seldom_where_one_is():
    share, week = years(1_000, per_week=4, kappa=100, pace=0.4, seed=32)
    assert share > 0.95
    assert np.median(week) <= 13
    small, _ = years(1_000, per_week=1, kappa=20, pace=0.4, seed=33)
    assert small < 0.3


def test_crews_that_fit_a_month_in_a_day_ring_seldom_although_weeks_of_none_follow_each_other():
    rng = np.random.default_rng(34)
    rang = 0
    for _ in range(300):
        # Each fourth or fifth week 16 homes; the year before says so too.
        day = np.cumsum(rng.integers(4, 6, 40))
        number = np.zeros(2 * WEEKS)
        number[day[day < 2 * WEEKS]] = rng.poisson(16, np.count_nonzero(day < 2 * WEEKS))
        expected = np.full(WEEKS, 16 / 4.5)
        at_a_time = clump(number[:WEEKS], expected)
        assert at_a_time > 5
        rang += found(Watch(D0, 100.0, at_a_time, ()), number[WEEKS:], expected).rang
    assert rang / 300 <= ALPHA


def test_the_first_ratio_is_what_is_worked_out_by_hand():
    # 4 expected, none came: NB(0; 4, 4, 4) = (4/8)^4 = 1/16, and (100/104)^100 for a pace known from 100 requests.
    ratios = log_ratios(np.zeros(1), np.array([4.0]), 100.0)
    assert ratios[0, 0] == pytest.approx(np.log(1 / 16) - 100 * np.log(100 / 104))
    assert (ratios[1:] == 0).all()
    assert log_evidence(np.zeros(1), np.array([4.0]), 100.0)[0] == pytest.approx(np.log((np.exp(ratios[0, 0]) + 12) / 13))


def test_a_start_weighs_nothing_before_it_has_begun():
    rng = np.random.default_rng(4)
    number, expected = rng.poisson(3, WEEKS).astype(float), np.full(WEEKS, 3.0)
    ratios = log_ratios(number, expected, 50.0)
    for start in range(13):
        assert (ratios[start, : 4 * start] == 0).all()
        alone = log_ratios(number[4 * start :], expected[4 * start :], 50.0)
        assert np.allclose(ratios[start, 4 * start :], alone[0])


def test_weekly_counts_add_up_to_what_the_rows_tell():
    calendars = working()
    rng = np.random.default_rng(6)
    filed = D0 - rng.integers(1, 500, 200)
    ended = filed + rng.integers(0, 200, 200)
    outcome = rng.choice([FITTED, CANCELLED], 200, p=[0.8, 0.2])
    each = zip(filed.tolist(), ended.tolist(), outcome.tolist(), strict=True)
    rows = [(0, day, None, end, told) if end <= D0 else (0, day, None, None, OPEN) for day, end, told in each]
    since = D0 - 7 * 30
    waits = waits_seen(history(rows), calendars, D0)
    hazard = np.full(CLASSES, 0.01)
    number, expected = weekly(waits, calendars, hazard, utility=0, since=since, weeks=30)

    edges = calendars.count(np.array([0]), since + 7 * np.arange(31))
    for week in range(30):
        days = 0
        came = 0
        for begun, entry, end, fitted in zip(waits.start, waits.entry, waits.end, waits.fitted, strict=True):
            days += max(0, min(begun + end, edges[week + 1]) - max(begun + entry, edges[week]))
            came += bool(fitted and edges[week] < begun + end <= edges[week + 1])
        assert number[week] == came
        assert expected[week] == pytest.approx(0.01 * days)


def world(*, slower_from=None, until=D0):
    """A utility with a steady stream; from a day on nothing is fitted."""
    rng = np.random.default_rng(8)
    filed = np.sort(D0 - rng.integers(1, 1400, 900))
    ended = filed + rng.gamma(6, 10, 900).astype(int) + 1
    rows = []
    for day, end in zip(filed.tolist(), ended.tolist(), strict=True):
        held = slower_from is not None and end >= slower_from
        rows.append((0, day, None, end, FITTED) if end <= until and not held else (0, day, None, None, OPEN))
    return history(rows)


def test_a_utility_that_stops_rings_and_is_told_since_when():
    calendars, freeze, stops = every_day(1), D0 - 7 * 40, D0 - 7 * 20
    for rows, rings in ((world(), False), (world(slower_from=stops), True)):
        watch = frozen(fit(rows, calendars, freeze), waits_seen(rows, calendars, freeze), 0)
        assert Watch.from_json(watch.as_json()) == watch
        counts = weekly(waits_seen(rows, calendars, D0), calendars, np.array(watch.hazard), utility=0, since=freeze, weeks=40)
        told = found(watch, *counts)
        assert told.rang is rings
        if rings:
            assert abs(told.since - stops) <= 4 * 7
            assert told.pace < 0.5


def test_a_few_that_nobody_serves_do_not_ring():
    calendars, freeze = every_day(1), D0 - 7 * 40
    steady = world()
    kept = [
        (0, int(day), None, int(end) if told == FITTED else None, int(told))
        for day, end, told in zip(steady.filed, steady.by, steady.outcome, strict=True)
    ]
    # Twelve homes sent before the freeze lie unserved for the whole year, as long as six usual waits.
    rows = history(kept + [(0, freeze - 10 * number, None, None, OPEN) for number in range(12)])
    watch = frozen(fit(rows, calendars, freeze), waits_seen(rows, calendars, freeze), 0)
    hazard = np.array(watch.hazard)
    told = found(watch, *weekly(waits_seen(rows, calendars, D0), calendars, hazard, utility=0, since=freeze, weeks=40))
    assert not told.rang
    # No request is expected more than -ln 0.1 times, and the class in which that is passed.
    one = waits_seen(history([(0, freeze, None, None, OPEN)]), calendars, D0)
    assert weekly(one, calendars, hazard, utility=0, since=freeze, weeks=40)[1].sum() < -np.log(0.1) + 0.5


def test_after_an_alarm_the_new_pace_is_what_is_expected():
    rows, calendars = world(slower_from=D0 - 7 * 20), every_day(1)
    fitted, waits = fit(rows, calendars, D0), waits_seen(rows, calendars, D0)
    plain, after = frozen(fitted, waits, 0), frozen(fitted, waits, 0, after_alarm=True)
    # The ages that are counted reach further, as the pace is slower.
    assert after.hazard[50] < 0.5 * plain.hazard[50]
    assert after.kappa <= plain.kappa


def test_a_watch_without_a_full_week_says_nothing():
    told = found(Watch(day_number(date(2026, 1, 1)), 20.0, 1.0, ()), np.zeros(0), np.zeros(0))
    assert (told.weeks, told.evidence, told.rang) == (0, 1.0, False)


@pytest.mark.parametrize(("speed", "lowest", "highest"), [(1.0, 0, 2), (0.5, 90, 100)])
def test_through_the_whole_estimator_a_hundred_utilities_ring_when_they_slow_down_and_not_else(speed, lowest, highest):
    rng, freeze, count, per_year = np.random.default_rng(5), D0 - 364, 100, 100
    utility = np.repeat(np.arange(count), 3 * per_year)
    filed = D0 - rng.integers(1, 3 * 365, utility.size)
    usual, spread = np.exp(rng.normal(np.log(50), 0.5, count)), rng.uniform(0.3, 0.7, count)
    ended = filed + np.maximum(usual[utility] * np.exp(rng.normal(0, 1, utility.size) * spread[utility]), 1).astype(int)
    # From the freeze on each utility's own clock goes at this speed.
    ended = np.where(ended > freeze, freeze + np.ceil((ended - freeze) / speed).astype(int), ended)
    done = ended <= D0
    rows = History.from_columns(utility=utility, filed=filed, outcome=np.where(done, FITTED, OPEN), by=np.where(done, ended, -1))
    calendars = every_day(count)
    fitted, then, now = fit(rows, calendars, freeze), waits_seen(rows, calendars, freeze), waits_seen(rows, calendars, D0)

    rang = 0
    for place in range(count):
        watch = frozen(fitted, then.rows(then.utility == place), place)
        counts = weekly(now.rows(now.utility == place), calendars, np.array(watch.hazard), utility=place, since=freeze, weeks=WEEKS)
        rang += found(watch, *counts).rang

    assert lowest <= rang <= highest  # of 300 such utilities 0.3 % rang at the same pace, all at half of it
