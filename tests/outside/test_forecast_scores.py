"""Scores by hand: how many days a forecast was off, over its whole range."""

import numpy as np
import pytest

from tests.bench.scoring import score
from tests.bench.worlds import NEVER, World
from tests.utilities.waits import D0, every_day, history
from utilities.leadtimes import FITTED, HORIZON

AHEAD = np.arange(HORIZON + 1)
HALF_ON_10_REST_ON_20 = np.where(AHEAD < 10, 0, np.where(AHEAD < 20, 0.5, 1.0))
SURELY_ON_10 = (AHEAD >= 10).astype(float)


def world(*fitted_in, unknown_in=None):
    """Requests open at D0, fitted so many days later (None: never); censored so many days later where that is given."""
    fitted_on = np.array([NEVER if days is None else D0 + days for days in fitted_in])
    unknown = np.array([NEVER if days is None else D0 + days for days in unknown_in or [None] * len(fitted_in)])
    rows = history([(0, D0 - 5, None, D0 + (days or 900), FITTED) for days in fitted_in])
    return World("by hand", "by hand", rows, fitted_on, unknown, every_day(1), (D0,))


def scored(told, *fitted_in, unknown_in=None):
    return score(world(*fitted_in, unknown_in=unknown_in), D0, np.arange(len(fitted_in)), np.tile(told, (len(fitted_in), 1)))


# By hand: days 10 to 13 cost (1/2)^2 each, days 14 to 19 as much: 4/4 + 6/4 = 5/2.
def test_half_by_day_10_and_the_rest_by_day_20_is_two_and_a_half_days_off_on_day_14():
    assert scored(HALF_ON_10_REST_ON_20, 14).crps == pytest.approx(2.5, abs=1e-12)


# By hand: on days 10, 11, 12 and 13 it was said to be fitted and was not.
def test_certain_of_day_10_is_four_days_off_on_day_14():
    assert scored(SURELY_ON_10, 14).crps == pytest.approx(4, abs=1e-12)


# By hand: open to the end of the 365 days that are scored: 356 days from day 10 on. An open home costs as much as a late one.
def test_a_home_that_stays_open_is_scored_too():
    assert scored(SURELY_ON_10, None).crps == pytest.approx(356, abs=1e-12)


# By hand: 80 in 100 were said by day 20; fitted by then one of two. Beyond nobody is asked.
def test_coverage_counts_those_fitted_by_the_day_said():
    said = scored(HALF_ON_10_REST_ON_20, 14, 30)

    assert said.weight == pytest.approx([2, 2])
    assert said.covered == pytest.approx([1, 1])


# By hand: of four homes one is lost sight of on day 3, so each followed beyond stands for 4/3: three fitted on day 14 cost
# 3 x 4/3 x 4 days = 16, the days up to 3 nothing: four homes at 4 days each.
def test_a_home_lost_sight_of_is_made_up_for_by_those_followed():
    assert scored(SURELY_ON_10, 14, 14, 14, None, unknown_in=[None, None, None, 3]).crps == pytest.approx(16, abs=1e-9)
