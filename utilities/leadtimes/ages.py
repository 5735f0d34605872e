"""From dates to ages: what each row tells at the end of the as-of day, in working days waited."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Self

import numpy as np

from .calendars import Calendars
from .history import FITTED, NO_DAY, Days, Flags, Floats, History, Rows, ended, known


@dataclass(frozen=True)
class Waits:
    """Waits seen up to an as-of day; arrays (n,). Ages are working days after the filing day.

    entry: age from which the row was watched, 0 if from the start. end: age at its outcome or on the as-of day.
    low: a fitting happened at an age in (low, end]; low = end - 1 if its day is known.
    A row is watched at the ages entry + 1 ... end; for a fitting entry <= low < end.
    filed: day number; start: running count of the utility's working days on it (an age plus this is a running count again).
    until: day of the outcome, or the as-of day. weight: 1, less where a bracketed fitting is shared out over several rows.
    dropped: rows left out because they had ended before anybody watched them.
    """

    utility: Days
    district: Days
    filed: Days
    start: Days
    entry: Days
    low: Days
    end: Days
    until: Days
    fitted: Flags
    weight: Floats
    dropped: int

    def rows(self, chosen: Rows | Flags) -> Self:
        each = {field.name: getattr(self, field.name)[chosen] for field in fields(self) if field.name != "dropped"}
        return type(self)(**each, dropped=self.dropped)

    def followed_by(self, other: Self) -> Self:
        columns = [field.name for field in fields(self) if field.name != "dropped"]
        each = {name: np.concatenate([getattr(self, name), getattr(other, name)]) for name in columns}
        return type(self)(**each, dropped=self.dropped)


def waits_seen(history: History, calendars: Calendars, as_of: int) -> Waits:
    """Rebuild from dates what was known at the end of the as-of day; later outcomes are not looked at.

    A fitting on a closed day counts at the age of the working day before it, at least 1. A row known only from a later day is
    watched from the age it had the evening before. A cancellation ends the watching on its day, without a fitting.
    """
    seen = known(history, as_of)
    done = ended(history, as_of)
    late_import = history.known_from != NO_DAY
    told_nothing = seen & done & late_import & (history.by < history.known_from)
    history, done, late_import = (
        history.rows(seen & ~told_nothing),
        done[seen & ~told_nothing],
        late_import[seen & ~told_nothing],
    )

    utility = history.utility
    start = calendars.count(utility, history.filed)

    def age(day: Days) -> Days:
        # A day before the filing (a bracket's or an import's) is age 0 as well.
        return calendars.count(utility, np.maximum(day, history.filed)) - start

    fitted = done & (history.outcome == FITTED)
    until = np.where(done, history.by, as_of).astype(np.int32)
    end = age(until)
    end = np.where(fitted, np.maximum(end, 1), end)
    # known_from on a closed day can make entry equal to the age of a fitting on that day: it was watched for that last day.
    entry = age(np.where(late_import, history.known_from - 1, history.filed).astype(np.int32))
    entry = np.minimum(entry, end - fitted)

    bracketed = fitted & (history.after != NO_DAY)
    low = np.where(bracketed, age(np.where(bracketed, history.after, history.filed).astype(np.int32)), end - 1)
    low = np.minimum(np.maximum(low, entry), end - 1)

    return Waits(
        utility=utility,
        district=history.district,
        filed=history.filed,
        start=start,
        entry=entry.astype(np.int32),
        low=low.astype(np.int32),
        end=end.astype(np.int32),
        until=until,
        fitted=fitted,
        weight=np.ones(len(history)),
        dropped=int(np.count_nonzero(told_nothing)),
    )
