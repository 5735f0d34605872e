"""Wall times and instants: what a clock at the home shows, and the hours in which a home may be called or written to. Pure.

Sources: 47 CFR 64.1200(c)(1) for the legal floor; PEP 495 for wall times that come twice or not at all.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from functools import cache
from typing import Final
from zoneinfo import ZoneInfo, available_timezones

EARLIEST: Final = time(8)  # the legal floor: QuietHours
LATEST: Final = time(21)


@cache
def zones() -> frozenset[str]:
    """The names of all zones. Kept: the library looks through its folders of files anew at each asking, which takes milliseconds."""
    return frozenset(available_timezones())


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


def instant(local_date: date, *, local_time: time, zone: str, fold: int | None = None) -> datetime:
    """The UTC instant at which a clock in `zone` shows this wall time.

    fold: 0 for the first, 1 for the second time where the clocks go back and it comes twice. Raises ValueError, with a sentence,
    where the wall time does not exist, where it comes twice and `fold` is None, and for an unknown zone.
    """
    first = datetime.combine(local_date, local_time, zone_of(zone)).replace(fold=0)
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
    local = aware(at).astimezone(zone_of(zone))
    return quiet.opens <= local.time() < quiet.closes


def whole_call_inside(starts_at: datetime, *, ends_at: datetime, zone: str, quiet: QuietHours) -> bool:
    """Whether a call from `starts_at` until `ends_at` lies wholly in the hours of one day at the site; it may end as they close."""
    start, end = (aware(at).astimezone(zone_of(zone)) for at in (starts_at, ends_at))
    return start.date() == end.date() and quiet.opens <= start.time() and end.time() <= quiet.closes and starts_at < ends_at


def zone_of(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:  # unknown, not a name at all, a folder of the zone files
        raise ValueError(f'"{name}" is not the name of a time zone: a name such as America/Denver is wanted.') from error


def _there_and_back(wall: datetime) -> datetime:
    return wall.astimezone(UTC).astimezone(wall.tzinfo)


def _exists(wall: datetime) -> bool:
    return _there_and_back(wall).replace(tzinfo=None) == wall.replace(tzinfo=None, fold=0)


def aware(at: datetime) -> datetime:
    if at.tzinfo is None:
        raise ValueError(f"{at} has no time zone: an instant with its zone is wanted.")
    return at
