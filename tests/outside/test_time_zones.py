"""TRADE.md rows Z1-Z12: time zones and quiet hours, against zoneinfo and the statutes."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from jobs.appointments.slots import LEGAL_FLOOR, inside, instant

NEW_YORK, CHICAGO, DENVER, PHOENIX = "America/New_York", "America/Chicago", "America/Denver", "America/Phoenix"
LOS_ANGELES, ANCHORAGE, ADAK, HONOLULU = "America/Los_Angeles", "America/Anchorage", "America/Adak", "Pacific/Honolulu"
ALL_STATES = (NEW_YORK, CHICAGO, DENVER, PHOENIX, LOS_ANGELES, ANCHORAGE, ADAK, HONOLULU)


def at(text: str) -> datetime:
    return datetime.fromisoformat(text)


def on_the_wall(instant_text: str, zone: str) -> str:
    return f"{at(instant_text).astimezone(ZoneInfo(zone)):%H:%M}"


# Source of every row: the IANA zones as zoneinfo reads them, and 47 CFR 64.1200(c)(1), "before the hour of 8 a.m. or after 9 p.m.
# (local time at the called party's location)", taken here as the half-open window [08:00, 21:00).
@pytest.mark.parametrize(
    ("row", "instant_text", "zone", "wall", "allowed"),
    [
        ("Z1", "2026-07-15T15:00Z", NEW_YORK, "11:00", True),
        ("Z1", "2026-07-15T15:00Z", DENVER, "09:00", True),
        ("Z1", "2026-07-15T15:00Z", PHOENIX, "08:00", True),
        ("Z1", "2026-07-15T15:00Z", LOS_ANGELES, "08:00", True),
        ("Z1", "2026-07-15T15:00Z", HONOLULU, "05:00", False),
        ("Z2", "2026-01-15T15:00Z", NEW_YORK, "10:00", True),
        ("Z2", "2026-01-15T15:00Z", DENVER, "08:00", True),
        ("Z2", "2026-01-15T15:00Z", PHOENIX, "08:00", True),
        ("Z2", "2026-01-15T15:00Z", LOS_ANGELES, "07:00", False),
        ("Z2", "2026-01-15T15:00Z", HONOLULU, "05:00", False),
        ("Z3", "2026-07-15T14:59Z", PHOENIX, "07:59", False),
        ("Z4", "2026-07-16T04:00Z", LOS_ANGELES, "21:00", False),
        ("Z4", "2026-07-16T04:00Z", DENVER, "22:00", False),
        ("Z4", "2026-07-16T04:00Z", HONOLULU, "18:00", True),
        ("Z12", "2026-07-16T03:30Z", "America/Puerto_Rico", "23:30", False),
    ],
)
def test_z1_to_z4_and_z12_the_window_is_that_of_the_called_home(row, instant_text, zone, wall, allowed):
    assert on_the_wall(instant_text, zone) == wall
    assert inside(at(instant_text), zone=zone, quiet=LEGAL_FLOOR) is allowed


@pytest.mark.parametrize(
    ("day", "opens", "closes"),
    [
        ("2026-07-15", "2026-07-15T18:00Z", "2026-07-16T01:00Z"),
        ("2026-01-15", "2026-01-15T18:00Z", "2026-01-16T02:00Z"),
    ],
)
def test_z5_the_common_window_of_all_states_runs_from_honolulus_morning_to_new_yorks_evening(day, opens, closes):
    # Source: zoneinfo; 47 CFR 64.1200(c)(1).
    noon = at(f"{day}T12:00Z")
    minutes = [noon + timedelta(minutes=minute) for minute in range(24 * 60)]

    common = [minute for minute in minutes if all(inside(minute, zone=zone, quiet=LEGAL_FLOOR) for zone in ALL_STATES)]

    assert (common[0], common[-1] + timedelta(minutes=1)) == (at(opens), at(closes))
    assert len(common) == (at(closes) - at(opens)) / timedelta(minutes=1)


def test_z6_ten_in_the_morning_moves_by_an_hour_over_the_weekend_of_the_clock_change():
    # Source: zoneinfo.
    assert instant(date(2026, 3, 7), local_time=time(10), zone=LOS_ANGELES) == at("2026-03-07T18:00Z")
    assert instant(date(2026, 3, 9), local_time=time(10), zone=LOS_ANGELES) == at("2026-03-09T17:00Z")


def test_z7_half_past_two_does_not_exist_in_new_york_on_the_day_of_the_change_and_does_in_phoenix():
    # Source: zoneinfo, by round trip through UTC.
    with pytest.raises(ValueError, match="does not exist"):
        instant(date(2026, 3, 8), local_time=time(2, 30), zone=NEW_YORK)
    assert instant(date(2026, 3, 8), local_time=time(2, 30), zone=PHOENIX) == at("2026-03-08T09:30Z")


def test_z8_half_past_one_comes_twice_in_new_york_on_the_day_of_the_change():
    # Source: PEP 495, fold.
    with pytest.raises(ValueError, match="comes twice"):
        instant(date(2026, 11, 1), local_time=time(1, 30), zone=NEW_YORK)
    assert instant(date(2026, 11, 1), local_time=time(1, 30), zone=NEW_YORK, fold=0) == at("2026-11-01T05:30Z")
    assert instant(date(2026, 11, 1), local_time=time(1, 30), zone=NEW_YORK, fold=1) == at("2026-11-01T06:30Z")


@pytest.mark.parametrize(("day", "hours"), [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25), (date(2026, 7, 15), 24)])
def test_z9_a_day_of_a_clock_change_has_23_or_25_hours(day, hours):
    # Source: zoneinfo.
    begins = instant(day, local_time=time(0), zone=NEW_YORK)
    ends = instant(day + timedelta(days=1), local_time=time(0), zone=NEW_YORK)

    assert ends - begins == timedelta(hours=hours)


def test_z10_the_navajo_nation_changes_its_clocks_and_the_rest_of_arizona_does_not():
    # Source: IANA zones America/Phoenix and America/Shiprock (an alias of America/Denver); 15 U.S.C. 260a lets a state stay out.
    noon = {zone: instant(date(2026, 7, 15), local_time=time(12), zone=zone) for zone in (PHOENIX, "America/Shiprock")}

    assert noon == {PHOENIX: at("2026-07-15T19:00Z"), "America/Shiprock": at("2026-07-15T18:00Z")}


@pytest.mark.parametrize(
    ("year", "spring", "autumn"),
    [(2026, (3, 8), (11, 1)), (2027, (3, 14), (11, 7)), (2028, (3, 12), (11, 5))],
)
def test_z11_the_clocks_change_on_the_second_sunday_of_march_and_the_first_of_november(year, spring, autumn):
    # Source: 15 U.S.C. 260a(a), "2 o'clock antemeridian on the second Sunday of March ... the first Sunday of November"; zoneinfo.
    days = [date(year, 1, 1) + timedelta(days=n) for n in range(365)]
    midnight = {day: instant(day, local_time=time(0), zone=NEW_YORK) for day in (*days, days[-1] + timedelta(days=1))}

    changed = [day for day in days if midnight[day + timedelta(days=1)] - midnight[day] != timedelta(days=1)]

    assert changed == [date(year, *spring), date(year, *autumn)]
    assert all(day.weekday() == 6 for day in changed)
    assert changed[0].day in range(8, 15)
    assert changed[1].day in range(1, 8)


def test_z12_puerto_rico_is_four_hours_behind_utc_all_year():
    # Source: zoneinfo.
    zone = ZoneInfo("America/Puerto_Rico")

    assert {datetime(2026, month, 15, tzinfo=UTC).astimezone(zone).utcoffset() for month in range(1, 13)} == {timedelta(hours=-4)}
