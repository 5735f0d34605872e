"""The call page as it stands: five sections worked out from the presses. The page shows; it works nothing out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from jobs.appointments import callsteps, records, verification
from jobs.appointments.callsteps import CAUTIONS, CHECKS, Check
from jobs.appointments.evidence import LOAD_LOST, LOAD_SERVED, MID_CLOSED, MID_OPEN, NOT_RETURNED, UTILITY_POWER, Evidence
from jobs.appointments.models import CallRecord, Press, VerificationRecord
from jobs.core import cautions, clock, walltime, words
from jobs.core.cautions import Caution


@dataclass(frozen=True)
class Sight:
    """One thing to see in island mode or on the return."""

    what: str
    title: str  # what is seen: "MID reported open"
    say: str  # what to say, aloud
    look: str  # what to look for
    watts: bool = False
    load: bool = False


ISLAND = (
    Sight(MID_OPEN, "MID reported open", "“I begin now. The power may drop for a moment.”", "The gateway reports the MID open."),
    Sight(UTILITY_POWER, "Utility power", "", "Power from or to the utility; within 30 W either way is none.", watts=True),
    Sight(
        LOAD_SERVED,
        "Load served",
        "“Are the lights still on? Is it still running?”",
        "The load noted before still runs.",
        watts=True,
        load=True,
    ),
    Sight(LOAD_LOST, "Load went off", "", "Something that ran before is off.", load=True),
)
RETURN = (
    Sight(
        MID_CLOSED,
        "Return seen",
        "“The home goes back to the utility now. It may take five minutes.”",
        "The gateway reports the MID closed.",
    ),
    Sight(NOT_RETURNED, "Return not seen", "", "Not after five minutes and more. This opens the emergency page."),
)
SIGHTS = {sight.what: sight for sight in (*ISLAND, *RETURN)}


@dataclass(frozen=True)
class CautionLine:
    name: str
    caution: Caution
    title: str
    at: str


@dataclass(frozen=True)
class CheckLine:
    check: Check
    at: str
    answered: str


@dataclass(frozen=True)
class Seen:
    """A press as the page lists it, the corrected ones too."""

    uid: str
    at: str
    title: str
    told: str
    corrected: bool
    note: str


@dataclass(frozen=True)
class SightLine:
    sight: Sight
    possible: bool
    is_next: bool


@dataclass(frozen=True)
class Page:
    lang: str
    now: str  # by the clock at the home; of a call that has ended, when it ended
    ended: bool
    lead: str  # the sentence: "In island mode since 14:45:12."
    running: str  # "28 minutes"
    islanded: bool
    too_long: bool
    cautions: Sequence[CautionLine]
    checks: Sequence[CheckLine]
    cautions_done: bool
    checks_done: bool
    readings: Press | None
    readings_at: str
    readings_told: str
    island: Sequence[SightLine]
    returns: Sequence[SightLine]
    seen: Sequence[Seen]
    returned: bool
    wanting: str  # what keeps it from being passed
    asks_put_back: bool
    first_open: str  # the section to work in: cautions, readings, island, return, result


def page_of(call: CallRecord) -> Page:
    """Everything the page shows of one call, by the clock at the home."""
    now, zone = clock.now(), call.appointment.zone
    presses = list(call.presses.select_related("corrects", "corrected_by"))
    standing = [press for press in presses if not press.withdrawn and not hasattr(press, "corrected_by")]
    by_what = {press.what: press for press in standing}
    found = records.evidence_of(call, until=now)
    progress = callsteps.progress(by_what)
    readings = by_what.get(records.READINGS)
    returned = MID_CLOSED in by_what and found.islanded_since is None
    told = NOT_RETURNED in by_what
    lang = call.appointment.language
    return Page(
        lang=lang,
        now=_at(call.ended_at or now, zone),
        ended=call.ended_at is not None,
        lead=_lead(call, found, zone),
        running=_running(found.islanded_since or call.begun_at, now),
        islanded=found.islanded_since is not None,
        too_long=found.islanded_since is not None and now - call.last_press_at >= verification.ALONE_TOO_LONG,
        cautions=[_caution(name, by_what, zone) for name in CAUTIONS],
        checks=[_check(check, by_what, zone) for check in CHECKS],
        cautions_done=not progress.cautions_missing,
        checks_done=not progress.checks_missing,
        readings=readings,
        readings_at=_at(readings.at, zone) if readings else "",
        readings_told=_readings(readings) if readings else "",
        island=_lines(ISLAND, found, by_what, blocked=bool(progress.before_island)),
        returns=_lines(RETURN, found, by_what, blocked=found.islanded_since is None),
        seen=[_seen(press, zone) for press in presses if press.what in SIGHTS],
        returned=returned,
        wanting=verification.missing_for_pass(call, found),
        asks_put_back=MID_OPEN in by_what,
        first_open=_first_open(progress, found, returned=returned, told=told),
    )


def _at(at: dt.datetime, zone: str) -> str:
    return words.time_office(at.astimezone(walltime.zone_of(zone)), seconds=True)


def _running(since: dt.datetime, now: dt.datetime) -> str:
    minutes, seconds = divmod(int((now - since).total_seconds()), 60)
    return f"{minutes}:{seconds:02d}"


def _lead(call: CallRecord, found: Evidence, zone: str) -> str:
    if call.ended_at is not None:
        day = call.ended_at.astimezone(walltime.zone_of(zone)).date()
        return f"This call ended on {words.day(day)} at {_at(call.ended_at, zone)}."
    if found.islanded_since is not None:
        return f"In island mode since {_at(found.islanded_since, zone)}."
    return f"On the call since {_at(call.begun_at, zone)}."


def together(record: VerificationRecord, zone: str) -> str:
    """When disconnected and load served were seen together: "from 12:10:50 to 12:12:04"; nothing where they were not."""
    if record.overlap_from is None or record.overlap_to is None:
        return ""
    first, last = _at(record.overlap_from, zone), _at(record.overlap_to, zone)
    return f"at {first}" if first == last else f"from {first} to {last}"


def _caution(name: str, by_what: dict[str, Press], zone: str) -> CautionLine:
    press = by_what.get(f"caution:{name}")
    return CautionLine(name, cautions.of(name), callsteps.CAUTION_WORDS[name], _at(press.at, zone) if press else "")


def _check(check: Check, by_what: dict[str, Press], zone: str) -> CheckLine:
    press = by_what.get(f"check:{check.name}")
    answer = check.answer(str(press.value.get("answer"))) if press else None
    return CheckLine(check, _at(press.at, zone) if press else "", answer.words if answer else "")


def _readings(press: Press) -> str:
    told = press.value
    parts = [
        f"{told['load_name']} {words.watts(told['load_w'])}",
        f"state of charge {words.percent(told['soc_percent'] / 100)}",
        f"battery {words.watts(told['battery_w'])}",
        f"PV {words.watts(told['pv_w'])}",
        f"utility {words.watts(told['grid_w'])}",
    ]
    return ", ".join(parts)


def _lines(sights: Sequence[Sight], found: Evidence, by_what: dict[str, Press], *, blocked: bool) -> list[SightLine]:
    """Which may be pressed now, and the one that is expected next."""
    islanded = found.islanded_since is not None
    after = {
        MID_OPEN: not islanded,
        UTILITY_POWER: islanded,
        LOAD_SERVED: islanded,
        LOAD_LOST: islanded,
        MID_CLOSED: islanded,
        NOT_RETURNED: islanded,
    }
    lines = []
    expected = "" if blocked else _next(found, by_what)
    for sight in sights:
        lines.append(SightLine(sight, possible=not blocked and after[sight.what], is_next=sight.what == expected))
    return lines


def _next(found: Evidence, by_what: dict[str, Press]) -> str:
    if found.islanded_since is None:
        return "" if MID_OPEN in by_what else MID_OPEN
    if not found.disconnected:
        return UTILITY_POWER
    return MID_CLOSED if found.overlap else LOAD_SERVED


def _seen(press: Press, zone: str) -> Seen:
    told: dict[str, Any] = press.value
    parts = [str(told["load"])] if told.get("load") else []
    if told.get("watts") is not None:
        parts.append(words.watts(told["watts"]))
    notes = []
    if press.corrects_id:
        notes.append(f"corrects an entry, recorded {_at(press.recorded_at, zone)}: {press.reason}")
    if press.withdrawn:
        notes.append("withdrawn: it was not seen")
    return Seen(
        str(press.uid),
        _at(press.at, zone),
        SIGHTS[press.what].title,
        ", ".join(parts),
        hasattr(press, "corrected_by") or press.withdrawn,
        "; ".join(notes),
    )


def _first_open(progress: callsteps.Progress, found: Evidence, *, returned: bool, told: bool) -> str:
    if progress.before_readings:
        return "cautions"
    if not progress.has_readings:
        return "readings"
    if returned or told:
        return "result"
    return "return" if found.overlap else "island"
