"""TRADE.md rows Z1-Z4: 47 CFR 64.1200(c)(1) and the IANA zones by zoneinfo, window [08:00, 21:00) local."""

from __future__ import annotations

import datetime as dt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from jobs.core.walltime import HOUSE_RULE, LEGAL_FLOOR, inside
from jobs.core.words import HOME_ZONES
from jobs.notices.quiet import next_open


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
