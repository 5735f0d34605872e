"""Bookable times, and wall times around clock changes. No database."""

from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
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
from jobs.notices.statehours import STATES

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


AROUND = [(date(2026, 3, 7), 3), (date(2026, 10, 31), 3), (date(2026, 7, 11), 3)]  # both clock changes of 2026 (row Z11), a summer weekend
ZONES = [NEW_YORK, DENVER, "America/Phoenix", "America/Los_Angeles", HONOLULU, "America/Puerto_Rico"]
SPANS = st.lists(st.tuples(st.integers(0, 4_000), st.integers(1, 600)), max_size=4)


@settings(max_examples=60, deadline=None)
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
    off=SPANS,
    busy=SPANS,
    zones=st.tuples(st.sampled_from(ZONES), st.sampled_from(ZONES)),
    around=st.sampled_from(AROUND),
    places=st.integers(1, 3),
    region=st.sampled_from(["", "AL", "RI", "TX"]),
    shut=st.sets(st.integers(0, 3), max_size=2),
    quiet=st.sampled_from([HOUSE_RULE, LEGAL_FLOOR]),
)
def test_the_slots_are_those_that_a_slow_walk_minute_by_minute_finds(hours, off, busy, zones, around, places, region, shut, quiet):
    start, days = around
    first_at = utc(start, 6)
    time_off, taken = (
        [kind(first_at + timedelta(minutes=at), first_at + timedelta(minutes=at + length)) for at, length in spans]
        for kind, spans in ((TimeOff, off), (Taken, busy))
    )
    closed = {start + timedelta(days=number) for number in shut}
    last_day = start + timedelta(days=days - 1)

    found = slots(
        hours=hours, verifier_zone=zones[0], site_zone=zones[1], time_off=time_off, taken=taken, first_at=first_at, last_day=last_day,
        places=places, region=region, closed=closed, quiet=quiet,
    )  # fmt: skip

    blocked = [(span.starts_at, span.ends_at) for span in [*time_off, *taken]]
    slow = slowly(hours, zones, blocked, first_at, last_day, places, region, closed, quiet)
    assert [slot.starts_at for slot in found] == slow
    for slot in found:
        # What the clock at the home shows names one instant: it exists, and where it comes twice the fold says which.
        assert instant(slot.local_date, local_time=slot.local_time, zone=slot.zone, fold=slot.fold) == slot.starts_at
        assert slot.call_ends_at - slot.starts_at == places * PLACE - timedelta(minutes=15)


def slowly(hours, zones, blocked, first_at, last_day, places, region, closed, quiet) -> list[datetime]:
    """A second implementation that knows minutes only: it walks each day of the verifier and asks every minute of every call."""
    here, there = (ZoneInfo(zone) for zone in zones)
    minute = timedelta(minutes=1)
    free: list[datetime] = []
    day = first_at.astimezone(here).date()
    while day <= last_day + timedelta(days=1):
        walk = [at for at in minutes(day) if at.astimezone(here).date() == day]
        marked = [any(h.weekday == day.weekday() and h.start <= of_day(number) < h.end for h in hours) for number in range(1440)]
        for number in range(1440):
            if day in closed or not marked[number] or (number and marked[number - 1]):
                continue
            last = next((later for later in range(number, 1440) if not marked[later]), 1440)
            opens, closes = shown_at(of_day(number), walk, here), shown_at(of_day(last), walk, here)
            at = opens
            while at + 60 * places * minute <= closes:
                whole = [at + step * minute for step in range(60 * places)]
                if (
                    at >= first_at
                    and at.astimezone(there).date() <= last_day
                    and not any(starts < one + minute and one < ends for one in whole for starts, ends in blocked)
                    and may_be_called(whole[:-15], there, region, quiet)
                ):
                    free.append(at)
                at += 60 * minute
        day += timedelta(days=1)
    return sorted(set(free))


def may_be_called(whole, there, region, quiet) -> bool:
    walls = [one.astimezone(there) for one in whole]
    state = STATES.get(region)
    window = state.on(walls[0].date()) if state else (time(0), time.max)
    return window is not None and all(
        wall.date() == walls[0].date() and max(quiet.opens, window[0]) <= wall.time() < min(quiet.closes, window[1]) for wall in walls
    )


@cache
def minutes(day: date) -> list[datetime]:
    return [utc(day, 0) + timedelta(minutes=number) for number in range(-14 * 60, 40 * 60)]


def of_day(number: int) -> time:
    return time(*divmod(min(number, 1439), 60))


def shown_at(wall: time, walk: list[datetime], here: ZoneInfo) -> datetime:
    """The first minute whose clock shows this; in the gap of a change, the minute at which the unchanged clock would show it."""
    exact = [at for at in walk if at.astimezone(here).time() == wall]
    unchanged = walk[0].astimezone(here).utcoffset() or timedelta()
    return exact[0] if exact else next(at for at in walk if (at + unchanged).time() == wall)


def test_a_closed_day_is_the_verifiers_and_has_no_time():
    found = slots(closed={TUESDAY}, last_day=TUESDAY + timedelta(days=7))

    assert [slot.local_date for slot in found] == [TUESDAY + timedelta(days=7)] * 4


def test_the_homes_state_narrows_the_hours_and_may_close_a_day():
    # R.I. Gen. Laws 5-61: until six on weekdays, none on Sundays (jobs/notices/statehours.py).
    sunday = date(2026, 7, 12)
    hours = [WeeklyHours(1, time(15), time(20)), WeeklyHours(6, time(12), time(14))]

    found = slots(hours=hours, first_at=utc(sunday, 0), region="RI")

    # The call of 17:00 ends at 17:45; that of 18:00 would begin as the hours close.
    assert [(slot.local_date, f"{slot.local_time:%H:%M}") for slot in found] == [(TUESDAY, at) for at in ("15:00", "16:00", "17:00")]


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
