"""Days of a calendar in stretches."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from utilities.models import Closure


@dataclass(frozen=True)
class Stretch:
    """Days in a row of one kind."""

    first: dt.date
    last: dt.date
    kind: str


def stretches(closures: Iterable[Closure]) -> list[Stretch]:
    """Single days to stretches, in order."""
    found: list[Stretch] = []
    for closure in sorted(closures, key=lambda row: row.day):
        kind = closure.get_kind_display()
        if found and found[-1].kind == kind and closure.day - found[-1].last == dt.timedelta(days=1):
            found[-1] = Stretch(found[-1].first, closure.day, kind)
        else:
            found.append(Stretch(closure.day, closure.day, kind))
    return found
