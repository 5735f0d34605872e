"""From a verification record to its papers: plain values for the record's sheet and for hand-over sheet two."""

from __future__ import annotations

import datetime as dt
from typing import Any

from jobs.appointments import callpage, callsteps, limits
from jobs.appointments.homewords import day as day_home
from jobs.appointments.limits import Balance, Limits
from jobs.appointments.models import VerificationRecord
from jobs.appointments.records import READINGS
from jobs.appointments.sights import BALANCE, SIGHTS
from jobs.core import clock, fittedpage, phones, rules, walltime, words
from jobs.core import kinds as k
from jobs.core.papers.handovertwo import SheetTwo
from jobs.core.papers.verification import Record, Seen
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.core.words import Lang
from utilities import services


def record_of(record: VerificationRecord) -> Record:
    """All that the record's paper says, in the site's time."""
    zone, job = record.zone, record.job
    additions = list(record.additions.all())
    voiding = next((addition for addition in additions if addition.voids), None)
    rows = [(press, _seen(press, zone)) for press in record.presses]
    corrected = {press["corrects"] for press in record.presses if press["corrects"]}
    lines = [
        (press["what"], _struck(line) if press["withdrawn"] or press["id"] in corrected else line)
        for press, line in rows
        if line is not None
    ]
    visit = record.visit
    software = [record.equipment.get("firmware", ""), record.equipment.get("version", "")]
    return Record(
        company=rules.text("company_name"),
        phone=phones_of("company_phone"),
        job=job.code,
        home=job.site.line,
        day=words.day(record.day),
        where=f"on site, with {visit.licensed_name}, license {visit.license_number}" if visit else "by telephone",
        result=f"{record.result.capitalize()}{f': {record.reason}' if record.reason else ''}",
        voided=voiding.text if voiding else "",
        verifier=record.verifier_name,
        attendee=record.person_name,
        statement=record.statement,
        serial=record.equipment.get("serial", "") or "not known",
        software=", ".join(part for part in software if part) or "not told",
        times=_times(record, zone),
        put_back=record.put_back,
        answers=tuple(line for what, line in lines if what.partition(":")[0] in ("caution", "check")),
        seen=tuple(line for what, line in lines if what.partition(":")[0] not in ("caution", "check")),
        balance=_balance(record),
        additions=tuple((f"{words.day(_local(a.at, zone).date())}, {a.by_name}{', voided' if a.voids else ''}", a.text) for a in additions),
        as_of=words.day(clock.office_today()),
    )


def sheet_two_of(record: VerificationRecord, *, lang: Lang) -> SheetTwo:
    """Refused where the home's backup is not verified by this record any more: the sheet would say what is not so."""
    job = record.job
    voided = any(addition.voids for addition in record.additions.all())
    if record.result != "passed" or voided or job.state != S.BACKUP_VERIFIED:
        raise Refused("Sheet two says that the backup was tested and passed; of this home that does not stand.")
    utility, line = services.utility_of(job), services.emergency_line(job)
    return SheetTwo(
        lang=lang,
        company=rules.text("company_name"),
        phone=phones_of("company_phone"),
        job=job.code,
        home=job.site.line,
        tested_on=day_home(record.day, lang=lang),
        tested_by=record.verifier_name,
        load=_load_seen(record),
        hours=_hours(record),
        utility=utility.name if utility else "",
        utility_phone=phones.shown(line) if line else "",
        has_battery=job.has_battery,
        has_pv=job.has_pv,
    )


def phones_of(rule: str) -> str:
    told = rules.text(rule)
    return phones.shown(told) if told.startswith("+") else told


def _local(at: dt.datetime, zone: str) -> dt.datetime:
    return at.astimezone(walltime.zone_of(zone))


def _clock(at: dt.datetime, zone: str) -> str:
    return words.time_office(_local(at, zone), seconds=True)


def _times(record: VerificationRecord, zone: str) -> tuple[tuple[str, str], ...]:
    stretches = (
        ("Disconnected", record.disconnected_from, record.disconnected_to),
        ("Load seen served", record.served_from, record.served_to),
        ("Both seen together", record.overlap_from, record.overlap_to),
    )
    told = []
    for name, first, last in stretches:
        if first is None or last is None:
            told.append((name, "not seen"))
        else:
            begins, ends = _clock(first, zone), _clock(last, zone)
            told.append((name, f"at {begins}" if begins == ends else f"from {begins} to {ends}"))
    return tuple(told)


def _seen(press: dict[str, Any], zone: str) -> Seen | None:
    """One line; the medical answer stays out: the paper goes to people who may not know it."""
    what, value = str(press["what"]), press["value"]
    kind, _, name = what.partition(":")
    time, note = _clock(dt.datetime.fromisoformat(press["at"]), zone), str(press["reason"])
    if kind == "caution":
        return Seen(time, f"Caution: {callsteps.CAUTION_WORDS.get(name, name)}", "heard and understood")
    if kind == "check":
        if name == "medical":
            return None
        asked = callsteps.check(name)
        answer = asked.answer(str(value.get("answer"))) if asked else None
        return Seen(time, asked.title if asked else name, answer.words if answer else str(value.get("answer")), str(value.get("note", "")))
    if what == READINGS:
        return Seen(time, callpage.title_of(what), callpage.readings_told(value), note)
    return Seen(time, SIGHTS[what].title if what in SIGHTS else what, callpage.sight_told(what, value), note)


def _struck(line: Seen) -> Seen:
    return Seen(line.time, line.what, line.told, line.note or "corrected", corrected=True)


def _balance(record: VerificationRecord) -> tuple[tuple[str, str], ...]:
    standing = [press for press in _standing(record) if press["what"] == BALANCE]
    if not standing:
        return ()
    told = standing[-1]["value"]
    found = Balance(told["pv_w"], told["battery_w"], told["grid_w"], told["load_w"])
    rows = callpage.balance_rows(told)
    return (*rows, ("What they show", found.words))


def _standing(record: VerificationRecord) -> list[dict[str, Any]]:
    corrected = {press["corrects"] for press in record.presses if press["corrects"]}
    return [press for press in record.presses if not press["withdrawn"] and press["id"] not in corrected]


def _load_seen(record: VerificationRecord) -> str:
    seen = [press["value"] for press in _standing(record) if press["what"] == "load_served" and press["value"].get("load")]
    return str(seen[-1]["load"]) if seen else ""


def _hours(record: VerificationRecord) -> tuple[float, float] | None:
    """From the charge and the load of the test, where limits were entered and all of it was read."""
    fact = fittedpage.newest(record.job, k.BACKUP_LIMITS)
    read = next((press["value"] for press in reversed(_standing(record)) if press["what"] == READINGS), None)
    if fact is None or read is None or "soc_percent" not in read:
        return None
    entered = Limits(fact.said_by_name, **{name: fact.value.get(name) for name in fittedpage.LIMIT_WORDS})
    return limits.run_time_range(callpage.load_of(read), entered)
