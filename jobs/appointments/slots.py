"""Bookable times: a verifier's own grid, inside the hours in which a home may be called. Pure.

Sources: 47 CFR 64.1200(c)(1) for the legal floor; PEP 495 for wall times that come twice or not at all.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Final, Protocol
from zoneinfo import ZoneInfo

PLACE: Final = timedelta(minutes=60)
BUFFER: Final = timedelta(minutes=15)  # after the call, at the end of its last place: for the record, and for a call that runs over
CALL: Final = PLACE - BUFFER

EARLIEST: Final = time(8)  # the legal floor: QuietHours
LATEST: Final = time(21)


class Span(Protocol):
    """A half-open stretch of time, aware."""

    @property
    def starts_at(self) -> datetime: ...

    @property
    def ends_at(self) -> datetime: ...


@dataclass(frozen=True, slots=True)
class QuietHours:
    """The hours in which a home may be called, [opens, closes) by the wall clock at the site.

    The default is the house rule. 47 CFR 64.1200(c)(1) forbids solicitations before 8 a.m. and after 9 p.m.; calls about an
    appointment are none, but that window is the floor here. Raises ValueError where it is undercut.
    """

    opens: time = time(9)
    closes: time = time(20)

    def __post_init__(self) -> None:
        if self.opens < EARLIEST:
            raise ValueError(f"Calls from {self.opens:%H:%M} would be too early: {EARLIEST:%H:%M} or later is wanted.")
        if self.closes > LATEST:
            raise ValueError(f"Calls until {self.closes:%H:%M} would be too late: {LATEST:%H:%M} or earlier is wanted.")
        if self.opens >= self.closes:
            raise ValueError(f"Calls from {self.opens:%H:%M} until {self.closes:%H:%M} leave no time: a later end is wanted.")


HOUSE_RULE: Final = QuietHours()
LEGAL_FLOOR: Final = QuietHours(EARLIEST, LATEST)


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


def instant(local_date: date, *, local_time: time, zone: str, fold: int | None = None) -> datetime:
    """The UTC instant at which a clock in `zone` shows this wall time.

    fold: 0 for the first, 1 for the second time where the clocks go back and it comes twice. Raises ValueError, with a sentence,
    where the wall time does not exist, where it comes twice and `fold` is None, and for an unknown zone.
    """
    first = datetime.combine(local_date, local_time, _zone(zone)).replace(fold=0)
    second = first.replace(fold=1)
    in_words = f"{local_time:%H:%M} on {local_date.day} {local_date:%B %Y} in {zone}"
    # Differing offsets for fold 0 and 1 are true of gaps and of repeats alike; only the way to UTC and back tells them apart.
    if not _exists(first):
        before, after = sorted(_there_and_back(wall).time() for wall in (first, second))
        raise ValueError(
            f"{in_words} does not exist, because the clocks go forward: another time is wanted, such as {before:%H:%M} or {after:%H:%M}."
        )
    if first.utcoffset() != second.utcoffset() and fold is None:
        raise ValueError(
            f"{in_words} comes twice, because the clocks go back: say whether the first ({first:%Z}) or the second ({second:%Z}) is meant."
        )
    return (second if fold else first).astimezone(UTC)


def inside(at: datetime, *, zone: str, quiet: QuietHours) -> bool:
    """Whether a home in `zone` may be called at this instant."""
    local = _aware(at).astimezone(_zone(zone))
    return quiet.opens <= local.time() < quiet.closes


def whole_call_inside(starts_at: datetime, *, ends_at: datetime, zone: str, quiet: QuietHours) -> bool:
    """Whether a call from `starts_at` until `ends_at` lies wholly in the hours of one day at the site; it may end as they close."""
    start, end = (_aware(at).astimezone(_zone(zone)) for at in (starts_at, ends_at))
    return start.date() == end.date() and quiet.opens <= start.time() and end.time() <= quiet.closes and starts_at < ends_at


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
) -> list[Slot]:
    """The times at which this verifier can call this site, in order.

    hours: the verifier's week; where hours of a day touch or overlap they are one stretch, and a stretch begins its own grid.
    first_at: no call begins before it. last_day: the last day, at the site, on which a call may begin.
    places: neighbouring places of 60 minutes that the call takes; all of it but the last 15 minutes lies inside `quiet`.
    """
    if places < 1:
        raise ValueError(f"A call of {places} places cannot be booked: at least one place is wanted.")
    here, there = _zone(verifier_zone), _zone(site_zone)
    first_at = _aware(first_at).astimezone(UTC)
    blocked: list[Span] = [*time_off, *taken]

    slots = []
    day = first_at.astimezone(here).date()
    # A day more: where the verifier is further east, the site's last day goes on into the next one there.
    while day <= last_day + timedelta(days=1):
        for opens_at, closes_at in _stretches(day, hours, zone=here):
            for starts_at in _grid(opens_at, closes_at, length=places * PLACE):
                slot = _slot(starts_at, places=places, zone=site_zone, there=there)
                if (
                    starts_at >= first_at
                    and slot.local_date <= last_day
                    and whole_call_inside(starts_at, ends_at=slot.call_ends_at, zone=site_zone, quiet=quiet)
                    and not any(span.starts_at < slot.ends_at and starts_at < span.ends_at for span in blocked)
                ):
                    slots.append(slot)
        day += timedelta(days=1)
    return sorted(slots)


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


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:  # unknown, not a name at all, a folder of the zone files
        raise ValueError(f'"{name}" is not the name of a time zone: a name such as America/Denver is wanted.') from error


def _there_and_back(wall: datetime) -> datetime:
    return wall.astimezone(UTC).astimezone(wall.tzinfo)


def _exists(wall: datetime) -> bool:
    return _there_and_back(wall).replace(tzinfo=None) == wall.replace(tzinfo=None, fold=0)


def _aware(at: datetime) -> datetime:
    if at.tzinfo is None:
        raise ValueError(f"{at} has no time zone: an instant with its zone is wanted.")
    return at


def _check_span(span: Span) -> None:
    if _aware(span.starts_at) >= _aware(span.ends_at):
        raise ValueError(f"A time from {span.starts_at} until {span.ends_at} does not end after it begins: a later end is wanted.")
