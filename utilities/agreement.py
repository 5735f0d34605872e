"""What several sources say of one fitting, held against each other: the days on which all agree, and where they do not. Pure."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Report:
    """One word about a fitting. It lies in (after, by]; after None: since ever. serial: empty where none was told."""

    source: str
    by: dt.date
    after: dt.date | None = None
    serial: str = ""


@dataclass(frozen=True)
class Agreed:
    """after, by: the days that no report contradicts; None where two contradict each other, and then `conflicts` says which."""

    after: dt.date | None
    by: dt.date | None
    serial: str
    conflicts: tuple[str, ...]


def agree(
    reports: Sequence[Report], *, registered: str, not_fitted_on: dt.date | None, sent_on: dt.date, day: str = "{:%Y-%m-%d}"
) -> Agreed:
    """Reports of one request, at least one.

    registered: the home's collar; not_fitted_on: the last day on which a visit saw none. day: how a day is written in a conflict.
    Raises ValueError without a report.
    """
    if not reports:
        raise ValueError("Nobody has reported a fitting.")
    say = day.format
    conflicts = []
    floor = max(not_fitted_on or sent_on, sent_on)
    after = max([floor, *(report.after for report in reports if report.after is not None)])
    by = min(report.by for report in reports)
    for one in reports:
        if not_fitted_on is not None and one.by <= not_fitted_on:
            conflicts.append(f"The {one.source} says fitted by {say(one.by)}; a visit of {say(not_fitted_on)} found none.")
        elif one.by < sent_on:
            conflicts.append(f"The {one.source} says fitted by {say(one.by)}, before the request was sent on {say(sent_on)}.")
    for place, one in enumerate(reports):
        for other in reports[place + 1 :]:
            first, second = (one, other) if one.by <= other.by else (other, one)
            if second.after is not None and first.by <= second.after:
                conflicts.append(f"The {first.source} says fitted by {say(first.by)}, the {second.source} not yet on {say(second.after)}.")
            if one.serial and other.serial and one.serial != other.serial:
                conflicts.append(f"The {one.source} gives serial {one.serial}, the {other.source} {other.serial}.")
    serials = {report.serial for report in reports if report.serial}
    if registered and (wrong := sorted(serials - {registered})):
        conflicts.append(f"Serial {wrong[0]} was reported; {registered} is registered for this home.")
    serial = serials.pop() if len(serials) == 1 else ""
    if conflicts and after >= by:
        return Agreed(None, None, serial, tuple(dict.fromkeys(conflicts)))
    return Agreed(after if after < by else None, by, serial, tuple(dict.fromkeys(conflicts)))
