"""How often nobody answered, by kind of call, from the calls that were held: for the plan, the standby list and the page of no-shows."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass

from django.db.models import Exists, OuterRef

from jobs.appointments import noshows
from jobs.appointments.models import Appointment, AppointmentChange, AppointmentQuerySet, AppointmentState
from jobs.appointments.noshows import Rate
from jobs.core import clock

LOOKED_AT = dt.timedelta(days=730)
FIRST, AFTER_MISSED, AGAIN = "first call to the home", "after a call that nobody answered", "after a call not passed or not finished"
CONFIRMED, NOT_CONFIRMED = "confirmed before", "not confirmed before"
TURNS = (FIRST, AFTER_MISSED, AGAIN)
KINDS = (*TURNS, CONFIRMED, NOT_CONFIRMED)


@dataclass(frozen=True)
class Kind:
    """One kind of call. rate: None where none was held. chance: of the next one, drawn to the overall rate."""

    words: str
    missed: int
    calls: int
    rate: Rate | None
    chance: float


@dataclass(frozen=True)
class Record:
    kinds: tuple[Kind, ...]
    overall: Kind

    def chance_of(self, turn: str) -> float:
        return next(kind.chance for kind in self.kinds if kind.words == turn)


def record() -> Record:
    """Of the last two years; before any call was held, the first guess."""
    calls: Counter[str] = Counter()
    missed: Counter[str] = Counter()
    total = total_missed = 0
    for turn, confirmed, was_missed in _calls():
        for kind in (turn, CONFIRMED if confirmed else NOT_CONFIRMED):
            calls[kind] += 1
            missed[kind] += was_missed
        total += 1
        total_missed += was_missed
    overall = noshows.shrunk(total_missed, calls=total, overall=noshows.FIRST_GUESS)
    return Record(
        tuple(_kind(name, missed[name], calls[name], overall) for name in KINDS),
        _kind("all calls", total_missed, total, noshows.FIRST_GUESS),
    )


def turns(jobs: Collection[int]) -> dict[int, str]:
    """Which turn the next call to each of these homes is."""
    found: dict[int, str] = {}
    for job, state in _ended().filter(job__in=jobs).order_by("starts_at", "pk").values_list("job_id", "state"):
        found[job] = AFTER_MISSED if state == AppointmentState.MISSED else AGAIN
    return {job: found.get(job, FIRST) for job in jobs}


def _ended() -> AppointmentQuerySet:
    ended = (AppointmentState.HELD, AppointmentState.MISSED)
    return Appointment.objects.filter(state__in=ended, starts_at__gte=clock.now() - LOOKED_AT)


def _calls() -> Iterator[tuple[str, bool, bool]]:
    """Turn, whether it was confirmed before, whether nobody answered."""
    said_yes = Exists(AppointmentChange.objects.filter(appointment=OuterRef("pk"), state=AppointmentState.CONFIRMED))
    rows = _ended().annotate(said_yes=said_yes).order_by("job_id", "starts_at", "pk").values_list("job_id", "state", "said_yes")
    before: tuple[int, str] | None = None
    for job, state, confirmed in rows.iterator(chunk_size=2000):
        turn = FIRST if before is None or before[0] != job else AFTER_MISSED if before[1] == AppointmentState.MISSED else AGAIN
        before = job, state
        yield turn, confirmed, state == AppointmentState.MISSED


def _kind(words: str, missed: int, calls: int, overall: float) -> Kind:
    rate = noshows.wilson(missed, calls=calls) if calls else None
    return Kind(words, missed, calls, rate, noshows.shrunk(missed, calls=calls, overall=overall))
