"""The wait curve of a utility: by hand, and against an independent library."""

import json
from dataclasses import replace

import numpy as np
import pytest
from lifelines import KaplanMeierFitter

from utilities.leadtimes import CANCELLED, FITTED, NO_DAY, OPEN
from utilities.waitcurve import WaitCurve, wait_curve

AS_OF = 20_000


def curve_of(rows, as_of=AS_OF):
    """Rows (filed, ended, outcome[, known_from[, after]]), days before the as-of day; None for no day."""
    whole = [(*row, None, None)[:5] for row in rows]
    column = lambda place: np.array([NO_DAY if row[place] is None else as_of - row[place] for row in whole], np.int32)  # noqa: E731
    return wait_curve(
        filed=column(0),
        ended=column(1),
        outcome=np.array([row[2] for row in whole], np.int32),
        known_from=column(3),
        after=column(4),
        as_of=as_of,
    )


def four_rows():
    # Sent 100 days ago; the third is watched from the end of day 1 on.
    #   day            2     3     5
    #   watched        4     3     1
    #   fitted         1     1     1
    return [(100, 98, FITTED), (100, 97, CANCELLED), (100, 97, FITTED, 98), (100, 95, FITTED)]


def test_four_requests_give_the_steps_worked_out_by_hand():
    # Open: 3/4, then 3/4 x 2/3 = 1/2, then 0.
    curve = curve_of(four_rows())

    assert curve.days == (2, 3, 5)
    assert curve.share == (0.25, 0.5, 1.0)
    assert (curve.fitted, curve.waiting, curve.withdrawn, curve.last) == (3, 0, 1, 5)
    assert curve.reached == (2, 2, 3, 5, 5)  # one in ten, a quarter, half, three quarters, nine in ten


def test_the_band_of_the_first_step_is_greenwoods_on_the_log_log_scale():
    # One of four: sum d/(n(n-d)) = 1/12, its root 0.288675; -ln(3/4) = 0.287682; spread = 1.644854 x 0.288675 / 0.287682 = 1.650531.
    # Fitted: 1 - 0.75^exp(-1.650531) = 1 - 0.75^0.191948 = 0.0537 and 1 - 0.75^5.209746 = 0.7766.
    curve = curve_of(four_rows())

    assert curve.low[0] == pytest.approx(0.0537, abs=1e-4)
    assert curve.high[0] == pytest.approx(0.7766, abs=1e-4)


def test_steps_and_band_are_those_of_lifelines_with_entry_ages():
    random = np.random.default_rng(11)
    filed = AS_OF - random.integers(50, 900, 400)
    waited = np.minimum(np.ceil(random.lognormal(4.6, 0.7, 400)), AS_OF - filed).astype(int)
    ended = filed + waited
    outcome = np.where(ended == AS_OF, OPEN, np.where(random.random(400) < 0.1, CANCELLED, FITTED))
    late = random.random(400) < 0.3
    known_from = np.where(late, filed + 1 + (random.random(400) * 60).astype(int), NO_DAY)
    seen = (outcome == OPEN) | ~late | (known_from <= ended)

    curve = wait_curve(
        filed=filed,
        known_from=known_from,
        ended=np.where(outcome == OPEN, NO_DAY, ended),
        outcome=outcome,
        after=np.full(400, NO_DAY),
        as_of=AS_OF,
    )

    seen &= known_from <= AS_OF
    entry = np.where(late, known_from - 1 - filed, 0)[seen]
    done = (outcome == FITTED)[seen]
    end = waited[seen]
    entry = np.minimum(entry, end - done)
    # lifelines watches a row on the days after its entry; one that enters and leaves at once was never watched.
    watched = entry < end
    whole = KaplanMeierFitter(alpha=0.1).fit(end[watched], done[watched], entry=entry[watched])
    open_still = whole.survival_function_["KM_estimate"]
    bounds = whole.confidence_interval_
    for place, day in enumerate(curve.days):
        assert curve.share[place] == pytest.approx(1 - open_still[day], abs=6e-5)
        if curve.share[place] < 1:
            assert curve.low[place] == pytest.approx(1 - bounds["KM_estimate_upper_0.9"][day], abs=6e-5)
            assert curve.high[place] == pytest.approx(1 - bounds["KM_estimate_lower_0.9"][day], abs=6e-5)
    assert len(curve.days) > 50
    assert curve.fitted == done.sum()


def test_the_last_sixty_days_are_read_from_what_was_watched_in_them():
    # Before: ten fitted after 10 days, a year ago. Lately: one of two requests fitted on its 90th day, 30 days ago; the other waits.
    old = [(400, 390, FITTED)] * 10
    curve = curve_of([*old, (120, 30, FITTED), (120, None, OPEN)])

    assert curve.reached[2] == 10
    # Both enter at the age of 60; at 90 one of two is fitted.
    assert curve.reached_lately == (90, 90, 90, None, None)
    assert curve.fitted_lately == 1


def test_a_bracket_is_shared_out_over_its_days_and_counted():
    curve = curve_of([(100, 90, FITTED, None, 94), (100, None, OPEN)])

    assert curve.bracketed == 1
    assert curve.days == (7, 8, 9, 10)
    assert curve.share[-1] == pytest.approx(0.5)


def test_before_the_first_whole_fitting_the_band_is_no_wider_than_at_it():
    # A bracket of fifty days gives each of them a fiftieth of a fitting, of which Greenwood's variance makes a band from 0 to 1.
    curve = curve_of([(100, 20, FITTED, None, 70), *[(100, 15, FITTED)] * 4, *[(90, None, OPEN)] * 15])

    whole = curve.days.index(80)
    assert curve.share[0] < 0.01
    assert set(curve.low[:whole]) == {0}
    assert set(curve.high[:whole]) == {curve.high[whole]}
    assert curve.high[whole] < 0.3


def test_the_curve_stops_where_the_data_stop_and_says_nothing_beyond():
    curve = curve_of([(50, 40, FITTED), (30, None, OPEN), (30, None, OPEN)])

    assert curve.last == 30
    assert curve.share == (pytest.approx(1 / 3, abs=1e-4),)
    assert curve.reached == (10, 10, None, None, None)
    assert curve.day_of(50) is None


def test_outcomes_after_the_day_change_nothing():
    before = curve_of([(50, None, OPEN), (70, 10, FITTED)])

    after = curve_of([(50, -3, FITTED), (70, 10, FITTED)])

    assert after == before


def test_nothing_gives_a_curve_without_steps():
    curve = curve_of([])

    assert (curve.days, curve.last, curve.fitted, curve.waiting) == ((), 0, 0, 0)
    assert curve.reached == (None,) * 5


def test_what_was_fitted_to_the_last_one_keeps_the_lower_bound_before_it():
    curve = curve_of([(30, 20, FITTED), (30, 15, FITTED)])

    assert curve.share == (0.5, 1.0)
    assert curve.low[1] == curve.low[0]
    assert curve.high[1] == 1


def test_a_kept_curve_reads_back_the_same():
    curve = curve_of(four_rows())

    kept = json.loads(json.dumps(curve.as_json()))

    assert WaitCurve.from_json(kept) == curve
    assert WaitCurve.from_json(kept) != replace(curve, last=6)
