"""Parts of the method that can be left out one at a time, to see what each is worth. Whoever forecasts uses all of them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Parts:
    """Each True; False leaves it out.

    open_requests: time waited so far by those not fitted, in the counts; without it the finished waits alone. borrowing: requests lent
    by the pool; without it the pool speaks only where a utility has no counts. own_scale: the pool's curve on each utility's own time
    scale. memories: several half-lives; without it the longest alone. record: candidates judged by what they foretold.
    textbook: smooth curves under the pool. district, pace, fronts: as they are called. readings: a record that is the mean of two, even
    and in batches; without it fittings are taken to come evenly.

    Working days have no switch: give calendars that work every day.
    """

    open_requests: bool = True
    borrowing: bool = True
    own_scale: bool = True
    memories: bool = True
    record: bool = True
    textbook: bool = True
    district: bool = True
    pace: bool = True
    fronts: bool = True
    readings: bool = True


WHOLE = Parts()
