"""Which state a home is in, worked out from dated facts. Pure, and the only rule."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

from jobs.core import kinds as k
from jobs.core.ctsignatures import Service


class S(StrEnum):
    IN_BUILD = "in_build"
    GRID_TIED = "grid_tied"
    AWAITING_UTILITY = "awaiting_utility"
    COLLAR_ENERGIZED = "collar_energized"
    BACKUP_VERIFIED = "backup_verified"
    CANCELLED = "cancelled"

    @property
    def words(self) -> str:
        return _WORDS[self]


_WORDS = {
    S.IN_BUILD: "in build",
    S.GRID_TIED: "grid-tied complete",
    S.AWAITING_UTILITY: "awaiting utility",
    S.COLLAR_ENERGIZED: "collar energized",
    S.BACKUP_VERIFIED: "backup verified",
    S.CANCELLED: "cancelled",
}


@dataclass(frozen=True)
class HomeKind:
    """What of a home decides which facts it must have."""

    has_battery: bool = True
    service: Service = Service.SPLIT_120_240


@dataclass(frozen=True)
class Known:
    """One standing fact as the rules see it. `day` is the first day known; `order` is that of recording."""

    kind: str
    day: dt.date
    order: int
    value: Mapping[str, Any] = field(default_factory=dict)
    after: dt.date | None = None
    at: dt.datetime | None = None
    recorded_on: dt.date | None = None
    # What it counts as among those of its day: a correction keeps the turn of the fact that it corrected.
    turn: int | None = None

    @property
    def place(self) -> tuple[dt.date, int]:
        return (self.day, self.order if self.turn is None else self.turn)


class Facts:
    """The standing facts of one job, by day and then by order of recording."""

    def __init__(self, known: Iterable[Known]) -> None:
        self.rows = tuple(sorted(_by_the_clock(known), key=lambda fact: fact.place))

    def of(self, *kinds: str) -> list[Known]:
        return [fact for fact in self.rows if fact.kind in kinds]

    def first(self, *kinds: str) -> Known | None:
        return next(iter(self.of(*kinds)), None)

    def latest(self, *kinds: str) -> Known | None:
        return next(reversed(self.of(*kinds)), None)

    @property
    def fitted(self) -> Known | None:
        """The fitting that stands: the latest one that no removal has followed."""
        last = self.latest(k.COLLAR_FITTED, k.COLLAR_REMOVED)
        return last if last is not None and last.kind == k.COLLAR_FITTED else None

    @property
    def removed(self) -> Known | None:
        """The removal that stands, until the collar is fitted again."""
        last = self.latest(k.COLLAR_FITTED, k.COLLAR_REMOVED)
        return last if last is not None and last.kind == k.COLLAR_REMOVED else None

    @property
    def serial(self) -> str:
        """The serial registered for this home, the newest."""
        registered = self.latest(k.COLLAR_REGISTERED)
        return str(registered.value["serial"]) if registered else ""

    @property
    def verified(self) -> Known | None:
        """The passed verification that stands: after the standing fitting, and not voided."""
        fitted = self.fitted
        if fitted is None:
            return None
        voided = {fact.value.get("record") for fact in self.of(k.VERIFICATION_VOIDED)}
        removals = [fact.place for fact in self.of(k.COLLAR_REMOVED)]
        passed = [
            fact
            for fact in self.of(k.VERIFICATION)
            if fact.value.get("result") == "passed"
            and fact.day >= fitted.day
            and not any(fact.place < place < fitted.place for place in removals)
            and fact.value.get("record") not in voided
        ]
        return passed[-1] if passed else None


def _instant(fact: Known) -> tuple[dt.datetime, int]:
    assert fact.at is not None, "only facts with an instant are put in order by it"
    return (fact.at, fact.place[1])


def _by_the_clock(known: Iterable[Known]) -> Iterable[Known]:
    """Of one kind and day, those with an instant take their turns by it: a report of the morning entered late is not the newest."""
    instants: dict[tuple[str, dt.date], list[Known]] = {}
    for fact in known:
        if fact.at is None:
            yield fact
        else:
            instants.setdefault((fact.kind, fact.day), []).append(fact)
    for same in instants.values():
        turns = sorted(fact.place for fact in same)
        in_order = sorted(same, key=_instant)
        yield from (replace(fact, turn=turn) for fact, (_, turn) in zip(in_order, turns, strict=True))


# A need gives the day on which it was met, or None. The words are what the page says when it is missing.
Met = Callable[[Facts, HomeKind], dt.date | None]


@dataclass(frozen=True)
class Need:
    words: str
    met: Met
    role: str  # who must supply it


def _day(fact: Known | None) -> dt.date | None:
    return fact.day if fact else None


def _commissioned(facts: Facts, home: HomeKind) -> dt.date | None:
    return _day(facts.first(k.COMMISSIONED))


def counting_ct_check(facts: Facts) -> Known | None:
    """The check that grid-tied complete rests on: the newest made before any removal of the collar.

    A check made after a removal is about metering put back for a new wait; it does not undo what was complete before.
    """
    removed = facts.first(k.COLLAR_REMOVED)
    checks = [check for check in facts.of(k.CT_CHECK) if removed is None or check.day < removed.day]
    return checks[-1] if checks else None


def _ct_check_consistent(facts: Facts, home: HomeKind) -> dt.date | None:
    if not home.has_battery:
        return dt.date.min  # no consumption CTs by design: not missing
    check = counting_ct_check(facts)
    if check is None or check.value.get("verdict") != "consistent":
        return None
    # What PV showed on the same visit belongs to the check; what it shows months later is an electrician's errand and undoes nothing.
    against = contradicting_pv_check(facts, check)
    return None if against is not None and against.day == check.day else check.day


def contradicting_pv_check(facts: Facts, check: Known | None) -> Known | None:
    """The newest word of PV coming on, if it came after this check and does not agree with right CTs."""
    seen = facts.latest(k.PV_CHECK)
    if seen is None or seen.value.get("verdict") != "inconsistent" or (check is not None and seen.place < check.place):
        return None
    return seen


def _collar_registered(facts: Facts, home: HomeKind) -> dt.date | None:
    return _day(facts.first(k.COLLAR_REGISTERED))


def _collar_staged(facts: Facts, home: HomeKind) -> dt.date | None:
    for fact in facts.of(k.COLLAR_STAGED):
        if fact.value.get("reason") or (fact.value.get("place") and fact.value.get("photo")):
            return fact.day
    return None


AS_LISTED = "as in the contractor's list"  # the reason why an imported staging has no photo; the list may leave out the place too


def hung(staged: Known) -> bool:
    """Whether the collar hangs since then: of a staging that was left out only the reason is on record."""
    return bool(staged.value.get("place")) or staged.value.get("reason") == AS_LISTED


def _sheet_given(facts: Facts, home: HomeKind) -> dt.date | None:
    return _day(facts.first(k.SHEET_GIVEN))


def _request_ever_sent(facts: Facts, home: HomeKind) -> dt.date | None:
    first, removed = facts.first(k.REQUEST_SENT), facts.removed
    if first is None:
        return None
    # After a removal the home awaits the utility anew, from the day it was removed.
    return max(first.day, removed.day) if removed else first.day


def _collar_fitted(facts: Facts, home: HomeKind) -> dt.date | None:
    return _day(facts.fitted)


def _words_on_serial(facts: Facts) -> list[Known]:
    """What was told, since the standing fitting, of which collar hangs there."""
    fitted = facts.fitted
    if fitted is None:
        return []
    return [f for f in facts.of(k.COLLAR_FITTED, k.GATEWAY_REPORT) if f.value.get("serial") and f.day >= fitted.day]


def told_serial(facts: Facts) -> Known | None:
    """The newest word on the serial."""
    return next(reversed(_words_on_serial(facts)), None)


def _serial_matches(facts: Facts, home: HomeKind) -> dt.date | None:
    # The first of the words that have agreed ever since: a later report that says the same again moves no day, and so no milestone's.
    day = None
    for told in reversed(_words_on_serial(facts)):
        if told.value["serial"] != facts.serial:
            break
        day = told.day
    return day


def _verification_passed(facts: Facts, home: HomeKind) -> dt.date | None:
    return _day(facts.verified)


NEEDS: dict[S, tuple[Need, ...]] = {
    S.GRID_TIED: (
        Need("the commissioning date", _commissioned, "crew"),
        Need("a consumption-CT check that is consistent", _ct_check_consistent, "crew"),
        Need("the collar's serial, registered", _collar_registered, "crew"),
        Need("the collar staged, with place and photo or a reason", _collar_staged, "crew"),
        Need("the hand-over sheet, given to the homeowner", _sheet_given, "crew"),
    ),
    S.AWAITING_UTILITY: (Need("a request to fit, sent to the utility", _request_ever_sent, "scheduler"),),
    S.COLLAR_ENERGIZED: (
        Need("the utility's fitting", _collar_fitted, "utility"),
        Need("the fitted collar's serial, matching the registered one", _serial_matches, "scheduler"),
    ),
    S.BACKUP_VERIFIED: (Need("a passed verification", _verification_passed, "verifier"),),
}


@dataclass(frozen=True)
class JobState:
    state: S
    since: dt.date | None
    reached: Mapping[S, dt.date]  # the day on which each state's needs, and those of all before it, were met
    missing: tuple[Need, ...]  # of the next state


def state_of(facts: Facts, home: HomeKind) -> JobState:
    """The furthest state whose needs, and those of all before it, the facts meet."""
    state, since = S.IN_BUILD, _day(facts.rows[0] if facts.rows else None)
    reached: dict[S, dt.date] = {}
    missing: tuple[Need, ...] = ()
    latest = dt.date.min
    for later, needs in NEEDS.items():
        days = [need.met(facts, home) for need in needs]
        if None in days:
            missing = tuple(need for need, day in zip(needs, days, strict=True) if day is None)
            break
        latest = max(latest, *(day for day in days if day is not None))
        state, since = later, latest
        reached[later] = latest

    cancelled = facts.latest(k.CANCELLED)
    if cancelled is not None and state != S.BACKUP_VERIFIED:
        return JobState(S.CANCELLED, cancelled.day, reached, ())
    return JobState(state, since, reached, missing)


ORDER = (S.IN_BUILD, S.GRID_TIED, S.AWAITING_UTILITY, S.COLLAR_ENERGIZED, S.BACKUP_VERIFIED)


def steps(was: S, now: S) -> list[S]:
    """The states a job passes through on its way: forward one by one, back (or to and from cancelled) in one step."""
    if was == now:
        return []
    if S.CANCELLED in (was, now) or ORDER.index(now) < ORDER.index(was):
        return [now]
    return list(ORDER[ORDER.index(was) + 1 : ORDER.index(now) + 1])
