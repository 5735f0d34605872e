"""The page of a fitted collar: what its gateway reports against what is registered, the cut-over of the metering, the limits entered."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from jobs.core import facts, walltime, words
from jobs.core import kinds as k
from jobs.core.charts.marks import Chart
from jobs.core.charts.paired import Difference, paired
from jobs.core.models import Fact, Job
from jobs.core.states import Facts, Known

OLDER = "the report is older than the fitting, so it is not about the fitted collar"


@dataclass(frozen=True)
class Line:
    """One thing that was registered, and what was reported of it. differs: in words, empty where nothing stands against it."""

    what: str
    registered: str
    reported: str
    differs: str


@dataclass(frozen=True)
class PairLine:
    time: str
    cts: str
    collar: str
    difference: str


@dataclass(frozen=True)
class CutOver:
    fact: Fact
    lines: Sequence[PairLine]
    chart: Chart
    bias: str
    low: str
    high: str


@dataclass(frozen=True)
class Entered:
    """Limits as somebody entered them: (name, figure)."""

    by: str
    day: dt.date
    read_from: str
    lines: Sequence[tuple[str, str]]


def lines_of(known: Facts, *, zone: str, today: dt.date) -> list[Line]:
    """Serial, state, firmware, last seen: registered against reported."""
    report, update = known.latest(k.GATEWAY_REPORT), known.latest(k.SOFTWARE_UPDATED)
    stale = OLDER if report and known.fitted and report.day < known.fitted.day else ""
    told = report.value if report else {}
    serial, state, firmware = (str(told.get(name, "")) for name in ("serial", "state", "firmware"))
    version = str(update.value.get("version", "")) if update else ""
    wrong_state = f"it reports the collar {state}; closed is wanted before a call" if state in ("open", "not seen") else ""
    return [
        Line("Serial", known.serial or "none registered", serial or "not reported", serial_differs(known.serial, serial) or stale),
        Line(
            "State", "closed, before a call", f"collar {state}" if state else "not reported", wrong_state or ("" if state else "no report")
        ),
        Line(
            "Firmware",
            version or ("update confirmed, version not told" if update else "update not confirmed"),
            firmware or "not reported",
            "" if update else "the software update is not confirmed",
        ),
        Line("Last seen", "lately", _last_seen(known, zone=zone, today=today), "" if report else "the gateway has not reported"),
    ]


def serial_differs(registered: str, reported: str) -> str:
    if not reported or not registered or reported == registered:
        return ""
    return f"another collar is reported: {reported}, registered is {registered}"


def _last_seen(known: Facts, *, zone: str, today: dt.date) -> str:
    seen: list[Known] = [fact for fact in known.of(k.GATEWAY_REPORT, k.COMMUNICATIONS_SEEN) if fact.at is not None]
    if not seen:
        return "never"
    at = max(fact.at for fact in seen if fact.at is not None).astimezone(walltime.zone_of(zone))
    return f"{words.day_short(at.date(), today=today)}, {words.time_office(at)}"


def cut_over_of(fact: Fact, *, width: float = 640) -> CutOver:
    value, numbers = fact.value, fact.value["numbers"]
    pairs = [(str(time), int(cts), int(collar)) for time, cts, collar in value["pairs"]]
    dots = [Difference(_minute(time), cts - collar, f"{time}: {words.watts(cts - collar)}") for time, cts, collar in pairs]
    bias, low, high = (float(numbers[name]) for name in ("bias_w", "low_w", "high_w"))
    label = f"{words.count(len(dots), 'pair')}: the CTs read {words.watts(bias)} more than the collar in the mean"
    return CutOver(
        fact,
        [PairLine(time, words.watts(cts), words.watts(collar), words.watts(cts - collar)) for time, cts, collar in pairs],
        paired(name="paired", dots=dots, bias_w=bias, low_w=low, high_w=high, label=label, width=width),
        f"{bias:.1f}".replace("-", "\u2212"),
        f"{low:.1f}".replace("-", "\u2212"),
        f"{high:.1f}".replace("-", "\u2212"),
    )


def _minute(time: str) -> int:
    hours, minutes = time.split(":")
    return int(hours) * 60 + int(minutes)


LIMIT_WORDS = {
    "continuous_w": ("Continuous power", "W"),
    "leg_a": ("Current of a leg", "A"),
    "start_va": ("Power of a start", "VA"),
    "usable_wh": ("Usable energy", "Wh"),
    "floor_percent": ("Floor of the charge", "%"),
    "charge_w": ("Charging power", "W"),
    "taper_percent": ("Takes less from", "%"),
    "efficiency_percent": ("Energy that arrives", "%"),
}


def entered_of(job: Job) -> Entered | None:
    fact = newest(job, k.BACKUP_LIMITS)
    if fact is None:
        return None
    lines = [
        (name, f"{words.number(fact.value[key])}\u202f{unit}" if key in fact.value else "not entered")
        for key, (name, unit) in LIMIT_WORDS.items()
    ]
    return Entered(fact.said_by_name, fact.day, str(fact.value.get("read_from", "")), lines)


def newest(job: Job, kind: str) -> Fact | None:
    return job.facts.standing().of_kind(kind).order_by("day", "pk").last()


def wanted_of(job: Job, known: Facts) -> list[str]:
    """What the metering still lacks, for lists that say what is missing before a call; it stops none."""
    if not job.has_battery or known.fitted is None:
        return []
    since = known.fitted.after or known.fitted.day
    gaps = []
    if not [fact for fact in known.of(k.METER_CUT_OVER) if fact.day >= since]:
        gaps.append("the metering, cut over with paired readings")
    if not known.of(k.BACKUP_LIMITS):
        gaps.append("the limits of the backup, entered")
    return gaps


def page_of(job: Job, *, today: dt.date) -> dict[str, object]:
    known = facts.of(job)
    fact = newest(job, k.METER_CUT_OVER)
    lines = lines_of(known, zone=job.site.zone, today=today)
    report = known.latest(k.GATEWAY_REPORT)
    other = serial_differs(known.serial, str(report.value.get("serial", ""))) if report else ""
    return {
        "lines": lines,
        "other": other,
        "cut_over": cut_over_of(fact) if fact else None,
        "entered": entered_of(job),
        "wanted": wanted_of(job, known),
    }
