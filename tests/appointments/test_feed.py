"""Calendar files by two readers; a verifier's feed; changes that come in any order."""

from __future__ import annotations

import datetime as dt
import itertools
import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from icalendar import Calendar

from jobs.appointments import booking, feeds
from jobs.appointments.models import CalendarFeed
from jobs.appointments.times import Wish
from jobs.core import links
from jobs.core.models import SignedLink
from jobs.core.refusals import NotAllowed
from jobs.core.rights import VERIFIER
from tests.appointments import icsplain
from tests.appointments.homes import TOMORROW, booked, give_hours, ready_job
from tests.appointments.test_calendar import mailed
from tests.make import make_user, user_of

pytestmark = pytest.mark.django_db


def part_of(kind: str) -> bytes:
    return bytes(mailed(kind)[1].get_payload(decode=True))


def test_update_and_cancel_end_in_the_same_calendar_in_whatever_order_they_come(theo, mara):
    call = booked(theo, verifier=user_of(mara))
    first = part_of("call_booked")
    booking.move(call, wish=Wish(TOMORROW, dt.time(14)), by=theo)
    moved = part_of("call_moved")
    booking.cancel(call, why="us", reason="Mara is ill", by=theo)
    cancelled = part_of("call_cancelled")

    # RFC 5546, 2.1.5 and 3.2.5 (TRADE.md I12): the highest SEQUENCE of a UID stands.
    for files, gone in (((first, moved), ""), ((first, moved, cancelled), "CANCELLED")):
        ends = []
        for order in itertools.permutations(files):
            store = icsplain.Store()
            for data in order:
                store.apply(data)
            ends.append(store.kept)
        assert all(end == ends[0] for end in ends)
        [(sequence, state, starts)] = ends[0].values()
        assert (sequence, state, starts) == (len(files) - 1, gone, "America/Denver:20261119T140000")


def test_two_readers_read_the_same_of_an_invitation(theo, mara):
    call = booked(theo, verifier=user_of(mara), job=ready_job(zone="America/New_York", language="es"), wish=Wish(TOMORROW, dt.time(12)))

    data = part_of("call_booked")

    read: Any = Calendar.from_ical(data).walk("VEVENT")[0]
    [plain] = icsplain.events(data)
    assert plain["UID"][1] == str(read["UID"])
    assert plain["DTSTART"] == ({"TZID": "America/New_York"}, "20261119T120000")
    assert read["DTSTART"].dt == call.local_start
    assert plain["DTEND"][1] == f"{read['DTEND'].dt:%Y%m%dT%H%M%S}" == "20261119T124500"
    for name in ("SUMMARY", "DESCRIPTION", "LOCATION"):
        assert icsplain.text(plain[name][1]) == str(read[name])
    # RFC 5545, 3.6.5: a VTIMEZONE for each TZID, whose newest rule gives the offset of that day (New York in winter, -05:00).
    zones = [value for name, _, value in icsplain.content_lines(data) if name == "TZID"]
    assert zones == ["America/New_York"]
    assert read["DTSTART"].dt.utcoffset() == dt.timedelta(hours=-5)


def test_a_verifiers_feed_holds_the_own_calls_and_nothing_that_others_may_not_read(theo, mara):
    promised = booked(theo, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(9)), confirmed=True)
    offered = booking.offer(ready_job(), verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(12)), by=theo)
    given_up = booked(theo, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(14)))
    booking.cancel(given_up, why="us", reason="the medical equipment came", by=theo)
    booked(theo, verifier=give_hours(make_user(VERIFIER, "Idris Bell")))
    token = feeds.renew_feed(user_of(mara), by=mara)

    answer = Client().get(reverse("feed", args=[token]))

    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    assert "no-store" in answer.headers["Cache-Control"]
    calendar: Any = Calendar.from_ical(answer.content)
    assert calendar["METHOD"] == icsplain.method(answer.content) == "PUBLISH"
    read = {str(event["UID"]).split("@")[0]: event for event in calendar.walk("VEVENT")}
    assert {uid: str(event["STATUS"]) for uid, event in read.items()} == {
        str(promised.uid): "CONFIRMED",
        str(offered.uid): "TENTATIVE",
        str(given_up.uid): "CANCELLED",
    }
    assert read[str(promised.uid)]["DTSTART"].dt == promised.local_start
    plain = {event["UID"][1].split("@")[0]: event for event in icsplain.events(answer.content)}
    assert int(plain[str(given_up.uid)]["SEQUENCE"][1]) == 1
    assert plain.keys() == read.keys()
    # A UID is drawn, and may hold 555.
    said = re.sub(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", "", answer.content.decode().replace("\r\n ", ""))
    assert not re.search(r"medic|gate|Guadalupe|Sawmill|555|equipment", said, re.I)


def test_a_renewed_address_opens_and_the_one_before_does_not(theo, mara, dana):
    old = feeds.renew_feed(user_of(mara), by=mara)
    new = feeds.renew_feed(user_of(mara), by=theo)

    assert Client().get(reverse("feed", args=[new])).status_code == 200
    assert Client().get(reverse("feed", args=[old])).status_code == 404
    assert Client().get(reverse("feed", args=[new[:-1]])).status_code == 404
    assert new not in str(CalendarFeed.objects.values_list())
    user = user_of(mara)
    user.is_active = False
    user.save()
    assert Client().get(reverse("feed", args=[new])).status_code == 404


def test_a_verifier_makes_an_address_for_the_own_calendar_only(mara):
    with pytest.raises(NotAllowed, match="own calendar only"):
        feeds.renew_feed(make_user(VERIFIER, "Idris Bell"), by=mara)


def test_the_homeowner_takes_the_booked_time_as_a_file_that_is_one_entry_with_the_invitation(theo, mara):
    call = booked(theo, verifier=user_of(mara))
    mailed_part = icsplain.events(part_of("call_booked"))[0]
    token = links.token_of(SignedLink.objects.get(about=str(call.uid)))

    data = Client().get(reverse("homeowner_calendar", args=[token])).content
    offered = booking.offer(ready_job(), verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(14)), by=theo)
    nothing = Client().get(reverse("homeowner_calendar", args=[links.token_of(SignedLink.objects.get(about=str(offered.uid)))]))

    [event] = icsplain.events(data)
    assert {name: event[name] for name in ("UID", "SEQUENCE", "DTSTART", "DTEND")} == {
        name: mailed_part[name] for name in ("UID", "SEQUENCE", "DTSTART", "DTEND")
    }
    assert nothing.status_code == 404
