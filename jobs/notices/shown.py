"""How the office sees instants of the outbox: by the clock of the office."""

from __future__ import annotations

import datetime as dt

from jobs.core import clock, rules, walltime, words


def day_at(at: dt.datetime, zone: str) -> dt.date:
    return at.astimezone(walltime.zone_of(zone)).date()


def instant(at: dt.datetime | None) -> str:
    """ "Wed 18 Nov, 14:30"; nothing for None."""
    if at is None:
        return ""
    zone = rules.text("office_zone")
    local = at.astimezone(walltime.zone_of(zone))
    return f"{words.day_short(local.date(), today=clock.today_in(zone))}, {words.time_office(local)}"
