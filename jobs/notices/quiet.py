"""When a message to a home may leave: pure. Which hours, and their floor in law: jobs.core.walltime; narrower states: statehours."""

from __future__ import annotations

import datetime as dt

from jobs.core import walltime
from jobs.notices.statehours import STATES, Window

# No state closes two whole days running.
LOOKED_AT = 4


def next_open(at: dt.datetime, *, zone: str, quiet: walltime.QuietHours, region: str = "") -> dt.datetime:
    """The instant itself where the home may be written to, else the next opening, in UTC.

    at: aware. zone: the site's IANA name, never one guessed from a telephone number; raises ValueError for an unknown one.
    region: the site's state, "RI", whose own hours narrow those of the house.
    """
    local = walltime.aware(at).astimezone(walltime.zone_of(zone))
    for days in range(LOOKED_AT):
        day = local.date() + dt.timedelta(days=days)
        window = window_on(day, quiet=quiet, region=region)
        if window is None:
            continue
        opens, closes = window
        if days == 0 and local.time() >= closes:
            continue
        if days == 0 and local.time() >= opens:
            return at
        # Clocks in the United States change before 3 a.m.; fold 0 is for zones where an opening at 8 or later could come twice.
        return walltime.instant(day, local_time=opens, zone=zone, fold=0)
    raise ValueError(f"No hours are open in {region or zone} within {LOOKED_AT} days.")


def window_on(day: dt.date, *, quiet: walltime.QuietHours, region: str = "") -> Window | None:
    """The hours of one day at the home: those of the house, narrowed by the state's; None where nothing is left."""
    opens, closes = quiet.opens, quiet.closes
    state = STATES.get(region.upper())
    if state is not None:
        window = state.on(day)
        if window is None:
            return None
        opens, closes = max(opens, window[0]), min(closes, window[1])
    return (opens, closes) if opens < closes else None
