"""A call as a calendar takes it: an invitation, its withdrawal, or an entry of a feed. Pure.

Sources: RFC 5545 (the object; a VTIMEZONE for each TZID), RFC 5546, 3.2.2 and 3.2.5 (METHOD REQUEST and CANCEL: the same UID, a rising
SEQUENCE), RFC 6047, 2.4 (the part's Content-Type names the method).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
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


@dataclass(frozen=True)
class Entry:
    """One call in a feed. starts: aware, in the zone whose wall time is promised. busy: whether it takes the time."""

    uid: str
    sequence: int
    stamp: dt.datetime
    starts: dt.datetime
    ends: dt.datetime
    summary: str
    description: str
    status: str  # TENTATIVE, CONFIRMED, CANCELLED
    busy: bool


def uid_of(call: str, sender: str) -> str:
    """The same in every file about one call (RFC 7986, 5.3: nothing of a person in it)."""
    return f"{call}@{sender.rpartition('@')[2]}"


def published(entries: Iterable[Entry], *, name: str, refresh: dt.timedelta) -> bytes:
    """A calendar to be read again and again (RFC 5546, 3.2.1: METHOD PUBLISH; RFC 7986, 5.1 and 5.7: NAME, REFRESH-INTERVAL)."""
    calendar = _empty("PUBLISH")
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)
    calendar.add("refresh-interval", refresh, parameters={"VALUE": "DURATION"})
    for entry in entries:
        made = CalendarEvent()
        made.add("uid", entry.uid)
        made.add("sequence", entry.sequence)
        made.add("dtstamp", entry.stamp.astimezone(dt.UTC).replace(microsecond=0))
        made.add("dtstart", entry.starts)
        made.add("dtend", entry.ends.astimezone(entry.starts.tzinfo))
        made.add("summary", entry.summary)
        made.add("description", entry.description)
        made.add("status", entry.status)
        made.add("class", "PRIVATE")
        made.add("transp", "OPAQUE" if entry.busy else "TRANSPARENT")
        calendar.add_component(made)
    _add_zones(calendar)
    return bytes(calendar.to_ical())


def part(event: Event, *, method: str) -> Attachment:
    """The part that goes beside the text of a mail."""
    return Attachment("call.ics", f"text/calendar; method={method}; component=VEVENT", _calendar(event, method=method).to_ical())


def _calendar(event: Event, *, method: str) -> Calendar:
    calendar = _empty(method)
    calendar.add_component(_event(event, method=method))
    _add_zones(calendar)
    return calendar


def _add_zones(calendar: Calendar) -> None:
    """The VTIMEZONEs, of the years from the one before the first event to the one after the last: earlier changes are nobody's matter."""
    years = [event.start.year for event in calendar.events]
    if years:
        calendar.add_missing_timezones(first_date=dt.date(min(years) - 1, 1, 1), last_date=dt.date(max(years) + 1, 12, 31))


def _empty(method: str) -> Calendar:
    calendar = Calendar()
    calendar.add("prodid", PRODID)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", method)
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
    if event.attendee[1]:
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
