"""The calendar part of the mails about a call: RFC 5545, 5546 and 6047."""

from __future__ import annotations

import datetime as dt
import email
import re
from email import policy
from typing import Any

import pytest
from icalendar import Calendar

from jobs.appointments import booking
from jobs.appointments.times import Wish
from jobs.notices import calendarpart, channels, outbox
from jobs.notices.models import Message
from tests.appointments.homes import AT_TEN, TODAY, TOMORROW, booked, ready_job
from tests.make import SYSTEM, user_of

pytestmark = pytest.mark.django_db


def mailed(kind: str) -> tuple[Any, Any, Any]:
    """The newest mail of a kind as it leaves: the mail, its calendar part, and the calendar as read back."""
    message = Message.objects.filter(kind=kind, state="owed", channel="email").latest("pk")
    mail: Any = email.message_from_bytes(channels.mail_of(outbox.release(message, by=SYSTEM)).as_bytes(), policy=policy.default)
    Message.objects.filter(pk=message.pk).update(state="sent")
    [part] = [part for part in mail.walk() if part.get_content_type() == "text/calendar"]
    return mail, part, Calendar.from_ical(part.get_content())


def event_of(calendar: Any) -> Any:
    [event] = calendar.walk("VEVENT")
    return event


def test_a_booked_call_is_an_invitation_in_the_homes_zone(theo, mara):
    call = booked(theo, verifier=user_of(mara), job=ready_job(zone="America/New_York"), wish=Wish(TOMORROW, dt.time(12)))

    mail, part, calendar = mailed("call_booked")

    # RFC 6047, 2.4: another form of the text, whose method parameter is the object's METHOD.
    assert mail.get_content_type() == "multipart/alternative"
    assert [inner.get_content_type() for inner in mail.iter_parts()] == ["text/plain", "text/html", "text/calendar"]
    assert part.get_param("method") == calendar["METHOD"] == "REQUEST"
    assert part.get_content_charset() == "utf-8"
    event = event_of(calendar)
    assert event["DTSTART"].params["TZID"] == "America/New_York"
    assert event["DTSTART"].dt == call.local_start
    assert event["DTEND"].dt == call.call_ends_at
    assert {zone["TZID"] for zone in calendar.walk("VTIMEZONE")} == {"America/New_York"}
    # The zone's changes of the years about the call, and none of the half century before it.
    changes = [change["DTSTART"].dt for change in calendar.walk() if change.name in ("STANDARD", "DAYLIGHT")]
    assert changes
    assert min(changes).year == call.local_start.year - 1
    assert event["ATTENDEE"] == f"mailto:{call.person.email}"
    assert event["STATUS"] == "CONFIRMED"
    assert event["SEQUENCE"] == 0
    # RFC 5545, 3.1 and 3.6.1: DTSTAMP in UTC; lines of at most 75 octets, ended by CRLF.
    assert event["DTSTAMP"].dt.utcoffset() == dt.timedelta(0)
    lines = part.get_payload(decode=True).split(b"\r\n")
    assert lines[-1] == b""
    assert all(len(line) <= 75 and b"\n" not in line for line in lines)


def test_a_moved_call_keeps_its_uid_and_raises_its_sequence_and_a_cancelled_one_raises_it_again(theo, mara):
    call = booked(theo, verifier=user_of(mara))
    first = event_of(mailed("call_booked")[2])

    booking.move(call, wish=Wish(TOMORROW, dt.time(14)), by=theo)
    moved = mailed("call_moved")[2]
    booking.cancel(call, why="us", reason="Mara is ill", by=theo)
    _, part, cancelled = mailed("call_cancelled")

    # RFC 5546, 3.2.2 and 3.2.5 (TRADE.md I12).
    assert first["UID"] == event_of(moved)["UID"] == event_of(cancelled)["UID"]
    assert [event_of(one)["SEQUENCE"] for one in (moved, cancelled)] == [1, 2]
    assert (moved["METHOD"], cancelled["METHOD"]) == ("REQUEST", "CANCEL")
    assert part.get_param("method") == "CANCEL"
    assert event_of(cancelled)["STATUS"] == "CANCELLED"
    assert event_of(moved)["DTSTART"].dt == dt.datetime(2026, 11, 19, 21, tzinfo=dt.UTC)  # 14:00 in Denver


def test_a_call_that_was_only_offered_or_never_told_of_brings_nothing_to_a_calendar(theo, mara):
    call = booked(theo, verifier=user_of(mara))

    booking.cancel(call, why="us", reason="Mara is ill", by=theo)

    message = Message.objects.get(kind="call_cancelled")
    assert outbox.preview(message).attachments == ()


def test_the_part_names_no_medical_word_and_no_code(theo, mara):
    job = ready_job(language="es")
    booked(theo, verifier=user_of(mara), wish=AT_TEN, job=job)

    _, part, calendar = mailed("call_booked")

    text = part.get_content()
    assert not re.search(r"medic|médic|gate|portón", text, re.I)
    assert event_of(calendar)["SUMMARY"].startswith("Prueba del respaldo por teléfono")
    assert event_of(calendar)["SUMMARY"].params["LANGUAGE"] == "es"


def test_a_text_with_marks_and_a_long_name_is_escaped_and_folded_whole(theo, mara):
    event = calendarpart.Event(
        uid="one@homes.example",
        sequence=0,
        stamp=dt.datetime(2026, 11, 18, 18, tzinfo=dt.UTC),
        starts=dt.datetime(2026, 11, 19, 17, tzinfo=dt.UTC),
        ends=dt.datetime(2026, 11, 19, 18, tzinfo=dt.UTC),
        summary="é" * 80,  # TRADE.md I5
        description=r"a\b;c,d",  # TRADE.md I4
        location="Old Mill, Road 4",
        organizer=('Larch "&" Lantern', "office@larchlantern.example"),
        attendee=("Noor\r\nBCC:x@y.example", "noor@homes.example"),
    )

    data = calendarpart.part(event, method="REQUEST").data

    assert all(len(line) <= 75 for line in data.split(b"\r\n"))
    assert rb"a\\b\;c\,d" in data.replace(b"\r\n ", b"")
    assert b"\nBCC" not in data
    read: Any = Calendar.from_ical(data).walk("VEVENT")[0]
    assert read["SUMMARY"] == "é" * 80
    assert read["DESCRIPTION"] == r"a\b;c,d"
    assert read["DTSTART"].dt.date() > TODAY
