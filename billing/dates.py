"""Days of the office, by which all money is dated."""

from __future__ import annotations

import datetime as dt

from jobs.core import rules, walltime


def office_day(at: dt.datetime) -> dt.date:
    return at.astimezone(walltime.zone_of(rules.text("office_zone"))).date()
