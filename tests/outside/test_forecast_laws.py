"""Laws with a stated bound, for any news: what one utility hears hardly moves another, and its own pace moves its dates."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.utilities.waits import D0, every_day, history
from utilities.leadtimes import CANCELLED, FITTED, OPEN, fit
from utilities.leadtimes.dates import log_open

AGES = np.array([0, 30, 60])  # which many of its own have reached; beyond all of its own nothing is left but what others tell


def long_history(seed, n=300, mean=60):
    """Exponential waits at utility 0; seed drawn."""
    chance = np.random.default_rng(seed)
    filed, wait = D0 - chance.integers(1, 700, n), np.ceil(chance.exponential(mean, n)).astype(int)
    return [
        (0, sent, None, *((sent + days, FITTED) if sent + days <= D0 else (None, OPEN)))
        for sent, days in zip(filed.tolist(), wait.tolist(), strict=True)
    ]


def chances(rows):
    """Of requests of AGES at utility 0 to be fitted within each number of days ahead: the whole curves, before they are cut into dates."""
    return -np.expm1(log_open(fit(history(rows), every_day(2), D0), np.zeros(AGES.size, int), AGES, np.ones(AGES.size)))


# Bound: 0.1 for one open request elsewhere, whenever filed, in the hardest case: of the pool of two utilities it is half (the most that
# some hundred drawn ones did is 0.065). 300 requests of its own are the long history.
@settings(max_examples=10, deadline=None)
@given(st.integers(0, 10**6), st.integers(0, 1500), st.integers(0, 40))
def test_an_open_request_never_moves_another_utility_with_a_long_history_by_more_than_ten_in_a_hundred(seed, waited, others):
    rows = long_history(seed) + [(1, D0 - 200, None, D0 - 200 + 3 * day + 1, FITTED) for day in range(others)]

    moved = chances([*rows, (1, D0 - waited, None, None, OPEN)]) - chances(rows)

    assert np.abs(moved).max() <= 0.1


# Bound: none. A wait that was cancelled on the day it was filed was never watched.
@settings(max_examples=10, deadline=None)
@given(st.integers(0, 10**6), st.integers(0, 600), st.sampled_from([0, 1]))
def test_a_request_cancelled_on_the_day_it_was_filed_changes_nothing(seed, ago, utility):
    rows = long_history(seed)

    moved = chances([*rows, (utility, D0 - ago, None, D0 - ago, CANCELLED)]) - chances(rows)

    assert np.abs(moved).max() <= 1e-9
