"""TRADE.md rows I1-I11: what RFC 5545 says by example, asked of the library that writes our calendars and of the second reader."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from dateutil.rrule import rrulestr  # type: ignore[import-untyped]
from icalendar import Calendar, Event, vDDDTypes, vDuration, vText

from tests.appointments import icsplain

NEW_YORK = "America/New_York"


def utc_of(text: str) -> dt.datetime:
    """A DTSTART with this TZID, read by the library."""
    data = f"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nDTSTART;TZID={NEW_YORK}:{text}\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"
    read: Any = Calendar.from_ical(data).walk("VEVENT")[0]
    at: dt.datetime = read["DTSTART"].dt.astimezone(dt.UTC)
    return at


def test_i1_and_i2_durations():
    assert vDuration.from_ical("P15DT5H0M20S") == dt.timedelta(days=15, hours=5, seconds=20)
    assert vDuration.from_ical("P7W") == dt.timedelta(days=49)


@pytest.mark.parametrize(
    ("plain", "escaped"),
    [
        (
            "Project XYZ Final Review\nConference Room - 3B\nCome Prepared.",
            r"Project XYZ Final Review\nConference Room - 3B\nCome Prepared.",
        ),
        (r"a\b;c,d", r"a\\b\;c\,d"),
    ],
    ids=["I3", "I4"],
)
def test_i3_and_i4_texts_are_escaped_and_read_back(plain, escaped):
    assert vText(plain).to_ical().decode() == escaped
    assert icsplain.text(escaped) == plain


def test_i5_a_line_of_eighty_e_with_an_accent_is_folded_between_characters():
    event = Event()
    event.add("summary", "é" * 80)

    data = event.to_ical()

    assert icsplain.text(icsplain.content_lines(data)[1][2]) == "é" * 80  # which also asks that no line is longer than 75 octets


def test_i6_a_folded_line_is_read_as_one():
    data = b"DESCRIPTION:This is a lo\r\n ng description\r\n  that exists on a long line.\r\n"

    assert icsplain.content_lines(data)[0][2] == "This is a long description that exists on a long line."


def test_i7_a_daily_rule_keeps_the_wall_time_over_the_change():
    start = dt.datetime.fromisoformat("1997-09-02T09:00:00").replace(tzinfo=ZoneInfo(NEW_YORK))

    found = list(rrulestr("FREQ=DAILY;UNTIL=19971224T000000Z", dtstart=start))

    assert len(found) == 113
    assert found[-1].isoformat() == "1997-12-23T09:00:00-05:00"


@pytest.mark.parametrize(
    ("wall", "instant"), [("19980119T020000", "19980119T070000"), ("19970714T133000", "19970714T173000")], ids=["I8", "I9"]
)
def test_i8_and_i9_a_wall_time_with_its_zone_is_one_instant(wall, instant):
    assert f"{utc_of(wall):%Y%m%dT%H%M%S}" == instant


def test_i10_fridays_the_thirteenth():
    found = rrulestr("FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13;COUNT=5", dtstart=dt.datetime.fromisoformat("1997-09-02T09:00:00"))

    assert [f"{day:%Y-%m-%d}" for day in found] == ["1998-02-13", "1998-03-13", "1998-11-13", "1999-08-13", "2000-10-13"]


def test_i11_the_second_sunday_of_march_2027():
    [day] = rrulestr("FREQ=YEARLY;BYMONTH=3;BYDAY=2SU;COUNT=1", dtstart=dt.datetime.fromisoformat("2027-01-01T02:00:00"))

    assert f"{day:%Y-%m-%d}" == "2027-03-14"
    assert vDDDTypes(day).to_ical() == b"20270314T020000"
