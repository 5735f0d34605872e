"""Hours ahead against the exact negative binomial and against a queue worked out by hand. No database."""

from __future__ import annotations

import pytest
from scipy import stats

from jobs.appointments.hoursahead import COURSES, ahead


def sd(chance: float) -> float:
    """Of a share of so many courses."""
    return float((chance * (1 - chance) / COURSES) ** 0.5)


@pytest.mark.parametrize(("mean", "variance", "places"), [(12.0, 30.0, 15), (3.0, 3.0, 4), (40.0, 40.0, 38)])
def test_the_chance_that_one_week_falls_short_is_that_of_the_exact_law(mean, variance, places):
    # Negative binomial with this mean and variance; Poisson where they are the same (scipy.stats).
    law = stats.nbinom(mean**2 / (variance - mean), mean / variance) if variance > mean else stats.poisson(mean)
    exact = float(law.sf(places))

    [week] = ahead([mean], variance=[variance], places=[places], waiting=0).weeks

    assert week.short == pytest.approx(exact, abs=4 * sd(exact))
    assert week.expected == pytest.approx(mean, abs=4 * (variance / COURSES) ** 0.5)
    assert week.low == pytest.approx(law.ppf(0.1), abs=1)
    assert week.high == pytest.approx(law.ppf(0.9), abs=1)


def test_what_no_place_was_left_for_waits_and_places_that_nobody_wanted_are_gone():
    # Nothing is uncertain: 7 wait now, none comes; places 3, 3, 0, 9: left over 4, 1, 1, 0.
    told = ahead([0, 0, 0, 0], variance=[0, 0, 0, 0], places=[3, 3, 0, 9], waiting=7)

    assert [week.left for week in told.weeks] == [4, 1, 1, 0]
    assert [week.short for week in told.weeks] == [1, 1, 1, 0]
    assert told.first_short == 0


def test_homes_come_to_their_call_some_weeks_after_the_collar():
    told = ahead([8, 0, 0], variance=[8, 0, 0], places=[9, 9, 9], waiting=2, lag=1)

    assert [round(week.expected) for week in told.weeks] == [2, 8, 0]


def test_calls_that_are_held_again_count():
    # Each call leads to another one with chance 1/5, so a home has 1.25 in the mean: 10 homes, 12.5 calls, variance 10 x 0.2 / 0.64.
    [week] = ahead([0], variance=[0], places=[20], waiting=10, calls_a_home=1.25).weeks

    assert week.expected == pytest.approx(12.5, abs=4 * (3.125 / COURSES) ** 0.5)


def test_a_pace_that_all_weeks_share_falls_short_more_often_than_weeks_that_differ_by_chance_alone():
    shared = ahead([10] * 6, variance=[40] * 6, places=[12] * 6, waiting=0).weeks[-1].left
    alone = ahead([10] * 6, variance=[10] * 6, places=[12] * 6, waiting=0).weeks[-1].left

    assert shared > 3 * alone


def test_without_enough_weeks_to_fall_short_none_is_named():
    told = ahead([1] * 3, variance=[1] * 3, places=[20] * 3, waiting=0)

    assert told.first_short is None
    assert told.ever_short < 0.001


def test_a_home_of_which_something_is_missing_wants_its_call_in_the_second_week():
    told = ahead([0, 0, 0], variance=[0, 0, 0], places=[3, 3, 3], waiting=2, not_ready=5)
    assert [(week.expected, week.short, week.left) for week in told.weeks] == [(2, 0, 0), (5, 1, 2), (0, 0, 0)]


@pytest.mark.parametrize(
    "wrong",
    [{"variance": [1]}, {"places": [-1, 1]}, {"waiting": -1}, {"not_ready": -1}, {"calls_a_home": 0.5}, {"lag": -1}, {"mean": [-1, 1]}],
)
def test_what_makes_no_sense_is_refused(wrong):
    asked = {"mean": [1, 1], "variance": [1, 1], "places": [1, 1], "waiting": 0} | wrong

    with pytest.raises(ValueError, match=r"wanted|or more"):
        ahead(asked.pop("mean"), **asked)
