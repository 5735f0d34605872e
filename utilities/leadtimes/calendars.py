"""Working days of each utility, as a running count."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt

from .history import Days, Flags, History, Rows

HORIZON = 1095  # calendar days that a forecast looks ahead


@dataclass(frozen=True)
class Calendars:
    """Running count of working days per utility, from day `first` on.

    counts: (calendars, days + 1), counts[c, j] = working days in [first, first + j). Utilities with the same days share one row.
    row: (utilities,) row of `counts` of each utility.
    """

    first: int
    counts: Days
    row: Rows

    @classmethod
    def of(cls, worked: Sequence[Flags], first: int) -> Self:
        """worked: for each utility (days,) bool, whether it works on first, first + 1, ...; all of one length."""
        rows: dict[bytes, int] = {}
        distinct: list[Flags] = []
        row = np.empty(len(worked), dtype=np.intp)
        for utility, days in enumerate(worked):
            key = np.packbits(days).tobytes()
            if key not in rows:
                rows[key] = len(distinct)
                distinct.append(days)
            row[utility] = rows[key]
        days_each = {days.size for days in worked}
        if len(days_each) > 1:
            raise ValueError("The calendars of all utilities must cover the same days.")
        counts = np.zeros((len(distinct), 1 + sum(days_each)), dtype=np.int32)
        for place, days in enumerate(distinct):
            np.cumsum(days, out=counts[place, 1:])
        return cls(first=first, counts=counts, row=row)

    @property
    def utilities(self) -> int:
        return int(self.row.size)

    @property
    def last(self) -> int:
        return self.first + int(self.counts.shape[1]) - 2

    def count(self, utility: npt.NDArray[np.integer], day: npt.NDArray[np.integer] | int) -> Days:
        """W: working days of each utility from `first` up to and including the day. utility (n,), day (n,) or one day."""
        row, column = np.broadcast_arrays(self.row[utility], np.asarray(day) - self.first + 1)
        if column.size and (column.min() < 0 or column.max() >= self.counts.shape[1]):
            raise ValueError("A day lies outside the calendars. Build them with the span of the history.")
        counted: Days = self.counts[row, column]
        return counted

    def worked_days(self, utility: int) -> Days:
        """Numbers of the days that one utility works, in order: number W(day) - 1 in it is the last one up to the day."""
        return (np.flatnonzero(np.diff(self.counts[self.row[utility]])) + self.first).astype(np.int32)

    def check(self, as_of: int, utility: npt.NDArray[np.integer]) -> None:
        if utility.size and utility.max() >= self.utilities:
            raise ValueError(f"Utility {int(utility.max())} has no calendar. Give one for every utility.")
        if self.utilities and not (self.first - 1 <= as_of and as_of + HORIZON <= self.last):
            raise ValueError(f"The calendars must reach {HORIZON} days beyond the as-of day. Build them with the span of the history.")


def span(history: History, as_of: int) -> tuple[int, int]:
    """First and last day that the calendars of a forecast must cover, both included."""
    first = min(int(history.filed.min()), as_of) if len(history) else as_of
    return first, as_of + HORIZON
