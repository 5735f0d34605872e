"""What the sightings of an island test prove. Pure.

Verified needs two things at the same moment: the home disconnected from the utility, and its load served. Either alone proves nothing
(a battery that discharges while still connected; an open device with nothing running). The limits are common practice, no published source.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

MID_OPEN: Final = "mid_open"
UTILITY_POWER: Final = "utility_power"
LOAD_SERVED: Final = "load_served"
LOAD_LOST: Final = "load_lost"
MID_CLOSED: Final = "mid_closed"
NOT_RETURNED: Final = "not_returned"

ZERO_W: Final = 30  # utility power of at most this, either way, is shown by displays that mean none
SERVED_PERCENT: Final = 80  # of the load noted before; less means that some of it went off


@dataclass(frozen=True, slots=True)
class Sighting:
    """Something seen at an instant. `order` tells two of the same instant apart; `watts` where the kind has them."""

    what: str
    at: dt.datetime
    watts: int | None = None
    order: int = 0


@dataclass(frozen=True, slots=True)
class Interval:
    starts_at: dt.datetime
    ends_at: dt.datetime

    @property
    def seconds(self) -> float:
        return (self.ends_at - self.starts_at).total_seconds()


@dataclass(frozen=True, slots=True)
class Evidence:
    """disconnected and served as they were seen, and the longest stretch in which they were seen together, or None."""

    disconnected: tuple[Interval, ...]
    served: tuple[Interval, ...]
    overlap: Interval | None
    islanded_since: dt.datetime | None  # the MID was reported open and has not been seen closed since

    @property
    def missing(self) -> str:
        """What keeps the test from being passed; empty when nothing does."""
        if not self.disconnected:
            return "disconnected was not seen: the MID reported open and no utility power"
        if not self.served:
            return "the load was not seen served while the MID was open"
        if self.overlap is None:
            return "disconnected and load served were not seen at the same moment"
        return "the return to the utility source was not seen" if self.islanded_since else ""


def evidence(sightings: Iterable[Sighting], *, load_before_w: int | None, until: dt.datetime) -> Evidence:
    """What these sightings prove by `until`.

    load_before_w: the load noted before the test; without one, nothing counts as served.

    Disconnected begins when the MID was reported open *and* utility power was seen within 30 W of zero, and ends at the first sighting
    of utility power beyond that, or of the MID closed. Load served reaches from the first to the last sighting of enough load, in one
    period with the MID open, without a loss between. They overlap only where a sighting of enough load lies inside a disconnected
    stretch: load seen before the MID opened and after it closed says nothing of the time between.
    """
    seen = sorted(sightings, key=lambda sighting: (sighting.at, sighting.order))
    # Half-open like the others: what was seen at the very end still counts.
    end_at = max([until, *(sighting.at for sighting in seen)]) + dt.timedelta(microseconds=1)
    ends = [*(sighting.at for sighting in seen), end_at]
    stretches = [((first, last), Interval(seen[first].at, ends[last])) for first, last in _disconnected(seen)]
    runs = [(run, Interval(seen[run[0]].at, seen[run[-1]].at)) for run in _runs(seen, load_before_w)]
    # By place and not by instant alone: of two sightings of one instant the order tells which was first.
    together = [
        Interval(max(stretch.starts_at, served.starts_at), min(stretch.ends_at, served.ends_at))
        for (first, last), stretch in stretches
        for run, served in runs
        if any(first <= place < last for place in run)
    ]
    return Evidence(
        disconnected=tuple(stretch for _, stretch in stretches),
        served=tuple(served for _, served in runs),
        overlap=max(together, key=lambda interval: interval.seconds, default=None),
        islanded_since=_islanded(seen),
    )


def is_served(watts: int | None, *, load_before_w: int | None) -> bool:
    return watts is not None and load_before_w is not None and load_before_w > 0 and watts * 100 >= load_before_w * SERVED_PERCENT


def _disconnected(seen: Sequence[Sighting]) -> Iterator[tuple[int, int]]:
    """Each stretch as places in `seen`, [first, last); the last is beyond the end where it has not ended."""
    is_open = is_zero = False
    since: int | None = None
    for place, sighting in enumerate(seen):
        if sighting.what == MID_OPEN:
            # Utility power seen before the MID opened says nothing about the time after.
            is_zero = is_zero and is_open
            is_open = True
        elif sighting.what == MID_CLOSED:
            is_open = is_zero = False
        elif sighting.what == UTILITY_POWER:
            is_zero = sighting.watts is not None and abs(sighting.watts) <= ZERO_W
        if is_open and is_zero and since is None:
            since = place
        elif since is not None and not (is_open and is_zero):
            yield since, place
            since = None
    if since is not None:
        yield since, len(seen)


def _runs(seen: Sequence[Sighting], load_before_w: int | None) -> Iterator[list[int]]:
    """Places in `seen` at which enough load was seen, one list for each unbroken run with the MID open."""
    is_open, run = False, list[int]()
    for place, sighting in enumerate(seen):
        if sighting.what == LOAD_SERVED and is_open and is_served(sighting.watts, load_before_w=load_before_w):
            run.append(place)
        elif sighting.what in (LOAD_SERVED, LOAD_LOST, MID_OPEN, MID_CLOSED):
            if run:
                yield run
            run = []
            is_open = sighting.what == MID_OPEN or (is_open and sighting.what != MID_CLOSED)
    if run:
        yield run


def _islanded(seen: Sequence[Sighting]) -> dt.datetime | None:
    since: dt.datetime | None = None
    for sighting in seen:
        if sighting.what == MID_OPEN:
            since = since or sighting.at
        elif sighting.what == MID_CLOSED:
            since = None
    return since
