"""When a message to a home may leave: pure. Which hours, and their floor in law: jobs.core.walltime."""

from __future__ import annotations

import datetime as dt

from jobs.core import walltime


def next_open(at: dt.datetime, *, zone: str, quiet: walltime.QuietHours) -> dt.datetime:
    """The instant itself where the home may be written to, else the next opening, in UTC.

    at: aware. zone: the site's IANA name, never one guessed from a telephone number; raises ValueError for an unknown one.
    """
    if walltime.inside(at, zone=zone, quiet=quiet):
        return at
    local = at.astimezone(walltime.zone_of(zone))
    day = local.date() if local.time() < quiet.opens else local.date() + dt.timedelta(days=1)
    # Clocks in the United States change before 3 a.m.; fold 0 is for zones where an opening at 8 or later could come twice.
    return walltime.instant(day, local_time=quiet.opens, zone=zone, fold=0)
