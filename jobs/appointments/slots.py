"""Bookable times: a verifier's own grid, inside the hours in which a home may be called. Pure.

A time is worked out as an instant and only then said by the clock at the home: a wall time that does not exist cannot come out, and
one that comes twice carries its fold. Sources: 47 CFR 64.1200(c)(1) for the legal floor; PEP 495 for wall times that come twice or not at
all.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Final, Protocol
from zoneinfo import ZoneInfo

from jobs.core.walltime import HOUSE_RULE, LEGAL_FLOOR, QuietHours, aware, inside, instant, whole_call_inside, zone_of
from jobs.notices.quiet import window_on

__all__ = [
    "BUFFER",
    "CALL",
    "HOUSE_RULE",
    "LEGAL_FLOOR",
    "PLACE",
    "QuietHours",
    "Slot",
    "Taken",
    "TimeOff",
    "WeeklyHours",
    "at_home",
    "free_places",
    "free_slots",
    "inside",
    "instant",
    "whole_call_inside",
]

PLACE: Final = timedelta(minutes=60)
BUFFER: Final = timedelta(minutes=15)  # after the call, at the end of its last place: for the record, and for a call that runs over
CALL: Final = PLACE - BUFFER


class Span(Protocol):
    """A half-open stretch of time, aware."""

    @property
    def starts_at(self) -> datetime: ...

    @property
    def ends_at(self) -> datetime: ...


@dataclass(frozen=True, slots=True)
class WeeklyHours:
    """Hours on one weekday (Monday is 0), by the wall clock where the verifier works."""

    weekday: int
    start: time
    end: time

    def __post_init__(self) -> None:
        if not 0 <= self.weekday <= 6:
            raise ValueError(f"{self.weekday} is not a weekday: 0 (Monday) to 6 (Sunday) is wanted.")
        if self.start >= self.end:
            raise ValueError(f"Hours from {self.start:%H:%M} to {self.end:%H:%M} leave no time: a later end is wanted.")


@dataclass(frozen=True, slots=True)
class TimeOff:
    starts_at: datetime
    ends_at: datetime

    def __post_init__(self) -> None:
        _check_span(self)


@dataclass(frozen=True, slots=True)
class Taken:
    """Time that something else of the same verifier takes, its buffer with it."""

    starts_at: datetime
    ends_at: datetime

    def __post_init__(self) -> None:
        _check_span(self)


@dataclass(frozen=True, slots=True, order=True)
class Slot:
    """A bookable time. `starts_at` and `ends_at` (UTC) are the places it takes, buffer included; the call ends at `call_ends_at`.

    `local_date`, `local_time`, `fold` are what the clock at the site shows at the start, in `zone`.
    """

    starts_at: datetime
    ends_at: datetime
    local_date: date = field(compare=False)
    local_time: time = field(compare=False)
    zone: str = field(compare=False)
    fold: int = field(compare=False)

    @property
    def call_ends_at(self) -> datetime:
        return self.ends_at - BUFFER


def free_slots(
    hours: Sequence[WeeklyHours],
    *,
    verifier_zone: str,
    time_off: Iterable[TimeOff],
    taken: Iterable[Taken],
    site_zone: str,
    quiet: QuietHours,
    first_at: datetime,
    last_day: date,
    places: int = 1,
    region: str = "",
    closed: Collection[date] = (),
) -> list[Slot]:
    """The times at which this verifier can call this site, in order.

    hours: the verifier's week; where hours of a day touch or overlap they are one stretch, and a stretch begins its own grid.
    first_at: no call begins before it. last_day: the last day, at the site, on which a call may begin.
    places: neighbouring places of 60 minutes that the call takes; all of it but the last 15 minutes lies inside `quiet`.
    region: the site's state, whose own hours narrow `quiet`. closed: days, by the verifier's clock, on which nobody calls.
    """
    starts = free_places(
        hours,
        verifier_zone=verifier_zone,
        time_off=time_off,
        taken=taken,
        first_at=first_at,
        # A day more: where the verifier is further east, the site's last day goes on into the next one there.
        last_day=last_day + timedelta(days=1),
        places=places,
        closed=closed,
    )
    found = (at_home(starts_at, places=places, zone=site_zone, quiet=quiet, region=region) for starts_at in starts)
    return [slot for slot in found if slot is not None and slot.local_date <= last_day]


def free_places(
    hours: Sequence[WeeklyHours],
    *,
    verifier_zone: str,
    time_off: Iterable[TimeOff],
    taken: Iterable[Taken],
    first_at: datetime,
    last_day: date,
    places: int = 1,
    closed: Collection[date] = (),
) -> list[datetime]:
    """When, in UTC and in order, this verifier has so many neighbouring places free, whatever home is called.

    last_day: the last day by the verifier's clock.
    """
    if places < 1:
        raise ValueError(f"A call of {places} places cannot be booked: at least one place is wanted.")
    here = zone_of(verifier_zone)
    first_at = aware(first_at).astimezone(UTC)
    blocked: list[Span] = [*time_off, *taken]
    length = places * PLACE
    found = []
    day = first_at.astimezone(here).date()
    while day <= last_day:
        if day not in closed:
            for opens_at, closes_at in _stretches(day, hours, zone=here):
                for starts_at in _grid(opens_at, closes_at, length=length):
                    busy = any(span.starts_at < starts_at + length and starts_at < span.ends_at for span in blocked)
                    if starts_at >= first_at and not busy:
                        found.append(starts_at)
        day += timedelta(days=1)
    return sorted(set(found))


def at_home(starts_at: datetime, *, places: int, zone: str, quiet: QuietHours, region: str = "") -> Slot | None:
    """This start as the clock at the site shows it; None where the call would leave the hours of that day there."""
    slot = _slot(starts_at, places=places, zone=zone, there=zone_of(zone))
    window = window_on(slot.local_date, quiet=quiet, region=region)
    if window is None or not whole_call_inside(starts_at, ends_at=slot.call_ends_at, zone=zone, quiet=QuietHours(*window)):
        return None
    return slot


def _stretches(day: date, hours: Sequence[WeeklyHours], *, zone: ZoneInfo) -> Iterator[tuple[datetime, datetime]]:
    """The verifier's working stretches of one day as UTC instants."""
    joined: list[tuple[time, time]] = []
    for start, end in sorted((span.start, span.end) for span in hours if span.weekday == day.weekday()):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    for start, end in joined:
        # Hours that begin or end in a gap of the clock are not refused, as an appointment is: they begin or end an hour later by
        # the clock. A time that comes twice means the first.
        yield datetime.combine(day, start, zone).astimezone(UTC), datetime.combine(day, end, zone).astimezone(UTC)


def _grid(opens_at: datetime, closes_at: datetime, *, length: timedelta) -> Iterator[datetime]:
    # In UTC, so that a place lasts sixty minutes also on the day on which the clocks change.
    starts_at = opens_at
    while starts_at + length <= closes_at:
        yield starts_at
        starts_at += PLACE


def _slot(starts_at: datetime, *, places: int, zone: str, there: ZoneInfo) -> Slot:
    local = starts_at.astimezone(there)
    return Slot(
        starts_at=starts_at,
        ends_at=starts_at + places * PLACE,
        local_date=local.date(),
        local_time=local.time(),
        zone=zone,
        fold=local.fold,
    )


def _check_span(span: Span) -> None:
    if aware(span.starts_at) >= aware(span.ends_at):
        raise ValueError(f"A time from {span.starts_at} until {span.ends_at} does not end after it begins: a later end is wanted.")
