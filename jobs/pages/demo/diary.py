"""The demo's past, lived through in order: what is written on an instant is done then, at that instant, by the real acts.

What would be done today or later is left: it has not happened yet, and the demo's people do it.
"""

from __future__ import annotations

import datetime as dt
import heapq
from collections.abc import Callable
from random import Random
from zoneinfo import ZoneInfo

from jobs.core import clock
from utilities.workdays import FEDERAL

OFFICE_ZONE = "America/Denver"
OFFICE = ZoneInfo(OFFICE_ZONE)
Step = Callable[[], object]

# By the office's clock. From ten to six a home may be called in every zone of the demo, and its day is the office's.
OPENS, MINUTES = dt.time(10), 7 * 60 + 40


class Diary:
    def __init__(self, today: dt.date) -> None:
        self.today = today
        self._steps: list[tuple[dt.datetime, int, Step]] = []
        self._count = 0

    @property
    def day(self) -> dt.date:
        """The day that is being lived through."""
        return clock.now().astimezone(OFFICE).date()

    def ago(self, days: int) -> dt.date:
        return self.today - dt.timedelta(days=days)

    def last_worked(self, days: int) -> dt.date:
        """The last day on which the office worked, so many days ago or before."""
        day = self.ago(days)
        while not FEDERAL.is_worked(day):
            day -= dt.timedelta(days=1)
        return day

    def on(self, day: dt.date, draw: Random, step: Step) -> None:
        """Do it on this day at some minute of the office's hours."""
        self.at(at_office(day, OPENS) + dt.timedelta(minutes=draw.randrange(MINUTES), seconds=draw.randrange(60)), step)

    def at(self, instant: dt.datetime, step: Step) -> None:
        heapq.heappush(self._steps, (instant, self._count, step))
        self._count += 1

    def soon(self, step: Step, *, minutes: int = 0, seconds: int = 0) -> None:
        self.at(clock.now() + dt.timedelta(minutes=minutes, seconds=seconds), step)

    def run(self) -> None:
        """Live through all that lies before today."""
        until = at_office(self.today, dt.time(0))
        while self._steps and self._steps[0][0] < until:
            instant, _, step = heapq.heappop(self._steps)
            with clock.pretend(instant):
                step()


def at_office(day: dt.date, at: dt.time) -> dt.datetime:
    return dt.datetime.combine(day, at, OFFICE).astimezone(dt.UTC)


def workday(day: dt.date) -> dt.date:
    """The day itself, or the next on which the office works."""
    return FEDERAL.next_worked(day)
