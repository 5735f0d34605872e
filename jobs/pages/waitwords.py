"""The sentence on which a job's page begins: on whom it waits, since when, how long that takes, and what comes next."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from jobs.core import words
from jobs.core.models import Fact, Hold
from jobs.core.models.holds import Stops
from jobs.core.states import Facts, JobState, Known, S
from jobs.core.waiting import HOMEOWNER, NOBODY, US, UTILITY, Waiting
from utilities.said import Shown
from utilities.workdays import WorkCalendar

WHOM = {US: "us", UTILITY: "the utility", HOMEOWNER: "the homeowner"}


@dataclass(frozen=True)
class Piece:
    """Part of a sentence: known, the fact itself (bold), or expected (italic)."""

    text: str
    kind: str = ""  # "", fact, expected


@dataclass(frozen=True)
class Told:
    """What the sentence rests on."""

    state: JobState
    facts: Facts
    waiting: Waiting
    today: dt.date  # at the site
    zone: str
    utility: str = ""
    limit: str = ""
    limit_source: str = ""
    calendar: WorkCalendar | None = None
    outlook: Shown | None = None
    next_person: str = ""
    fitted: Fact | None = None
    removed: Fact | None = None
    verified_by: str = ""
    cancelled: Fact | None = None
    left_minor_words: str = ""  # "Nothing is owed." or "$8,640.00 is still owed.", where the person may see it


def sentence(told: Told) -> list[Piece]:
    if told.state.state == S.CANCELLED:
        return _cancelled(told)
    if told.state.state == S.BACKUP_VERIFIED:
        return _verified(told)
    pieces = _fitted(told) if told.state.state == S.COLLAR_ENERGIZED else _removed(told)
    return pieces + _waiting(told) + _wanted(told) + _next(told)


def _wanted(told: Told) -> list[Piece]:
    """What the home still lacks to be grid-tied complete: named, for a share of it helps nobody."""
    missing = [need.words for need in told.state.missing] if told.state.state == S.IN_BUILD else []
    if not missing:
        return []
    if len(missing) == 1:
        return [Piece(f" Grid-tied complete wants one fact more: {missing[0]}.")]
    named = f"{'; '.join(missing[:-1])}; and {missing[-1]}"
    return [Piece(f" Grid-tied complete wants {words.count(len(missing), 'fact')} more: {named}.")]


def _cancelled(told: Told) -> list[Piece]:
    fact = told.cancelled
    if fact is None:
        return [Piece("Cancelled.", "fact")]
    return [
        Piece(f"Cancelled on {words.day(fact.day)}", "fact"),
        Piece(f" by {fact.recorded_by_name}: {fact.value.get('reason', '')}."),
    ]


def _verified(told: Told) -> list[Piece]:
    known = told.facts.verified
    assert known is not None  # the state rests on it
    at = f", {words.time_office(known.at.astimezone(ZoneInfo(told.zone)))}" if known.at else ""
    by = f", by {told.verified_by}" if told.verified_by else ""
    owed = f" {told.left_minor_words}" if told.left_minor_words else ""
    return [Piece(f"Backup verified {words.day(known.day)}{at}", "fact"), Piece(f"{by}.{owed}")]


def _fitted(told: Told) -> list[Piece]:
    known = told.facts.fitted
    if known is None or told.fitted is None:
        return []
    return [Piece(f"Fitted {_on(known, told.fitted, told.today)}", "fact"), Piece(f", {_told_by(told.fitted)}. ")]


def _removed(told: Told) -> list[Piece]:
    known = told.facts.removed
    if known is None or told.removed is None:
        return []
    return [
        Piece(f"The collar was removed {_on(known, told.removed, told.today)}", "fact"),
        Piece(f", {_told_by(told.removed)}. "),
    ]


def _on(known: Known, fact: Fact, today: dt.date) -> str:
    return f"on {words.day(known.day)}" if fact.happened_on else words.bracket(known.after, known.day, today=today)


def _told_by(fact: Fact) -> str:
    by = fact.said_by_role
    return f"told by the {by}" if by in {"utility", "gateway", "homeowner", "crew"} else f"told by {by}"


def _waiting(told: Told) -> list[Piece]:
    wait = told.waiting
    if wait.on == NOBODY or wait.since is None:
        return [Piece("Nobody is waited on.", "fact")]
    if wait.on == US and told.state.state == S.COLLAR_ENERGIZED:
        return [Piece(f"Waiting on us since {words.day(wait.since)}", "fact"), Piece(f", {_how_long(told)}.")]
    whom = told.utility if wait.on == UTILITY and told.utility else WHOM[wait.on]
    pieces = [Piece(f"Waiting on {whom} since {words.day(wait.since)}", "fact"), Piece(f", {_how_long(told)}.")]
    return pieces + _of_the_utility(told) if told.state.state == S.AWAITING_UTILITY else pieces


def _how_long(told: Told) -> str:
    since = told.waiting.since
    assert since is not None
    days = words.number((told.today - since).days)
    calendar = "1 day" if days == "1" else f"{days} days"
    if told.waiting.on != UTILITY or told.calendar is None:
        return calendar
    worked = told.calendar.elapsed(since, told.today)
    return f"{calendar}, {words.number(worked)} of them business days of {told.calendar.name}"


def _of_the_utility(told: Told) -> list[Piece]:
    pieces = []
    if told.waiting.on == UTILITY:
        source = f" ({told.limit_source})" if told.limit and told.limit_source else ""
        pieces.append(Piece(f" Its limit for the visit: {told.limit}{source}." if told.limit else " It publishes no limit for the visit."))
    if told.outlook is not None and told.outlook.asked:
        expected = told.outlook.sentence
        pieces.append(Piece(f" {expected[:1].upper()}{expected[1:]}.", "expected"))
        if thin := told.outlook.why.thin_words:
            pieces.append(Piece(f" {thin}"))
    return pieces


def _next(told: Told) -> list[Piece]:
    wait = told.waiting
    if not wait.next_act:
        return []
    who = f"{told.next_person}, {wait.role}" if told.next_person else f"the {wait.role}"
    due = ""
    if wait.due_on is not None:
        late = (told.today - wait.due_on).days
        due = f", due {_day(wait.due_on, told.today)}"
        due += f", {words.number(late)} {'day' if late == 1 else 'days'} late" if late > 0 else ""
    act = wait.next_act[:1].lower() + wait.next_act[1:]
    return [Piece(f" Next: {act} ({who}{due}).")]


def _day(day: dt.date, today: dt.date) -> str:
    return {-1: "yesterday", 0: "today", 1: "tomorrow"}.get((day - today).days) or words.day(day)


def on_hold(holds: Sequence[Hold], *, since: dt.date | None, today: dt.date) -> list[str]:
    """One sentence a hold: what is stopped, and that the homeowner's wait is not."""
    days = f": {words.number((today - since).days)} days" if since else ""
    return [
        f"On hold since {words.day(hold.from_on)}: {hold.get_kind_display()}, {hold.reason} ({hold.by_name}). "
        f"Stopped: {words.listed([str(Stops(what).label) for what in hold.stops])}; the homeowner's wait is not{days}. "
        f"To review on {words.day(hold.review_on)}."
        for hold in holds
    ]
