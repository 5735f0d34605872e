"""Limits a utility publishes: by which day on its own calendar, and how far over. Pure; days are days at the utility."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from utilities.terms import BEGINS, BUSINESS, STEPS, Limit
from utilities.workdays import WorkCalendar


@dataclass(frozen=True)
class Known:
    """A calendar and the day from which it was known."""

    known_on: dt.date
    calendar: WorkCalendar


def due_on(begun_on: dt.date, *, days: int, known: Sequence[Known]) -> dt.date:
    """The last of so many working days after `begun_on`, which is not counted.

    known: the utility's calendar as it was known over time, at least one, by day. Each newer one moves a due day that had not passed when
    it became known; a closure entered when the due day lay behind moves nothing.

    Raises ValueError if no calendar is given or days is below 1.
    """
    if not known:
        raise ValueError("A due day needs a calendar, and none was given.")
    begun_with = max((place for place, one in enumerate(known) if one.known_on <= begun_on), default=0)
    due = known[begun_with].calendar.nth_after(begun_on, days)
    for one in known[begun_with + 1 :]:
        if due < one.known_on:
            break
        due = one.calendar.nth_after(begun_on, days)
    return due


@dataclass(frozen=True)
class Standing:
    """One published limit of one request.

    due_on None: it cannot be counted yet, `why` says what is missing. over: business days (or days) past it; 0 while it is not.
    assumed: counted from the last day that an earlier limit allows, because the day itself is not on record. met_on: when it was done.
    """

    limit: Limit
    begun_on: dt.date | None
    due_on: dt.date | None
    over: int
    calendar: str
    met_on: dt.date | None = None
    assumed: bool = False
    why: str = ""

    @property
    def unit(self) -> str:
        return "business day" if self.limit.counts == BUSINESS else "day"

    @property
    def over_words(self) -> str:
        return f"{self.over} {self.unit}{'' if self.over == 1 else 's'} over" if self.over else ""


def standings(
    limits: Sequence[Limit],
    *,
    begun: Mapping[str, dt.date | None],
    met: Mapping[str, dt.date | None],
    known: Sequence[Known],
    today: dt.date,
    name: str,
) -> list[Standing]:
    """Each limit of one request, in the order of the steps.

    begun: day by what limits count from (terms.BEGINS), None where it is not on record; met: day by step on which it was done.
    known: the calendars by which its business days count. name: how that calendar is called.
    """
    order = list(STEPS)
    found: list[Standing] = []
    allowed: dict[str, dt.date] = {}  # the last day that a step may take, where it is not done
    for limit in sorted(limits, key=lambda limit: order.index(limit.step)):
        calendar = name if limit.counts == BUSINESS else "all days of the calendar"
        done = met.get(limit.step)
        begun_on, assumed = begun.get(limit.begins), False
        if begun_on is None and limit.begins == "complete" and "complete" in allowed:
            begun_on, assumed = allowed["complete"], True
        if limit.days is None:
            found.append(Standing(limit, begun_on, None, 0, calendar, done, why="it names no number of days"))
            continue
        if begun_on is None:
            found.append(Standing(limit, None, None, 0, calendar, done, why=f"{_day_of(limit)} is not on record"))
            continue
        due = _due(limit, begun_on, known)
        allowed[limit.step] = done or due
        last = min(done or today, today)
        over = _over(limit, due, last, known)
        found.append(Standing(limit, begun_on, due, over, calendar, done, assumed))
    return found


def _day_of(limit: Limit) -> str:
    return BEGINS[limit.begins]


def _due(limit: Limit, begun_on: dt.date, known: Sequence[Known]) -> dt.date:
    assert limit.days is not None
    if limit.counts == BUSINESS:
        return due_on(begun_on, days=limit.days, known=known)
    return begun_on + dt.timedelta(days=limit.days)


def _over(limit: Limit, due: dt.date, last: dt.date, known: Sequence[Known]) -> int:
    if last <= due:
        return 0
    return known[-1].calendar.elapsed(due, last) if limit.counts == BUSINESS else (last - due).days
