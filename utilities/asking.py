"""When a utility's desk is to be asked about a request, and why; and when it may be asked at all. Pure.

Four reasons (TRADE.md C3): a day it named has passed; it never said that the request came in; the day by which half of such requests are
fitted has passed, as it was first said; nothing was heard for as long as the rule says. Any answer, "nothing new" too, begins the count
anew. Between two askings of one desk lie so many of its working days, whoever asks and whatever home it is about.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Final

from utilities.workdays import WorkCalendar

PROMISE: Final = "the day it named has passed"
UNACKNOWLEDGED: Final = "no word that the request came in"
FORECAST: Final = "later than half of such requests"
VISITED: Final = "a visit came and fitted nothing"
QUIET: Final = "nothing heard since"
AGAIN: Final = "the day to ask again"
REASONS: Final = (PROMISE, UNACKNOWLEDGED, VISITED, FORECAST, AGAIN, QUIET)  # of several that hold, the first is said


@dataclass(frozen=True)
class Wait:
    """One open request. Days are days at the utility.

    due_on: when its home's next act falls due, which is to ask (`jobs.core.waiting`); begin_on: of a home that was brought in, the day
    from which it is followed; half_on: of the first forecast said of it; heard_on: the last answer of the desk; asked_on: the last asking;
    visited_on: the last visit of which something came; promised_by, next_on: as the last answer says.
    """

    filed_on: dt.date
    due_on: dt.date | None
    begin_on: dt.date | None = None
    acknowledged_on: dt.date | None = None
    heard_on: dt.date | None = None
    asked_on: dt.date | None = None
    promised_by: dt.date | None = None
    next_on: dt.date | None = None
    half_on: dt.date | None = None
    visited_on: dt.date | None = None


@dataclass(frozen=True)
class Due:
    reason: str
    since: dt.date


def due(wait: Wait, *, today: dt.date, calendar: WorkCalendar, acknowledge_days: int) -> Due | None:
    """Why the desk is to be asked about it today, and since when; None where nothing is due.

    acknowledge_days: of the utility's working days; the day after the last of them is the first on which it is due.
    """
    visited = wait.visited_on is not None and (wait.heard_on is None or wait.visited_on >= wait.heard_on)
    promised = wait.promised_by
    if promised is not None and wait.visited_on is not None and wait.visited_on >= promised:
        promised = None  # a visit has answered it, whatever came of it
    fallen = wait.due_on is not None and wait.due_on <= today
    if not fallen and ((promised is not None and promised >= today) or (wait.next_on is not None and wait.next_on > today)):
        return None
    if fallen and wait.due_on is not None and promised is not None and promised <= today:
        # On the day itself the utility may still come.
        return Due(PROMISE, max(promised + dt.timedelta(days=1), wait.due_on)) if promised < today else None
    if visited:
        # What it leads to falls due by the visit's own day.
        return Due(VISITED, wait.due_on) if fallen and wait.due_on is not None else None
    if wait.acknowledged_on is None and wait.heard_on is None:
        begun = max(day for day in (wait.filed_on, wait.begin_on, wait.asked_on) if day is not None)
        # Counted only where it can have come: most waits are long.
        if (today - begun).days > acknowledge_days and (first := calendar.nth_after(begun, acknowledge_days + 1)) <= today:
            return Due(UNACKNOWLEDGED, first)
    touched = [day for day in (wait.heard_on, wait.asked_on) if day is not None]
    if wait.half_on is not None and wait.half_on < today and all(day <= wait.half_on for day in touched):
        return Due(FORECAST, wait.half_on + dt.timedelta(days=1))
    if fallen and wait.due_on is not None:
        return Due(AGAIN if wait.due_on == wait.next_on else QUIET, wait.due_on)
    return None


def may_ask_from(last_asked: dt.date | None, *, today: dt.date, calendar: WorkCalendar, gap_days: int) -> dt.date:
    """The first day from today on which the desk may be asked. One that is being asked today may be asked on: the call is not over.

    gap_days: of its working days between one asking and the next, so that 3 leads from a Monday to the Thursday.
    """
    if last_asked is None or last_asked >= today or gap_days < 1:
        return calendar.next_worked(today)
    return calendar.next_worked(max(today, calendar.nth_after(last_asked, gap_days)))
