"""The call page as it stands: five sections worked out from the presses. The page shows; it works nothing out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from jobs.appointments import callsteps, limits, records, sights, verification
from jobs.appointments.callsteps import CAUTIONS, CHECKS, Check
from jobs.appointments.evidence import LOAD_SERVED, MID_CLOSED, MID_OPEN, NOT_RETURNED, UTILITY_POWER, Evidence
from jobs.appointments.limits import Balance, Finding, Limits, Load
from jobs.appointments.models import CallRecord, Press, VerificationRecord
from jobs.appointments.sights import BALANCE, ISLAND, LINE_BACK, LINE_LOST, NORMAL, RETURN, RETURN_BEGUN, STOPPED, Sight, Stand
from jobs.core import cautions, clock, fittedpage, walltime, words
from jobs.core import kinds as k
from jobs.core.cautions import Caution


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
    note: str


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
class BalanceLine:
    """The newest readings in island mode: (what, figure), and what they show."""

    at: str
    rows: Sequence[tuple[str, str]]
    words: str
    utility: str  # whether power from or to the utility was none


@dataclass(frozen=True)
class Against:
    """The load against the limits that somebody entered."""

    by: str
    findings: Sequence[Finding]
    outside: Sequence[Finding]
    run_time: str


@dataclass(frozen=True)
class Page:
    lang: str
    now: str  # by the clock at the home; of a call that has ended, when it ended
    ended: bool
    lead: str  # the sentence: "In island mode since 14:45:12."
    running: str  # "0:28"
    running_s: int
    islanded: bool
    too_long: bool
    line_lost_at: str  # empty while it holds
    stopped_at: str
    aside: dict[str, SightLine]
    expected_by: str  # when the return is expected, once it was begun
    overdue: bool
    cautions: Sequence[CautionLine]
    checks: Sequence[CheckLine]
    cautions_done: bool
    checks_done: bool
    readings: Press | None
    readings_at: str
    readings_told: str
    readings_uid: str
    legs_told: str
    against: Against | None
    balance: BalanceLine | None
    may_read: bool
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
    stand = verification.stand_of(call)
    progress = callsteps.progress(by_what)
    readings = by_what.get(records.READINGS)
    returned = MID_CLOSED in by_what and not stand.islanded
    since = found.islanded_since or call.begun_at
    begun = _of_this_island(by_what.get(RETURN_BEGUN), found)
    expected = begun.at + dt.timedelta(minutes=sights.RETURN_MINUTES) if begun else None
    lost, stopped = by_what.get(LINE_LOST), by_what.get(STOPPED)
    told = NOT_RETURNED in by_what
    lang = call.appointment.language
    return Page(
        lang=lang,
        now=_at(call.ended_at or now, zone),
        ended=call.ended_at is not None,
        lead=_lead(call, found, zone),
        running=_running(since, now),
        running_s=int((now - since).total_seconds()),
        islanded=found.islanded_since is not None,
        too_long=found.islanded_since is not None and now - call.last_press_at >= verification.ALONE_TOO_LONG,
        line_lost_at=_at(lost.at, zone) if stand.line_lost and lost else "",
        stopped_at=_at(stopped.at, zone) if stopped else "",
        aside={
            line.sight.what: line
            for line in _lines([sights.SIGHTS[name] for name in (STOPPED, LINE_LOST, LINE_BACK)], found, by_what, stand)
        },
        expected_by=_at(expected, zone) if expected else "",
        overdue=expected is not None and now > expected,
        cautions=[_caution(name, by_what, zone) for name in CAUTIONS],
        checks=[_check(check, by_what, zone) for check in CHECKS],
        cautions_done=not progress.cautions_missing,
        checks_done=not progress.checks_missing,
        readings=readings,
        readings_at=_at(readings.at, zone) if readings else "",
        readings_told=readings_told(readings.value) if readings else "",
        readings_uid=str(readings.uid) if readings else "",
        legs_told=_legs(readings.value) if readings else "",
        against=_against(call, readings.value) if readings else None,
        balance=_balance(by_what.get(BALANCE), zone),
        may_read=sights.possible(BALANCE, stand),
        island=_lines(ISLAND, found, by_what, stand),
        returns=_lines(RETURN, found, by_what, stand),
        seen=[_seen(press, zone) for press in presses if press.what in (*sights.SIGHTS, records.READINGS)],
        returned=returned,
        wanting=verification.missing_for_pass(call, found),
        asks_put_back=MID_OPEN in by_what
        and (found.islanded_since is None or _of_this_island(by_what.get(NOT_RETURNED), found) is not None),
        first_open=_first_open(progress, found, returned=returned and stand.usual, told=told, begun=begun is not None or returned),
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
    note = str(press.value.get("note", "")) if press else ""
    return CheckLine(check, _at(press.at, zone) if press else "", answer.words if answer else "", note)


def readings_told(told: dict[str, Any]) -> str:
    """ "refrigerator 640 W, state of charge 82 %, ..."; of a test on site only the load was read."""
    if "soc_percent" not in told:
        return f"{told['load_name']} {words.watts(told['load_w'])}"
    parts = [
        f"{told['load_name']} {words.watts(told['load_w'])}",
        f"state of charge {words.percent(told['soc_percent'] / 100)}",
        f"battery {words.watts(told['battery_w'])}",
        f"PV {words.watts(told['pv_w'])}",
        f"utility {words.watts(told['grid_w'])}",
    ]
    parts += [f"reserve {told['reserve_percent']} %"] if told.get("reserve_percent") is not None else []
    parts += [f"mode {told['mode']}"] if told.get("mode") else []
    return ", ".join(parts)


def _legs(told: dict[str, Any]) -> str:
    """What each leg carries, where they were read apart."""
    if told.get("leg_a_w") is None or told.get("leg_b_w") is None:
        return ""
    legs = limits.leg_currents(told["leg_a_w"], told["leg_b_w"], across_w=told.get("across_w") or 0)
    return f"Leg A {legs.a:.1f} A, leg B {legs.b:.1f} A, neutral {legs.neutral:.1f} A."


def load_of(told: dict[str, Any]) -> Load:
    parts = {name: told.get(name) for name in ("leg_a_w", "leg_b_w", "across_w", "start_lra")}
    return Load(total_w=told["load_w"], soc_percent=told["soc_percent"], pv_w=told["pv_w"], **parts)


def _against(call: CallRecord, told: dict[str, Any]) -> Against:
    fact = fittedpage.newest(call.job, k.BACKUP_LIMITS)
    given = {name: fact.value.get(name) for name in fittedpage.LIMIT_WORDS} if fact else {}
    entered, load = Limits(fact.said_by_name if fact else "", **given), load_of(told)
    findings = limits.judged(load, entered)
    return Against(entered.entered_by, findings, limits.outside(findings), limits.run_time_words(load, entered))


def _balance(press: Press | None, zone: str) -> BalanceLine | None:
    if press is None:
        return None
    told = press.value
    found = Balance(told["pv_w"], told["battery_w"], told["grid_w"], told["load_w"])
    utility = (
        "no power from or to the utility" if found.no_utility else f"{words.watts(found.grid_w)} from or to the utility: not disconnected"
    )
    return BalanceLine(_at(press.at, zone), balance_rows(told), found.words, utility)


def balance_rows(told: dict[str, Any]) -> list[tuple[str, str]]:
    """The four powers, what is left over, and voltage and frequency where they were shown."""
    found = Balance(told["pv_w"], told["battery_w"], told["grid_w"], told["load_w"])
    rows = [
        ("PV", words.watts(found.pv_w)),
        ("Battery", words.watts(found.battery_w)),
        ("Utility", words.watts(found.grid_w)),
        ("Load", words.watts(-found.load_w)),
        ("Left over", words.watts(found.residual_w)),
    ]
    rows += [("Voltage", f"{told['volts']:g}\u202fV")] if told.get("volts") is not None else []
    return rows + ([("Frequency", f"{told['hertz']:g}\u202fHz")] if told.get("hertz") is not None else [])


def _of_this_island(press: Press | None, found: Evidence) -> Press | None:
    return press if press and found.islanded_since and press.at >= found.islanded_since else None


def _lines(shown: Sequence[Sight], found: Evidence, by_what: dict[str, Press], stand: Stand) -> list[SightLine]:
    """Which may be pressed now, and the one that is expected next."""
    expected = _next(found, by_what, stand)
    return [SightLine(sight, possible=sights.possible(sight.what, stand), is_next=sight.what == expected) for sight in shown]


def _next(found: Evidence, by_what: dict[str, Press], stand: Stand) -> str:
    if not stand.islanded:
        if stand.opened:
            return "" if stand.usual else NORMAL
        return MID_OPEN if stand.ready and not stand.stopped else ""
    if stand.stopped or found.overlap:
        return MID_CLOSED if _of_this_island(by_what.get(RETURN_BEGUN), found) else RETURN_BEGUN
    return LOAD_SERVED if found.disconnected else UTILITY_POWER


def _seen(press: Press, zone: str) -> Seen:
    notes = []
    if press.corrects_id:
        notes.append(f"corrects an entry, recorded {_at(press.recorded_at, zone)}: {press.reason}")
    if press.withdrawn:
        notes.append("withdrawn: it was not seen")
    return Seen(
        str(press.uid),
        _at(press.at, zone),
        title_of(press.what),
        readings_told(press.value) if press.what == records.READINGS else sight_told(press.what, press.value),
        hasattr(press, "corrected_by") or press.withdrawn,
        "; ".join(notes),
    )


def sight_told(what: str, told: dict[str, Any]) -> str:
    """What was read or said at a sighting: "refrigerator, 640 W"."""
    if what == BALANCE:
        found = Balance(told["pv_w"], told["battery_w"], told["grid_w"], told["load_w"])
        return f"{words.watts(found.residual_w)} left over"
    parts = [str(told[name]) for name in ("load", "words") if told.get(name)]
    return ", ".join([*parts, words.watts(told["watts"])] if told.get("watts") is not None else parts)


def title_of(what: str) -> str:
    return "Readings before" if what == records.READINGS else sights.SIGHTS[what].title


def _first_open(progress: callsteps.Progress, found: Evidence, *, returned: bool, told: bool, begun: bool) -> str:
    if progress.before_readings:
        return "cautions"
    if not progress.has_readings:
        return "readings"
    if returned or told:
        return "result"
    return "return" if found.overlap or begun else "island"
