"""A call as a calendar takes it: an invitation, or its withdrawal. Pure.

Sources: RFC 5545 (the object; a VTIMEZONE for each TZID), RFC 5546, 3.2.2 and 3.2.5 (METHOD REQUEST and CANCEL: the same UID, a rising
SEQUENCE), RFC 6047, 2.4 (the part's Content-Type names the method).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

from icalendar import Calendar, vCalAddress, vText
from icalendar import Event as CalendarEvent

from jobs.notices.kinds import Attachment

REQUEST: Final = "REQUEST"
CANCEL: Final = "CANCEL"
PRODID: Final = "-//contractor office//calls//EN"


@dataclass(frozen=True)
class Event:
    """starts: aware, in the zone whose wall time is promised. ends: aware. organizer, attendee: name and e-mail address."""

    uid: str
    sequence: int
    stamp: dt.datetime
    starts: dt.datetime
    ends: dt.datetime
    summary: str
    description: str
    location: str
    organizer: tuple[str, str]
    attendee: tuple[str, str]
    language: str = "en"


def part(event: Event, *, method: str) -> Attachment:
    """The part that goes beside the text of a mail."""
    return Attachment("call.ics", f"text/calendar; method={method}; component=VEVENT", _calendar(event, method=method).to_ical())


def _calendar(event: Event, *, method: str) -> Calendar:
    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", method)
    calendar.add_component(_event(event, method=method))
    calendar.add_missing_timezones()
    return calendar


def _event(event: Event, *, method: str) -> CalendarEvent:
    made = CalendarEvent()
    made.add("uid", event.uid)
    made.add("sequence", event.sequence)
    made.add("dtstamp", event.stamp.astimezone(dt.UTC).replace(microsecond=0))
    made.add("dtstart", event.starts)
    made.add("dtend", event.ends.astimezone(event.starts.tzinfo))
    made.add("summary", event.summary, parameters={"LANGUAGE": event.language})
    made.add("description", event.description, parameters={"LANGUAGE": event.language})
    made.add("location", event.location)
    made.add("organizer", _person(*event.organizer))
    made.add("attendee", _person(*event.attendee, ROLE="REQ-PARTICIPANT", PARTSTAT="NEEDS-ACTION", RSVP="FALSE"))
    made.add("status", "CANCELLED" if method == CANCEL else "CONFIRMED")
    made.add("class", "PRIVATE")
    made.add("transp", "OPAQUE")
    return made


def _person(name: str, address: str, **parameters: str) -> vCalAddress:
    person = vCalAddress(f"mailto:{address}")
    # RFC 5545, 3.2: no quotation mark and no control character in a parameter's value.
    person.params["CN"] = vText("".join(letter for letter in name if letter not in '"' and letter.isprintable()))
    for key, value in parameters.items():
        person.params[key] = vText(value)
    return person
