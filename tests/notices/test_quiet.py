"""TRADE.md rows Z1-Z5: 47 CFR 64.1200(c)(1) and the IANA zones by zoneinfo, window [08:00, 21:00) local."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.core import clock
from jobs.core.refusals import Refused
from jobs.core.walltime import HOUSE_RULE, LEGAL_FLOOR, inside
from jobs.core.words import HOME_ZONES
from jobs.notices import outbox
from jobs.notices.models import Message
from jobs.notices.quiet import next_open, window_on
from jobs.notices.statehours import STATES
from tests.make import SYSTEM
from tests.notices.make import removed


def at(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text.replace("Z", "+00:00"))


@pytest.mark.parametrize(
    ("instant", "zone", "leaves"),
    [
        # Z1
        ("2026-07-15T15:00Z", "America/New_York", "2026-07-15T15:00Z"),
        ("2026-07-15T15:00Z", "America/Phoenix", "2026-07-15T15:00Z"),
        ("2026-07-15T15:00Z", "Pacific/Honolulu", "2026-07-15T18:00Z"),  # 05:00 there, opens at 08:00
        # Z2
        ("2026-01-15T15:00Z", "America/Denver", "2026-01-15T15:00Z"),
        ("2026-01-15T15:00Z", "America/Los_Angeles", "2026-01-15T16:00Z"),  # 07:00 there
        # Z3
        ("2026-07-15T14:59Z", "America/Phoenix", "2026-07-15T15:00Z"),
        # Z4
        ("2026-07-16T04:00Z", "America/Los_Angeles", "2026-07-16T15:00Z"),  # 21:00 there, the next morning
        ("2026-07-16T04:00Z", "America/Denver", "2026-07-16T14:00Z"),
        ("2026-07-16T04:00Z", "Pacific/Honolulu", "2026-07-16T04:00Z"),
    ],
)
def test_a_message_leaves_at_once_or_at_the_next_opening_at_the_site(instant, zone, leaves):
    assert next_open(at(instant), zone=zone, quiet=LEGAL_FLOOR) == at(leaves)


def test_over_a_change_of_clocks_the_opening_is_the_wall_clock_s():
    # 15 U.S.C. 260a: in 2026 clocks go forward on 8 March; 20:30 MST on the 7th to 09:00 MDT on the 8th.
    assert next_open(at("2026-03-08T03:30Z"), zone="America/Denver", quiet=HOUSE_RULE) == at("2026-03-08T15:00Z")


@settings(deadline=None)  # other work on the machine may slow any one example
@given(st.integers(0, 3 * 365 * 24 * 60), st.sampled_from(HOME_ZONES))
def test_the_next_opening_is_open_not_earlier_and_within_a_day(minutes, zone):
    instant = at("2026-01-01T00:00Z") + dt.timedelta(minutes=minutes)
    opens = next_open(instant, zone=zone, quiet=HOUSE_RULE)

    assert inside(opens, zone=zone, quiet=HOUSE_RULE)
    assert dt.timedelta() <= opens - instant <= dt.timedelta(hours=14)  # 20:00 to 09:00, and an hour when clocks go back


# The states' own hours


@pytest.mark.parametrize(
    ("instant", "region", "zone", "leaves"),
    [
        # A Sunday, 22 November 2026, ten in the morning at the home: none in these states until Monday; Texas from noon.
        ("2026-11-22T16:00Z", "MS", "America/Chicago", "2026-11-23T15:00Z"),
        ("2026-11-22T16:00Z", "TX", "America/Chicago", "2026-11-22T18:00Z"),
        ("2026-11-22T17:00Z", "CO", "America/Denver", "2026-11-22T17:00Z"),
        # Saturday evening in Rhode Island, after 17:00: until Monday at nine.
        ("2026-11-21T22:30Z", "RI", "America/New_York", "2026-11-23T14:00Z"),
        ("2026-11-20T22:30Z", "RI", "America/New_York", "2026-11-20T22:30Z"),
        # Nine in the morning in Kentucky, an hour early there; in lower case too.
        ("2026-11-18T14:00Z", "ky", "America/New_York", "2026-11-18T15:00Z"),
        # Into a Sunday on which the clocks go back, 1 November 2026 (15 U.S.C. 260a): Monday at nine, by the new clock.
        ("2026-11-01T02:00Z", "LA", "America/Chicago", "2026-11-02T15:00Z"),
    ],
)
def test_a_state_s_narrower_hours_hold_a_message_too(instant, region, zone, leaves):
    assert next_open(at(instant), zone=zone, quiet=HOUSE_RULE, region=region) == at(leaves)


def test_a_state_narrows_the_house_rule_and_never_widens_it():
    for region in STATES:
        for days in range(7):
            window = window_on(dt.date(2026, 11, 16) + dt.timedelta(days=days), quiet=HOUSE_RULE, region=region)
            assert window is None or (HOUSE_RULE.opens <= window[0] < window[1] <= HOUSE_RULE.closes)


def test_each_state_s_row_says_where_it_is_from_and_stays_inside_the_federal_hours():
    for region, state in STATES.items():
        assert len(region) == 2
        assert state.source
        for window in (state.weekdays, state.saturday, state.sunday):
            assert window is None or (LEGAL_FLOOR.opens <= window[0] < window[1] <= LEGAL_FLOOR.closes)


def test_row_z5_the_hours_that_all_fifty_states_share():
    # 8 a.m. in Honolulu to 9 p.m. in New York: 18:00Z-01:00Z in July, 18:00Z-02:00Z in January.
    for day, closes in (("2026-07-15", "2026-07-16T01:00Z"), ("2026-01-15", "2026-01-16T02:00Z")):
        opens = at(f"{day}T18:00Z")
        for zone in ("Pacific/Honolulu", "America/New_York"):
            assert inside(opens, zone=zone, quiet=LEGAL_FLOOR)
            assert inside(at(closes) - dt.timedelta(minutes=1), zone=zone, quiet=LEGAL_FLOOR)
        assert not inside(opens - dt.timedelta(minutes=1), zone="Pacific/Honolulu", quiet=LEGAL_FLOOR)
        assert not inside(at(closes), zone="America/New_York", quiet=LEGAL_FLOOR)


# In an emergency

NIGHT = dt.datetime(2026, 11, 19, 10, 0, tzinfo=dt.UTC)  # three in the morning at the home


@pytest.mark.django_db
def test_in_an_emergency_a_named_person_lets_a_message_leave_at_night_and_it_says_who_and_why(theo):
    message = removed()
    with time_machine.travel(NIGHT):
        outbox.release(message, by=theo)
        held = outbox.release_at_once(message, why="the house is without power", by=theo)

        assert held.at_once_why == "the house is without power (Theo Lindgren)"
        assert outbox.claim(message.pk) is not None


@pytest.mark.django_db
def test_no_rule_lets_a_message_leave_at_night_and_nobody_without_a_reason(theo):
    message = removed()
    with pytest.raises(Refused, match="by name"):
        outbox.release_at_once(message, why="the house is without power", by=SYSTEM)
    with pytest.raises(Refused, match="Say what the emergency is"):
        outbox.release_at_once(message, why=" ", by=theo)
    with time_machine.travel(NIGHT):
        message = outbox.release(message, by=theo)
    with time_machine.travel(NIGHT + dt.timedelta(minutes=2)):
        assert outbox.claim(message.pk) is None

    message.refresh_from_db()
    assert message.due_at == dt.datetime(2026, 11, 19, 16, 0, tzinfo=dt.UTC)  # nine in the morning there
    assert message.reason == "Held until quiet hours at the home are over."


@pytest.mark.django_db
def test_a_message_taken_back_forgets_that_it_was_an_emergency(theo):
    message = removed()
    outbox.release_at_once(message, why="the house is without power", by=theo)
    Message.objects.filter(pk=message.pk).update(due_at=clock.now() + dt.timedelta(seconds=30))

    taken_back = outbox.take_back(message, by=theo)

    assert (taken_back.state, taken_back.at_once_why) == ("owed", "")
