"""Kinds of fact, what each must say, and the recording of one. Acts call `record`; nothing else writes a Fact."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from jobs.core import clock, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.models import Document, Fact, Job
from jobs.core.refusals import Refused
from jobs.core.states import Facts, Known

ON, AT, BRACKET = "on", "at", "bracket"


@dataclass(frozen=True)
class Field:
    type: type
    required: bool = True
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class FactKind:
    words: str  # as the ledger says it
    when: str = ON
    fields: Mapping[str, Field] = field(default_factory=dict)
    own: str = ""  # whoever holds this right may correct the kind as their own
    after: tuple[str, ...] = ()  # kinds that must not have happened later than this one


def _text(*choices: str, required: bool = True) -> Field:
    return Field(str, required, choices)


OPTIONAL = _text(required=False)

VISIT_OUTCOMES = (
    "fitted",
    "could not get in",
    "nobody home",
    "collar not found",
    "collar damaged or wrong",
    "meter or socket not suitable",
    "unsafe condition found",
    "not the right crew or equipment",
    "cancelled by utility",
    "unknown",
)
MEDICAL_ANSWERS = ("no", "yes", "not sure", "declined")
LIFT_ANSWERS = ("no", "yes", "not sure")
CALL_RESULTS = ("passed", "not passed", "not finished")

SEAL_STATES = ("intact", "broken", "absent")
SOCKETS = ("ring", "ringless")
JAWS = ("four", "five", "not seen")
FITTING_SOURCES = ("utility", "homeowner", "gateway", "our enquiry")
CLEARANCES = ("clear", "obstructed")
SERVICE_VOLTAGES = ("120/240", "120/208", "another", "not known")
# What is set on the day of commissioning: before the collar is in there is one right mode, and no other may be recorded.
MODES = ("grid-tied", "backup")
COMMUNICATIONS = ("Ethernet", "Wi-Fi", "cellular", "none yet")
CABLE_ENDS = ("terminated", "capped", "not seen")
COLLAR_LOST = ("missing", "damaged")
CT_PLACES = ("between the meter and every source", "after the connection of PV", "not seen")
OLDER_PV = ("none", "with its own CT", "without a CT", "not known")
DIRECTIONS = ("import", "export", "not shown")
VERDICTS = ("consistent", "inconsistent", "cannot tell")
# The site has one meter. Of the old CTs a technician withdraws the setting; anything physical is an electrician's.
SITE_METERS = ("the collar", "the consumption CTs")
OLD_CTS = (
    "withdrawn from metering, left in place",
    "removed by an electrician",
    "left as an electrician recorded",
    "still the site's meter",
)
SITE_VISIT_ENDS = ("mended, test by telephone", "tested on site", "not done", "called off")
_CHECKED: Mapping[str, Field] = {
    "verdict": _text(*VERDICTS),
    "cause": OPTIONAL,
    "next_test": OPTIONAL,
    "readings": Field(dict),
    "numbers": Field(dict),
}

KINDS: dict[str, FactKind] = {
    k.CONTRACT_SIGNED: FactKind("contract signed", own="core.add_jobs"),
    k.SURVEYED: FactKind(
        "meter and service surveyed",
        own="core.record_day_one",
        fields={
            "meter_form": OPTIONAL,
            "meter_class": Field(int, False),
            "socket": _text(*SOCKETS, required=False),
            "jaws": _text(*JAWS, required=False),
            "service_voltage": _text(*SERVICE_VOLTAGES),
            "service_a": Field(int, False),
            "clearance": _text(*CLEARANCES),
            "obstruction": OPTIONAL,
            "in_socket": OPTIONAL,
            "generator": Field(bool, False),
        },
    ),
    k.SEAL_SEEN: FactKind("seal at the meter", own="core.record_day_one", fields={"state": _text(*SEAL_STATES), "remark": OPTIONAL}),
    k.SEAL_REPORTED: FactKind(
        "seal reported to the utility",
        own="core.record_requests",
        after=(k.SEAL_SEEN,),
        fields={"how": _text(), "who": OPTIONAL, "reference": OPTIONAL},
    ),
    k.INSTALLED: FactKind("system installed", own="core.record_day_one", after=(k.CONTRACT_SIGNED,)),
    k.COMMISSIONED: FactKind(
        "commissioned grid-tied",
        own="core.record_day_one",
        after=(k.CONTRACT_SIGNED, k.INSTALLED),
        fields={
            "note": OPTIONAL,
            "mode": _text("grid-tied", required=False),
            "reserve_percent": Field(int, False),
            "communications": _text(*COMMUNICATIONS, required=False),
            "firmware": OPTIONAL,
            "export_limit_w": Field(int, False),
        },
    ),
    k.CTS_FITTED: FactKind(
        "consumption CTs fitted",
        own="core.record_day_one",
        fields={
            "place": _text(*CT_PLACES),
            "rated_a": Field(int),
            "ratio_set_a": Field(int),
            "accuracy_class": OPTIONAL,
            "arrows": OPTIONAL,
            "serial_a": OPTIONAL,
            "serial_b": OPTIONAL,
            "older_pv": _text(*OLDER_PV),
        },
    ),
    k.CT_CHECK: FactKind(
        "consumption-CT check",
        own="core.record_day_one",
        fields=_CHECKED,
    ),
    k.PV_CHECK: FactKind("consumption CTs when PV came on", own="core.record_day_one", fields=_CHECKED),
    k.METER_TIMED: FactKind(
        "utility meter timed",
        own="core.record_day_one",
        fields={"direction": _text(*DIRECTIONS), "told": _text(), "readings": Field(dict), "numbers": Field(dict)},
    ),
    k.COLLAR_REGISTERED: FactKind("collar registered", own="core.record_custody", fields={"serial": _text(), "revision": OPTIONAL}),
    k.COLLAR_STAGED: FactKind(
        "collar staged",
        own="core.record_custody",
        fields={
            "place": OPTIONAL,
            "photo": OPTIONAL,
            "reason": OPTIONAL,
            "serial_seen": OPTIONAL,
            "label": OPTIONAL,
            "cable_run": OPTIONAL,
            "cable_coiled_cm": Field(int, False),
            "cable_end": _text(*CABLE_ENDS, required=False),
            "cable_labelled": Field(bool, False),
            "cable_dead": Field(bool, False),
            "told_not_to_move": Field(bool, False),
        },
    ),
    k.BAG_SEEN: FactKind("bag seen where it hangs", own="core.record_custody", after=(k.COLLAR_STAGED,)),
    k.COLLAR_LOST: FactKind(
        "collar found missing or damaged",
        own="core.record_custody",
        fields={
            "what": _text(*COLLAR_LOST),
            "reported_by": OPTIONAL,
            "police_report": OPTIONAL,
            "who_pays": OPTIONAL,
            "claim": OPTIONAL,
        },
    ),
    k.SHEET_GIVEN: FactKind(
        "hand-over sheet given",
        own="core.record_day_one",
        fields={"to": OPTIONAL, "language": OPTIONAL, "given_by": OPTIONAL, "signed_by": OPTIONAL},
    ),
    k.PERMISSION_TO_OPERATE: FactKind("permission to operate", own="core.record_papers", fields={"reference": OPTIONAL}),
    k.FINAL_INSPECTION: FactKind("final inspection passed", own="core.record_papers", fields={"reference": OPTIONAL}),
    k.REQUEST_SENT: FactKind(
        "request to fit sent",
        own="core.record_requests",
        after=(k.CONTRACT_SIGNED,),
        fields={"request": _text(), "utility": _text(), "route": OPTIONAL, "again": Field(bool, False), "service": OPTIONAL},
    ),
    k.REQUEST_ENDED: FactKind(
        "request ended", own="core.record_requests", after=(k.REQUEST_SENT,), fields={"request": _text(), "reason": _text()}
    ),
    k.CONTACT: FactKind(
        "contact with the utility",
        own="core.record_requests",
        fields={
            "asked": OPTIONAL,
            "answered": OPTIONAL,  # nothing: a letter of ours that has left
            "promised_by": OPTIONAL,
            "next_on": OPTIONAL,
            "person": OPTIONAL,
            "channel": OPTIONAL,
            "request": OPTIONAL,
        },
    ),
    k.VISIT: FactKind(
        "utility's visit",
        own="core.record_requests",
        after=(k.REQUEST_SENT,),
        fields={
            "outcome": _text(*VISIT_OUTCOMES),
            "next_actor": OPTIONAL,
            "next_act": OPTIONAL,
            "next_due_on": OPTIONAL,
            "reason": OPTIONAL,
            "request": OPTIONAL,
        },
    ),
    k.SITE_CONFIRMED: FactKind(
        "bag and access confirmed",
        own="core.record_requests",
        after=(k.REQUEST_SENT,),
        fields={"bag": _text(), "access": _text(), "request": OPTIONAL},
    ),
    k.FITTING_REPORTED: FactKind(
        "fitting reported, to be confirmed",
        when=BRACKET,
        own="core.record_requests",
        after=(k.REQUEST_SENT,),
        fields={"source": _text(*FITTING_SOURCES), "serial": OPTIONAL, "meter": OPTIONAL, "remark": OPTIONAL, "request": OPTIONAL},
    ),
    k.COLLAR_FITTED: FactKind(
        "collar fitted and energized",
        when=BRACKET,
        own="core.record_requests",
        after=(k.REQUEST_SENT,),
        fields={"serial": OPTIONAL, "remark": OPTIONAL, "request": OPTIONAL},
    ),
    k.COLLAR_REMOVED: FactKind(
        "collar removed", when=BRACKET, own="core.record_requests", after=(k.COLLAR_FITTED,), fields={"sign": OPTIONAL, "meter": OPTIONAL}
    ),
    k.HOMEOWNER_TOLD: FactKind(
        "homeowner told that there is no backup",
        own="core.record_requests",
        fields={"how": _text("telephone", "in writing"), "who": OPTIONAL},
    ),
    k.GATEWAY_REPORT: FactKind(
        "gateway's report",
        when=AT,
        own="core.record_gateway",
        fields={"serial": OPTIONAL, "state": _text("closed", "open", "not seen"), "firmware": OPTIONAL},
    ),
    k.COMMUNICATIONS_SEEN: FactKind("communications seen live", when=AT, own="core.record_gateway"),
    k.SOFTWARE_UPDATED: FactKind("software update confirmed", own="core.record_gateway", fields={"version": OPTIONAL}),
    k.METER_CUT_OVER: FactKind(
        "metering cut over",
        when=AT,
        own="core.record_gateway",
        after=(k.COLLAR_FITTED,),
        fields={
            "meter": _text(*SITE_METERS),
            "old_cts": _text(*OLD_CTS),
            "electrician": OPTIONAL,
            "verdict": _text(*VERDICTS),
            "told": _text(),
            "pairs": Field(list),
            "numbers": Field(dict),
        },
    ),
    k.BACKUP_LIMITS: FactKind(
        "limits of the backup entered",
        own="core.record_gateway",
        fields={
            "continuous_w": Field(int, False),
            "leg_a": Field(int, False),
            "start_va": Field(int, False),
            "usable_wh": Field(int, False),
            "floor_percent": Field(int, False),
            "charge_w": Field(int, False),
            "taper_percent": Field(int, False),
            "efficiency_percent": Field(int, False),
            "read_from": OPTIONAL,
        },
    ),
    k.SHEET_TWO_GIVEN: FactKind(
        "hand-over sheet two given",
        own="core.record_gateway",
        after=(k.VERIFICATION,),
        fields={"to": _text(), "language": _text("en", "es"), "how": OPTIONAL},
    ),
    k.MEDICAL_ANSWER: FactKind(
        "powered medical equipment relied on",
        own="core.record_medical",
        fields={"answer": _text(*MEDICAL_ANSWERS), "on_call": Field(bool, False)},
    ),
    k.LIFT_ANSWER: FactKind("lift or stair lift at the home", own="core.record_medical", fields={"answer": _text(*LIFT_ANSWERS)}),
    k.EMERGENCY_OPENED: FactKind(
        "emergency at the home", when=AT, own="core.end_emergency", fields={"what": _text(), "off": OPTIONAL, "caller": OPTIONAL}
    ),
    k.EMERGENCY_ENDED: FactKind("emergency over", when=AT, own="core.end_emergency", fields={"how": _text()}),
    # Facts of calls are their appointments' own: a call is moved or given up, a voided record stays voided.
    k.CALL_OFFERED: FactKind("call offered", fields={"appointment": _text(), "on": _text(), "time": _text()}),
    k.CALL_BOOKED: FactKind("call booked", fields={"appointment": _text(), "on": _text(), "time": _text()}),
    k.CALL_ENDED: FactKind("call given up", fields={"appointment": _text(), "how": _text()}),
    k.VERIFICATION: FactKind(
        "verification",
        when=AT,
        own="",  # immutable; corrections are additions to the record
        after=(k.COLLAR_FITTED,),
        fields={"result": _text(*CALL_RESULTS), "record": _text(), "reason": OPTIONAL},
    ),
    k.VERIFICATION_VOIDED: FactKind("verification voided", fields={"record": _text(), "reason": _text()}),
    k.SITE_VISIT_PLANNED: FactKind(
        "site visit planned", after=(k.COLLAR_FITTED,), fields={"visit": _text(), "on": _text(), "reason": _text(), "who": _text()}
    ),
    k.SITE_VISIT_ENDED: FactKind("site visit ended", fields={"visit": _text(), "how": _text(*SITE_VISIT_ENDS), "found": OPTIONAL}),
    k.CANCELLED: FactKind("contract cancelled", own="core.cancel_jobs", fields={"reason": _text()}),
}


@dataclass(frozen=True)
class Said:
    """Who told us: the role, and the name where there is one."""

    role: str
    name: str = ""


@dataclass(frozen=True)
class When:
    """A day, an instant, or a bracket (after, by]; a known day is a bracket of its own."""

    on: dt.date | None = None
    at: dt.datetime | None = None
    after: dt.date | None = None
    by: dt.date | None = None

    def day_at(self, zone: str) -> dt.date:
        from zoneinfo import ZoneInfo

        if self.at is not None:
            return self.at.astimezone(ZoneInfo(zone)).date()
        day = self.on or self.by
        assert day is not None, "a fact needs a day"
        return day


def of(job: Job) -> Facts:
    """The standing facts of a job for the pure rules."""
    return Facts(known(job.facts.standing()))


def known(rows: Iterable[Fact]) -> list[Known]:
    rows = list(rows)
    turns = _turns(rows)
    return [
        Known(
            fact.kind,
            fact.day,
            fact.pk,
            fact.value,
            after=fact.after_on,
            at=fact.happened_at,
            recorded_on=fact.recorded_at.date(),
            turn=turns.get(fact.pk),
        )
        for fact in rows
    ]


def _turns(rows: Sequence[Fact]) -> dict[int, int]:
    """Of each correction the key of the fact that its chain began with. No query where nothing was corrected."""
    turns = {fact.pk: fact.replaces_id for fact in rows if fact.replaces_id is not None}
    while turns:
        before = dict(Fact.objects.filter(pk__in=turns.values(), replaces__isnull=False).values_list("pk", "replaces_id"))
        if not before:
            break
        turns = {pk: before.get(first) or first for pk, first in turns.items()}
    return turns


def record(
    job: Job,
    kind: str,
    *,
    when: When,
    said_by: Said,
    by: Actor,
    value: Mapping[str, Any] | None = None,
    note: str = "",
    evidence: Sequence[Document] = (),
    replaces: Fact | None = None,
    reason: str = "",
    withdrawn: bool = False,
    source_key: str | None = None,
) -> Fact:
    """Write one fact after checking its words, its day and its causes. The caller holds the job's lock and settles afterwards."""
    spec = KINDS[kind]
    value = dict(value or {})
    _check_value(kind, spec, value)
    _check_when(spec, when)
    day = when.day_at(job.site.zone)
    if not withdrawn:
        _check_day(job, kind, day, replaces)
    fact = Fact.objects.create(
        job=job,
        kind=kind,
        happened_on=when.on,
        happened_at=when.at,
        after_on=when.after,
        by_on=when.by,
        day=day,
        said_by_role=said_by.role,
        said_by_name=said_by.name,
        value=value,
        note=note,
        recorded_at=clock.now(),
        recorded_by=by.user,
        recorded_by_name=by.name,
        replaces=replaces,
        reason=reason,
        withdrawn=withdrawn,
        source=by.source,
        source_key=source_key or (f"{by.sending}/{kind}" if by.sending else None),
    )
    if evidence:
        fact.evidence.set(evidence)
    return fact


def _check_value(kind: str, spec: FactKind, value: dict[str, Any]) -> None:
    if unknown := set(value) - set(spec.fields):
        raise Refused(f"“{spec.words}” does not say anything about {', '.join(sorted(unknown))}.")
    for name, wanted in spec.fields.items():
        given = value.get(name)
        if given in (None, ""):
            if wanted.required:
                raise Refused(f"“{spec.words}” must say its {name.replace('_', ' ')}.", field=name)
            value.pop(name, None)
        elif not isinstance(given, wanted.type):
            raise Refused(f"The {name.replace('_', ' ')} of “{spec.words}” is of the wrong kind.", field=name)
        elif wanted.choices and given not in wanted.choices:
            raise Refused(f"The {name.replace('_', ' ')} must be one of: {', '.join(wanted.choices)}.", field=name)


def _check_when(spec: FactKind, when: When) -> None:
    if spec.when == AT and when.at is None:
        raise Refused(f"“{spec.words}” needs the time at which it was seen.", field="at")
    if when.at is not None and when.at > clock.now():
        raise Refused("That time has not come yet; record what was seen after it was seen.", field="time")
    if when.after and when.by and when.after >= when.by:
        raise Refused("The last day it was seen not fitted must come before the first day it was seen fitted.", field="after_on")


def _check_day(job: Job, kind: str, day: dt.date, replaces: Fact | None) -> None:
    others = job.facts.standing().exclude(pk=replaces.pk if replaces else 0).values_list("kind", "day")
    if fault := day_fault(kind, day, others=list(others), today=clock.today_in(job.site.zone)):
        raise Refused(fault, field="on")


def day_fault(kind: str, day: dt.date, *, others: Sequence[tuple[str, dt.date]], today: dt.date) -> str | None:
    """What is wrong with a fact's day beside (kind, day) of the other standing facts, in a sentence. `today`: at the home."""
    if day > today:
        return f"{words.day(day)} has not come yet at the home; record it when it has happened."
    days: dict[str, list[dt.date]] = {}
    for other, other_day in others:
        days.setdefault(other, []).append(other_day)
    for cause in KINDS[kind].after:
        if cause in days and min(days[cause]) > day:
            return _out_of_order(kind, day, cause, f"was on {words.day(min(days[cause]))}")
    for effect, spec in KINDS.items():
        # The effect needs some cause on or before its day; this one may come later only if another stands before.
        if kind in spec.after and effect in days and min(days[effect]) < day:
            first = min(days[effect])
            if not any(own <= first for own in days.get(kind, [])):
                return _out_of_order(kind, day, effect, f"was already on {words.day(first)}")
    return None


def _out_of_order(kind: str, day: dt.date, other: str, was: str) -> str:
    return f"{_capital(KINDS[kind].words)} cannot be on {words.day(day)}: {KINDS[other].words} {was}. Correct one of the days."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
