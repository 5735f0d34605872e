"""Parts of the method left out in turn: each changes something, and only what it is there for."""

from dataclasses import fields, replace

import numpy as np
import pytest

from tests.utilities.test_forecast_parts import in_order
from tests.utilities.waits import D0, every_day
from utilities.leadtimes import FITTED, NO_DAY, OPEN, History, OpenRequests, Parts, fit, forecast, fronts, open_rows
from utilities.leadtimes.candidates import CANDIDATES

NAMES = [field.name for field in fields(Parts)]


def made(seed=7):
    """Three utilities of unlike size and scale, one slow district, fittings on each seventh day, a slower pace of late."""
    chance = np.random.default_rng(seed)
    utility = np.repeat([0, 1, 2], [300, 80, 3])
    filed = D0 - chance.integers(1, 700, utility.size)
    district = np.where(utility == 0, chance.integers(0, 2, utility.size), -1)
    usual = np.array([40, 110, 60])[utility] * np.where(district == 1, 1.6, 1) * np.where(filed > D0 - 150, 1.5, 1)
    by = filed + np.ceil(chance.lognormal(np.log(usual), 0.5) / 7).astype(int) * 7
    done = by <= D0
    return History.from_columns(
        utility=utility, filed=filed, district=district, outcome=np.where(done, FITTED, OPEN), by=np.where(done, by, NO_DAY)
    )


HISTORY = made()
ASKED = OpenRequests.of(HISTORY, open_rows(HISTORY, D0))
WHOLE = fit(HISTORY, every_day(3), D0)


@pytest.mark.parametrize("name", [name for name in NAMES if name != "fronts"])
def test_each_part_left_out_changes_the_dates_and_nothing_breaks(name):
    without = forecast(fit(HISTORY, every_day(3), D0, parts=replace(Parts(), **{name: False})), ASKED)

    assert np.isfinite(without.p_never).all()
    assert (without.q_at(50) > D0).all()
    # Some move dates by less than a day here; the chances they do move.
    assert without.p_never.tolist() != forecast(WHOLE, ASKED).p_never.tolist()


def test_without_fronts_a_utility_that_serves_in_order_is_forecast_otherwise():
    filed, by = in_order(1)
    history = History.from_columns(
        utility=np.zeros(filed.size, int), filed=filed, outcome=np.where(by <= D0, FITTED, OPEN), by=np.where(by <= D0, by, NO_DAY)
    )
    asked = OpenRequests.of(history, open_rows(history, D0))
    whole, without = (
        forecast(fit(history, every_day(1), D0, parts=parts), asked).q_at(50) for parts in (Parts(), replace(Parts(), fronts=False))
    )
    assert (whole != without).any()


def left_out(name):
    return fit(HISTORY, every_day(3), D0, parts=replace(Parts(), **{name: False}))


def test_what_is_left_out_is_not_there():
    assert left_out("fronts").weight[len(CANDIDATES) :].max() == 0
    assert len(fronts.FRONTS) == len(WHOLE.weight) - len(CANDIDATES)
    assert left_out("district").districts.of(ASKED.utility, ASKED.district).tolist() == [1.0] * len(ASKED)
    assert (left_out("own_scale").pool.scale == WHOLE.pool.centre).all()
    assert left_out("pace").learned.a / left_out("pace").learned.b == pytest.approx(1)
    short = [place for place, candidate in enumerate(CANDIDATES) if candidate.half_life < 1500]
    assert left_out("memories").among[short].max() == 0
    # Without what is still open everybody seems to be served soon.
    assert left_out("open_requests").pool.centre < WHOLE.pool.centre
