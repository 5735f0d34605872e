import numpy as np
import pytest

from tests.utilities.waits import D0, FOUR_DAYS, history, ten_rows, working
from utilities.leadtimes import (
    BEYOND,
    OpenRequests,
    Quantiles,
    chance_by,
    chance_within,
    fit,
    forecast,
    pack,
    unpack,
)
from utilities.workdays import FEDERAL


def test_chances_run_straight_between_quantiles_in_working_days():
    # q01 ... q50 after 10 working days, q51 ... q98 after 20, q99 beyond the horizon of 520; never 1 in 100 and a half.
    quantiles = np.array([[10] * 50 + [20] * 48 + [BEYOND]], dtype=np.int32)

    def chance(workdays):
        return chance_within(quantiles, np.array([0.015]), np.array([520], np.int32), np.array([workdays], np.int32))[0]

    assert [chance(days) for days in (0, 8, 9)] == [0, 0, 0]
    assert chance(10) == pytest.approx(0.50)
    assert chance(15) == pytest.approx(0.505)  # half of the way from 0.50 to 0.51
    assert chance(20) == pytest.approx(0.98)
    assert chance(270) == pytest.approx(0.9825)  # half of the way from 0.98 to 0.985
    assert chance(520) == chance(900) == 0.985


def test_a_date_on_the_horizon_itself_gives_way_to_the_chance_of_never():
    quantiles = np.array([[10] * 98 + [520]], dtype=np.int32)

    assert chance_within(quantiles, np.array([0.005]), np.array([520], np.int32), np.array([520], np.int32)) == [0.995]


def test_a_request_without_any_date_has_a_straight_line_to_the_horizon():
    none = np.full((1, 99), BEYOND, dtype=np.int32)

    assert chance_within(none, np.array([0.992]), np.array([800], np.int32), np.array([200], np.int32)) == pytest.approx([0.002])


def test_a_kept_forecast_says_what_it_said():
    calendars = working(FEDERAL, FOUR_DAYS)
    fitted = fit(history(ten_rows()), calendars, D0)
    dates = forecast(fitted, OpenRequests.from_columns(utility=[0, 1, 1], filed=[D0, D0 - 9, D0 - 300]))

    packed = [pack(offsets) for offsets in dates.offsets()]
    again = Quantiles.kept(packed, D0, calendars, dates.utility, dates.p_never)

    assert [len(one) for one in packed] == [198, 198, 198]
    assert again.q.tolist() == dates.q.tolist()
    assert chance_by(again, D0 + 33).tolist() == chance_by(dates, D0 + 33).tolist()


def test_days_of_a_kept_forecast_are_two_bytes_low_byte_first():
    packed = pack([258, *[BEYOND] * 98])

    assert packed == b"\x02\x01" + b"\xff\xff" * 98
    assert unpack(packed).tolist() == [258, *[65_535] * 98]


@pytest.mark.parametrize("wrong", [[1] * 98, [-1] * 99, [65_536] * 99])
def test_what_cannot_be_kept_is_refused(wrong):
    with pytest.raises(ValueError, match="99 day offsets from 0 to 65,535"):
        pack(wrong)


def test_bytes_of_another_length_are_refused():
    with pytest.raises(ValueError, match="198 bytes"):
        unpack(b"\x00" * 196)
