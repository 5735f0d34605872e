"""What the sightings of an island test prove, against rows of TRADE.md and a slow second version."""

from __future__ import annotations

import datetime as dt

from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.appointments.evidence import (
    LOAD_LOST,
    LOAD_SERVED,
    MID_CLOSED,
    MID_OPEN,
    NOT_RETURNED,
    UTILITY_POWER,
    Evidence,
    Interval,
    Sighting,
    evidence,
    is_served,
)

T0 = dt.datetime(2026, 11, 18, 21, 45, tzinfo=dt.UTC)


def at(seconds: int) -> dt.datetime:
    return T0 + dt.timedelta(seconds=seconds)


def seen(*rows: tuple[int, str] | tuple[int, str, int]) -> list[Sighting]:
    return [Sighting(row[1], at(row[0]), row[2] if len(row) == 3 else None, order) for order, row in enumerate(rows)]


def proved(*rows: tuple[int, str] | tuple[int, str, int], before: int | None = 640, until: int = 600) -> Evidence:
    return evidence(seen(*rows), load_before_w=before, until=at(until))


def test_disconnected_and_served_together_prove_the_backup_once_the_return_was_seen():
    found = proved((12, MID_OPEN), (20, UTILITY_POWER, 4), (31, LOAD_SERVED, 640), (90, LOAD_SERVED, 655), (200, MID_CLOSED))

    assert found.disconnected == (Interval(at(20), at(200)),)
    assert found.served == (Interval(at(31), at(90)),)
    assert found.overlap == Interval(at(31), at(90))
    assert found.missing == ""


def test_row_r8_an_open_device_with_nothing_running_is_not_verified():
    # TRADE.md row R8: grid 0 W, MID open, load 0 W: not verified (finding 15).
    found = proved((0, MID_OPEN), (5, UTILITY_POWER, 0), (10, LOAD_SERVED, 0), (60, MID_CLOSED))

    assert found.overlap is None
    assert found.missing == "the load was not seen served while the MID was open"


def test_finding_15_load_served_while_still_connected_is_not_verified():
    found = proved((0, MID_OPEN), (5, UTILITY_POWER, 420), (10, LOAD_SERVED, 640), (60, MID_CLOSED))

    assert found.disconnected == ()
    assert "disconnected was not seen" in found.missing


def test_served_before_the_utility_power_was_seen_zero_is_not_enough():
    found = proved((0, MID_OPEN), (5, LOAD_SERVED, 640), (10, UTILITY_POWER, 0), (60, MID_CLOSED))

    assert found.overlap is None
    assert "not seen at the same moment" in found.missing


def test_load_seen_before_opening_and_after_closing_says_nothing_of_the_time_between():
    found = proved((0, LOAD_SERVED, 640), (5, MID_OPEN), (6, UTILITY_POWER, 0), (60, MID_CLOSED), (61, LOAD_SERVED, 640))

    assert found.served == ()
    assert found.overlap is None


def test_a_load_that_went_off_ends_what_was_served():
    found = proved(
        (0, MID_OPEN), (1, UTILITY_POWER, 0), (10, LOAD_SERVED, 640), (20, LOAD_LOST), (30, LOAD_SERVED, 640), (40, LOAD_SERVED, 640),
        (60, MID_CLOSED),
    )  # fmt: skip

    assert found.served == (Interval(at(10), at(10)), Interval(at(30), at(40)))
    assert found.overlap == Interval(at(30), at(40))


def test_a_home_not_seen_closed_cannot_pass():
    found = proved((0, MID_OPEN), (1, UTILITY_POWER, 0), (10, LOAD_SERVED, 640), (50, NOT_RETURNED))

    assert found.islanded_since == at(0)
    assert found.missing == "the return to the utility source was not seen"


def test_a_load_within_a_fifth_of_the_one_noted_counts_as_served():
    # TRADE.md 2.3.4: the load noted before, within 20 %; common practice, no source.
    assert is_served(512, load_before_w=640)
    assert not is_served(511, load_before_w=640)
    assert not is_served(640, load_before_w=None)
    assert not is_served(0, load_before_w=0)


def test_utility_power_of_thirty_watts_either_way_is_none():
    # TRADE.md 2.3.4: |P_grid| at most 30 W; common practice, no source.
    assert proved((0, MID_OPEN), (1, UTILITY_POWER, -30)).disconnected
    assert not proved((0, MID_OPEN), (1, UTILITY_POWER, 31)).disconnected


def test_of_one_instant_the_order_tells_what_came_first():
    # A corrected time may fall on another's second: load seen before utility power was zero does not count.
    assert proved((0, MID_OPEN), (0, LOAD_SERVED, 640), (0, UTILITY_POWER, 0)).overlap is None
    assert proved((0, MID_OPEN), (0, UTILITY_POWER, 0), (0, LOAD_SERVED, 640)).overlap == Interval(at(0), at(0))


KINDS = st.one_of(
    st.tuples(st.integers(0, 9), st.sampled_from([MID_OPEN, MID_CLOSED, LOAD_LOST, NOT_RETURNED])),
    st.tuples(st.integers(0, 9), st.just(UTILITY_POWER), st.sampled_from([0, 30, 31, 900])),
    st.tuples(st.integers(0, 9), st.just(LOAD_SERVED), st.sampled_from([0, 511, 512, 640])),
)


def slow_verdict(rows: list[Sighting]) -> tuple[bool, bool]:
    """Walk the seconds: was a sighting of enough load made while disconnected; is the home islanded at the end."""
    is_open = is_zero = together = False
    for sighting in sorted(rows, key=lambda row: (row.at, row.order)):
        if sighting.what == MID_OPEN:
            if not is_open:
                is_zero = False
            is_open = True
        elif sighting.what == MID_CLOSED:
            is_open = False
            is_zero = False
        elif sighting.what == UTILITY_POWER:
            is_zero = abs(sighting.watts or 0) <= 30
        elif sighting.what == LOAD_SERVED and is_open and is_zero and (sighting.watts or 0) >= 0.8 * 640:
            together = True
    return together, is_open


@settings(max_examples=500)
@given(st.lists(KINDS, max_size=14))
def test_the_same_verdict_as_walking_the_seconds(rows):
    sightings = seen(*rows)

    found = evidence(sightings, load_before_w=640, until=at(60))

    together, islanded = slow_verdict(sightings)
    assert (found.overlap is not None) == together
    assert (found.islanded_since is not None) == islanded
    if found.overlap is not None:
        assert found.overlap.seconds >= 0
