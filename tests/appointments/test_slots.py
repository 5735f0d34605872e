"""Bookable times, and wall times around clock changes. No database."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.appointments.slots import (
    HOUSE_RULE,
    LEGAL_FLOOR,
    PLACE,
    QuietHours,
    Taken,
    TimeOff,
    WeeklyHours,
    free_slots,
    inside,
    instant,
    whole_call_inside,
)

NEW_YORK = "America/New_York"
DENVER = "America/Denver"
HONOLULU = "Pacific/Honolulu"
TUESDAY = date(2026, 7, 14)


def utc(day: date, hour: int, minute: int = 0) -> datetime:
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=UTC)


def slots(**changes):
    """Tuesday 14 July 2026, a verifier in New York who works from 9 to 13, a home in New York."""
    asked: dict[str, Any] = {
        "hours": [WeeklyHours(1, time(9), time(13))],
        "verifier_zone": NEW_YORK,
        "time_off": [],
        "taken": [],
        "site_zone": NEW_YORK,
        "quiet": HOUSE_RULE,
        "first_at": utc(TUESDAY, 0),
        "last_day": TUESDAY,
    } | changes
    return free_slots(asked.pop("hours"), **asked)


def times(found) -> list[str]:
    return [f"{slot.local_time:%H:%M}" for slot in found]


def test_places_lie_an_hour_apart_from_the_start_of_the_hours_and_end_inside_them():
    assert times(slots()) == ["09:00", "10:00", "11:00", "12:00"]
    assert times(slots(hours=[WeeklyHours(1, time(9, 30), time(12, 15))])) == ["09:30", "10:30"]


def test_a_slot_tells_the_instant_and_the_wall_time_at_the_site():
    first = slots(site_zone=DENVER, quiet=LEGAL_FLOOR, hours=[WeeklyHours(1, time(11), time(12))])[0]

    assert (first.starts_at, first.ends_at, first.call_ends_at) == (utc(TUESDAY, 15), utc(TUESDAY, 16), utc(TUESDAY, 15, 45))
    assert (first.local_date, first.local_time, first.zone, first.fold) == (TUESDAY, time(9), DENVER, 0)


def test_a_home_further_west_is_called_only_once_its_own_morning_has_begun():
    # 11:00 in New York is 09:00 in Denver.
    assert times(slots(site_zone=DENVER)) == ["09:00", "10:00"]


def test_the_whole_call_ends_before_the_hours_close_and_may_end_as_they_close():
    evening = [WeeklyHours(1, time(16, 15), time(23))]
    # The last call runs from 19:15 to 20:00; its buffer, in which nobody is called, lies after 20:00.
    assert times(slots(hours=evening)) == ["16:15", "17:15", "18:15", "19:15"]

    assert times(slots(hours=[WeeklyHours(1, time(16, 20), time(23))])) == ["16:20", "17:20", "18:20"]


def test_a_relay_call_takes_two_neighbouring_places():
    found = slots(places=2)

    assert times(found) == ["09:00", "10:00", "11:00"]
    assert all(slot.ends_at - slot.starts_at == 2 * PLACE for slot in found)
    assert times(slots(places=2, hours=[WeeklyHours(1, time(9), time(10)), WeeklyHours(1, time(11), time(12))])) == []


def test_the_second_place_of_a_relay_call_may_not_run_past_the_closing_hour():
    # 18:00 to 19:45 fits, 19:00 to 20:45 does not.
    assert times(slots(places=2, hours=[WeeklyHours(1, time(17), time(23))])) == ["17:00", "18:00"]


def test_what_is_taken_takes_every_place_that_it_touches_and_none_that_it_only_meets():
    met = Taken(utc(TUESDAY, 14), utc(TUESDAY, 15))  # 10:00 to 11:00 in New York
    touched = Taken(utc(TUESDAY, 14, 59), utc(TUESDAY, 15, 1))

    assert times(slots(taken=[met])) == ["09:00", "11:00", "12:00"]
    assert times(slots(taken=[touched])) == ["09:00", "12:00"]
    assert times(slots(taken=[met], places=2)) == ["11:00"]


def test_time_off_over_several_days_leaves_nothing_between():
    off = TimeOff(utc(date(2026, 7, 13), 12), utc(date(2026, 7, 15), 12))

    assert slots(time_off=[off], hours=[WeeklyHours(day, time(9), time(13)) for day in range(7)], last_day=date(2026, 7, 14)) == []


def test_hours_that_touch_or_overlap_are_one_stretch_with_one_grid():
    touching = [WeeklyHours(1, time(9), time(10, 30)), WeeklyHours(1, time(10, 30), time(12))]
    overlapping = [WeeklyHours(1, time(9), time(11)), WeeklyHours(1, time(10, 30), time(12)), WeeklyHours(1, time(9), time(10))]
    contained = [WeeklyHours(1, time(9), time(12)), WeeklyHours(1, time(10), time(10, 30))]

    assert times(slots(hours=touching)) == ["09:00", "10:00", "11:00"]
    assert times(slots(hours=overlapping)) == ["09:00", "10:00", "11:00"]
    assert times(slots(hours=contained)) == ["09:00", "10:00", "11:00"]


def test_a_weekend_is_free_only_if_the_hours_say_so():
    week = {"first_at": utc(date(2026, 7, 18), 0), "last_day": date(2026, 7, 19)}  # Saturday and Sunday

    assert slots(**week, hours=[WeeklyHours(day, time(9), time(13)) for day in range(5)]) == []
    assert [slot.local_date for slot in slots(**week, hours=[WeeklyHours(5, time(9), time(10))])] == [date(2026, 7, 18)]


def test_nothing_begins_before_the_first_instant_or_after_the_last_day():
    every_day = [WeeklyHours(day, time(9), time(11)) for day in range(7)]

    found = slots(hours=every_day, first_at=utc(TUESDAY, 13, 1), last_day=date(2026, 7, 15))

    assert [(slot.local_date.day, slot.local_time.hour) for slot in found] == [(14, 10), (15, 9), (15, 10)]


def test_the_last_day_is_the_day_at_the_site():
    # 10:00 on Wednesday in Auckland is 12:00 on Tuesday in Honolulu.
    asked = {"verifier_zone": "Pacific/Auckland", "site_zone": HONOLULU, "hours": [WeeklyHours(2, time(10), time(11))]}

    found = slots(**asked, first_at=utc(date(2026, 7, 13), 0), last_day=TUESDAY)

    assert [(slot.local_date, slot.local_time) for slot in found] == [(TUESDAY, time(12))]


def test_a_verifier_keeps_the_wall_clock_over_a_clock_change_and_a_home_without_one_sees_the_hour_move():
    # The clocks in New York go forward on Sunday 8 March 2026 (15 U.S.C. 260a), in Phoenix never.
    asked: dict[str, Any] = {
        "hours": [WeeklyHours(4, time(14), time(15)), WeeklyHours(0, time(14), time(15))],
        "site_zone": "America/Phoenix",
        "first_at": utc(date(2026, 3, 6), 0),
        "last_day": date(2026, 3, 9),
    }

    found = slots(**asked)

    assert [(slot.local_date.day, slot.local_time.hour, slot.starts_at.hour) for slot in found] == [(6, 12, 19), (9, 11, 18)]


def test_places_last_sixty_minutes_in_a_night_shift_over_a_clock_change():
    # A verifier in New York for a home in Honolulu (UTC-10): the night of 1 November 2026 has two hours from 01:00 to 02:00.
    found = slots(
        hours=[WeeklyHours(6, time(0), time(3))],
        site_zone=HONOLULU,
        first_at=utc(date(2026, 10, 31), 20),
        last_day=date(2026, 11, 1),
    )

    # 00:00 EDT is 04:00Z and 18:00 in Honolulu; 01:00 EDT is 19:00 there, then 20:00 is too late.
    assert [slot.starts_at for slot in found] == [utc(date(2026, 11, 1), 4), utc(date(2026, 11, 1), 5)]


def test_hours_that_begin_in_the_gap_of_a_clock_change_begin_an_hour_later():
    found = slots(
        hours=[WeeklyHours(6, time(2, 30), time(5))],
        site_zone="Asia/Tokyo",
        first_at=utc(date(2026, 3, 8), 0),
        last_day=date(2026, 3, 9),
    )

    # 02:30 does not exist in New York on 8 March 2026; 03:30 EDT is 07:30Z and 16:30 in Tokyo.
    assert [(slot.starts_at, slot.local_time) for slot in found] == [(utc(date(2026, 3, 8), 7, 30), time(16, 30))]


@given(
    hours=st.lists(
        st.builds(
            lambda day, start, length: WeeklyHours(day, time(start // 60, start % 60), time(*divmod(min(start + length, 1439), 60))),
            st.integers(0, 6),
            st.integers(0, 1380),
            st.integers(1, 900),
        ),
        max_size=8,
    ),
    offsets=st.lists(st.tuples(st.integers(0, 10_000), st.integers(1, 600)), max_size=6),
    zones=st.tuples(*[st.sampled_from([NEW_YORK, DENVER, "America/Phoenix", "America/Los_Angeles", HONOLULU, "America/Puerto_Rico"])] * 2),
    start=st.sampled_from([date(2026, 3, 5), date(2026, 10, 29), date(2026, 7, 14)]),
    places=st.integers(1, 3),
)
def test_no_slot_ever_breaks_a_rule(hours, offsets, zones, start, places):
    first_at = utc(start, 6)
    taken = [Taken(first_at + timedelta(minutes=at), first_at + timedelta(minutes=at + length)) for at, length in offsets]
    here, there = (ZoneInfo(zone) for zone in zones)

    found = slots(
        hours=hours,
        verifier_zone=zones[0],
        site_zone=zones[1],
        taken=taken,
        first_at=first_at,
        last_day=start + timedelta(days=6),
        places=places,
    )

    assert found == sorted(set(found))
    assert all(later.starts_at - earlier.starts_at >= PLACE for earlier, later in pairwise(found))
    for slot in found:
        assert first_at <= slot.starts_at
        assert slot.local_date <= start + timedelta(days=6)
        assert slot.ends_at - slot.starts_at == places * PLACE
        local_start, local_end = (at.astimezone(there) for at in (slot.starts_at, slot.call_ends_at))
        assert local_start.date() == local_end.date()
        assert time(9) <= local_start.time() < local_end.time() <= time(20)
        assert not any(span.starts_at < slot.ends_at and slot.starts_at < span.ends_at for span in taken)
        assert instant(slot.local_date, local_time=slot.local_time, zone=slot.zone, fold=slot.fold) == slot.starts_at
        minute = slot.starts_at
        while minute < slot.ends_at:  # the slow second version: every minute of it lies in some stretch of the verifier's week
            wall = minute.astimezone(here)
            assert any(span.weekday == wall.weekday() and span.start <= wall.time() < span.end for span in hours) or _clock_change(wall)
            minute += timedelta(minutes=1)


def _clock_change(wall: datetime) -> bool:
    """Whether the clocks change on this day: hours that begin or end in the change are shifted by it."""
    midnight = wall.replace(hour=0, minute=0, fold=0)
    return midnight.utcoffset() != (midnight + timedelta(days=1)).utcoffset()


def test_the_house_rule_is_nine_to_eight_and_half_open():
    at = lambda hour, minute=0: utc(TUESDAY, hour + 4, minute) if hour < 20 else utc(date(2026, 7, 15), hour - 20, minute)  # noqa: E731

    assert inside(at(9), zone=NEW_YORK, quiet=HOUSE_RULE)
    assert not inside(at(8, 59), zone=NEW_YORK, quiet=HOUSE_RULE)
    assert inside(at(19, 59), zone=NEW_YORK, quiet=HOUSE_RULE)
    assert not inside(at(20), zone=NEW_YORK, quiet=HOUSE_RULE)
    assert inside(at(20), zone=NEW_YORK, quiet=LEGAL_FLOOR)


@pytest.mark.parametrize(
    ("opens", "closes", "sentence"),
    [
        (time(7, 59), time(20), "Calls from 07:59 would be too early: 08:00 or later is wanted."),
        (time(9), time(21, 1), "Calls until 21:01 would be too late: 21:00 or earlier is wanted."),
        (time(12), time(12), "Calls from 12:00 until 12:00 leave no time: a later end is wanted."),
    ],
)
def test_the_legal_floor_cannot_be_undercut(opens, closes, sentence):
    # 47 CFR 64.1200(c)(1): not before 8 a.m. or after 9 p.m. local time at the called party's location.
    with pytest.raises(ValueError) as refused:
        QuietHours(opens, closes)

    assert str(refused.value) == sentence


def test_narrower_hours_than_the_house_rule_are_kept():
    assert times(slots(quiet=QuietHours(time(10), time(12)))) == ["10:00", "11:00"]


def test_a_call_over_midnight_is_never_wholly_inside():
    assert not whole_call_inside(utc(TUESDAY, 19), ends_at=utc(date(2026, 7, 15), 15), zone=NEW_YORK, quiet=HOUSE_RULE)


def test_a_wall_time_in_the_gap_is_refused_and_the_times_beside_it_are_named():
    with pytest.raises(ValueError) as refused:
        instant(date(2026, 3, 8), local_time=time(2, 30), zone=NEW_YORK)

    assert str(refused.value) == (
        "02:30 on 8 March 2026 in America/New_York does not exist, because the clocks go forward: "
        "another time is wanted, such as 01:30 or 03:30."
    )


def test_a_fold_does_not_make_a_wall_time_exist():
    for fold in (0, 1):
        with pytest.raises(ValueError, match="does not exist"):
            instant(date(2026, 3, 8), local_time=time(2, 30), zone=NEW_YORK, fold=fold)


def test_a_wall_time_that_comes_twice_is_asked_back():
    with pytest.raises(ValueError) as refused:
        instant(date(2026, 11, 1), local_time=time(1, 30), zone=NEW_YORK)

    assert str(refused.value) == (
        "01:30 on 1 November 2026 in America/New_York comes twice, because the clocks go back: "
        "say whether the first (EDT) or the second (EST) is meant."
    )


def test_a_fold_on_an_ordinary_day_changes_nothing():
    assert {instant(TUESDAY, local_time=time(10), zone=DENVER, fold=fold) for fold in (None, 0, 1)} == {utc(TUESDAY, 16)}


@pytest.mark.parametrize("zone", ["Mountain", "America/Nowhere", "", "../etc/passwd", "America"])
def test_an_unknown_zone_is_refused_with_a_sentence(zone):
    with pytest.raises(ValueError, match="is not the name of a time zone: a name such as America/Denver is wanted"):
        instant(TUESDAY, local_time=time(10), zone=zone)


def test_what_makes_no_sense_is_refused():
    naive = datetime(2026, 7, 14, 9)  # noqa: DTZ001
    with pytest.raises(ValueError, match="has no time zone"):
        inside(naive, zone=NEW_YORK, quiet=HOUSE_RULE)
    with pytest.raises(ValueError, match="has no time zone"):
        slots(first_at=naive)
    with pytest.raises(ValueError, match="does not end after it begins"):
        Taken(utc(TUESDAY, 10), utc(TUESDAY, 10))
    with pytest.raises(ValueError, match="is not a weekday"):
        WeeklyHours(7, time(9), time(10))
    with pytest.raises(ValueError, match="leave no time"):
        WeeklyHours(0, time(10), time(9))
    with pytest.raises(ValueError, match="at least one place"):
        slots(places=0)
