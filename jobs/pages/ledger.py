"""The ledger of a job's facts: what happened, who said so, what shows it, and what was corrected."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.urls import reverse

from jobs.core import kinds as k
from jobs.core import walltime, words
from jobs.core.facts import KINDS
from jobs.core.models import Fact
from jobs.core.states import AS_LISTED

RECENT = 6  # facts that stand open; older ones fold into one row
PHOTOGRAPHED = (k.COLLAR_STAGED, k.COLLAR_FITTED, k.COLLAR_LOST, k.VISIT)  # where a photo is expected, its absence is said


@dataclass(frozen=True)
class Evidence:
    words: str
    url: str


@dataclass(frozen=True)
class Entry:
    """One row. `struck` rows were corrected or voided by a row below them; `anchor` is what their "corrected" link leads to."""

    anchor: str
    day: str
    title: str
    under: str
    said_by: str
    evidence: tuple[Evidence, ...]
    no_photo: bool
    recorded: str  # the day
    recorded_by: str
    struck: str = ""  # corrected, voided
    corrected_on: str = ""
    corrected_by: str = ""  # the anchor of the correction
    correction: str = ""  # why it was corrected, on the correcting row
    correct_url: str = ""
    on: dt.date | None = None


@dataclass(frozen=True)
class Ledger:
    older: tuple[Entry, ...]
    recent: tuple[Entry, ...]
    older_from: dt.date | None = None
    older_to: dt.date | None = None

    @property
    def older_count(self) -> int:
        return sum(entry.struck != "corrected" for entry in self.older)


def ledger(facts: Sequence[Fact], *, zone: str, today: dt.date, may_correct: bool) -> Ledger:
    """`facts`: all that this person may see of the job, corrected ones too, with their evidence fetched."""
    chains = _chains(facts)
    voided = _voided(chains)
    entries = [
        [_entry(fact, chain, voided.get(fact.pk), zone=zone, today=today, may_correct=may_correct) for fact in chain] for chain in chains
    ]
    older, recent = entries[:-RECENT], entries[-RECENT:]
    days = [chain[-1].day for chain in chains[:-RECENT]]
    return Ledger(
        tuple(entry for chain in older for entry in chain),
        tuple(entry for chain in recent for entry in chain),
        min(days, default=None),
        max(days, default=None),
    )


def _chains(facts: Sequence[Fact]) -> list[list[Fact]]:
    """Each fact after those it corrected, by the day of the newest: a corrected day moves the whole chain to its place."""
    by_pk = {fact.pk: fact for fact in facts}
    replaced = {fact.replaces_id for fact in facts if fact.replaces_id}
    chains = []
    for last in facts:
        if last.pk in replaced:
            continue
        chain = [last]
        while (before := by_pk.get(chain[0].replaces_id or 0)) is not None:
            chain.insert(0, before)
        chains.append(chain)
    return sorted(chains, key=lambda chain: (chain[-1].day, chain[-1].pk))


def _voided(chains: Sequence[Sequence[Fact]]) -> dict[int, Fact]:
    """The voiding of each verification that was voided: both name its record."""
    standing = [chain[-1] for chain in chains if not chain[-1].withdrawn]
    voidings = {fact.value.get("record"): fact for fact in standing if fact.kind == k.VERIFICATION_VOIDED}
    return {
        fact.pk: voidings[fact.value["record"]] for fact in standing if fact.kind == k.VERIFICATION and fact.value.get("record") in voidings
    }


def _entry(fact: Fact, chain: Sequence[Fact], voiding: Fact | None, *, zone: str, today: dt.date, may_correct: bool) -> Entry:
    place = chain.index(fact)
    after = chain[place + 1] if place + 1 < len(chain) else None
    title, under = described(fact, today=today)
    evidence = tuple(Evidence(document.subject, reverse("document", kwargs={"uid": document.uid})) for document in fact.evidence.all())
    if fact.kind == k.CT_CHECK and not fact.withdrawn:
        evidence += (Evidence("numbers", reverse("ct_check", kwargs={"uid": fact.uid})),)
    stands = after is None and not fact.withdrawn
    struck_by = after or voiding
    return Entry(
        anchor=_anchor(fact),
        day=day_of(fact, zone=zone, today=today),
        title=f"Did not happen: {title}" if fact.withdrawn else title,
        under="" if fact.withdrawn else under,
        said_by=_said_by(fact),
        evidence=evidence,
        no_photo=not evidence and fact.kind in PHOTOGRAPHED and stands,
        recorded=_day_in(fact.recorded_at, zone, today),
        recorded_by=fact.recorded_by_name,
        struck="corrected" if after else "voided" if voiding else "",
        corrected_on=_day_in(struck_by.recorded_at, zone, today) if struck_by else "",
        corrected_by=_anchor(struck_by) if struck_by else "",
        correction=f"corrected: {fact.reason}" if fact.replaces_id else "",
        correct_url=reverse("correct", kwargs={"uid": fact.uid}) if stands and may_correct and KINDS[fact.kind].own else "",
        on=fact.day,
    )


def _anchor(fact: Fact) -> str:
    # By its uid: numeric keys do not leave the process.
    return f"f{fact.uid.hex[:12]}"


def day_of(fact: Fact, *, zone: str, today: dt.date) -> str:
    """The day for the margin: "10 Sep", "9–12 Nov", with the time where one is known."""
    if fact.happened_at is not None:
        at = fact.happened_at.astimezone(walltime.zone_of(zone))
        return f"{words.day_short(at.date(), today=today)} {words.time_office(at)}"
    if fact.after_on is not None and fact.by_on is not None:
        return words.bracket_short(fact.after_on, fact.by_on, today=today)
    if fact.by_on is not None:
        return words.bracket_short(None, fact.by_on, today=today)
    return words.day_short(fact.day, today=today)


def _day_in(at: dt.datetime, zone: str, today: dt.date) -> str:
    return words.day_short(at.astimezone(walltime.zone_of(zone)).date(), today=today)


def _said_by(fact: Fact) -> str:
    role = fact.said_by_role[:1].upper() + fact.said_by_role[1:]
    return f"{role}, {fact.said_by_name}" if fact.said_by_name else role


# What each kind says besides its name: (title, second line).


def described(fact: Fact, *, today: dt.date) -> tuple[str, str]:
    value = fact.value
    name = KINDS[fact.kind].words
    title, under = _TOLD.get(fact.kind, _plain)(name, value, today)
    return title[:1].upper() + title[1:], _joined(under, fact.note)


def _joined(*parts: object) -> str:
    """Parts by semicolons; after a whole sentence the next one simply follows."""
    text = ""
    for part in (str(part) for part in parts if part):
        text += f"{' ' if text.endswith('.') else '; '}{part}" if text else part
    return text


def _iso(value: dict[str, Any], name: str, today: dt.date) -> str:
    told = value.get(name)
    return words.day_short(dt.date.fromisoformat(told), today=today) if told else ""


def _plain(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return name, _joined(*(value.get(word) for word in ("note", "reference", "version", "place", "sign", "what", "how", "remark")))


def _ct_check(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return f"{name}: {value['verdict']}", _joined(value.get("cause"), value.get("next_test"))


def _sentences(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return f"{name}, direction {value['direction']}" if value["direction"] != "not shown" else f"{name}, direction not shown", str(
        value["told"]
    )


def _surveyed(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return name, _joined(
        f"form {value['meter_form']}" if value.get("meter_form") else "",
        f"class {value['meter_class']}" if value.get("meter_class") else "",
        f"{value['socket']} socket" if value.get("socket") else "",
        f"{value['jaws']} jaws" if value.get("jaws") in ("four", "five") else "",
        f"{value['service_voltage']} V" if value["service_voltage"][0].isdigit() else f"service voltage {value['service_voltage']}",
        f"{value['service_a']} A" if value.get("service_a") else "",
        "clear before the meter" if value["clearance"] == "clear" else f"obstructed: {value.get('obstruction', '')}",
        f"in the socket: {value['in_socket']}" if value.get("in_socket") else "",
        "a generator on the premises" if value.get("generator") else "",
    )


def _seal(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return f"{name}: {value['state']}", _joined(value.get("remark"))


def _seal_reported(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return name, _joined(value.get("how"), value.get("who"), value.get("reference"))


def _commissioned(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    reserve, limit = value.get("reserve_percent"), value.get("export_limit_w")
    return name, _joined(
        f"mode {value['mode']}" if value.get("mode") else "",
        f"reserve {reserve} %" if reserve is not None else "",
        f"communications: {value['communications']}" if value.get("communications") else "",
        f"firmware {value['firmware']}" if value.get("firmware") else "",
        f"export limit {words.watts(limit)}" if limit is not None else "",
        value.get("note"),
    )


def _cts_fitted(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return name, _joined(
        value["place"],
        f"rated {value['rated_a']} A, {value['ratio_set_a']} A set",
        f"class {value['accuracy_class']}" if value.get("accuracy_class") else "",
        f"arrows {value['arrows']}" if value.get("arrows") else "",
        *(f"CT {leg.upper()} {value[f'serial_{leg}']}" for leg in "ab" if value.get(f"serial_{leg}")),
        f"older PV {value['older_pv']}" if value["older_pv"] != "none" else "",
    )


def _registered(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return f"{name}: {value['serial']}", _joined(value.get("revision"))


def _staged(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    if not value.get("place"):
        listed = value.get("reason") == AS_LISTED
        return name if listed else name.replace("staged", "not staged"), _joined(value.get("reason"))
    coiled = value.get("cable_coiled_cm")
    return name, _joined(
        value["place"],
        f"{value['serial_seen']} seen through the bag" if value.get("serial_seen") else "",
        f"label “{value['label']}”" if value.get("label") else "",
        f"control cable {value['cable_run']}" if value.get("cable_run") else "",
        f"{coiled} cm coiled" if coiled is not None else "",
        f"its end {value['cable_end']}" if value.get("cable_end") else "",
        "both ends labelled" if value.get("cable_labelled") else "ends not labelled" if value.get("cable_labelled") is False else "",
        "de-energized" if value.get("cable_dead") else "not said to be de-energized" if value.get("cable_dead") is False else "",
        "homeowner told not to move it" if value.get("told_not_to_move") else "",
    )


def _lost(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return f"collar found {value['what']}", _joined(
        f"police report {value['police_report']}" if value.get("police_report") else "",
        f"{value['who_pays']} pays" if value.get("who_pays") else "",
        f"claim {value['claim']}" if value.get("claim") else "",
    )


def _sheet(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    told = str(value.get("language", ""))
    language = {"en": "English", "es": "Spanish"}.get(told, told)
    return name, _joined(
        f"to {value['to']}" if value.get("to") else "",
        language,
        f"by {value['given_by']}" if value.get("given_by") else "",
        f"signed by {value['signed_by']}" if value.get("signed_by") else "not signed" if value.get("given_by") else "",
    )


def _sent(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return (f"{name} again" if value.get("again") else name), _joined(value["utility"], value.get("route"))


def _ended(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return name, str(value["reason"])


def _contact(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    promised, following = _iso(value, "promised_by", today), _iso(value, "next_on", today)
    answered = value.get("answered")
    return (
        f"The utility said: {answered}" if answered else f"We wrote to the utility: {value.get('asked', '')}",
        _joined(
            f"promised by {promised}" if promised else "",
            f"ask again {following}" if following else "",
            value.get("person"),
            value.get("channel"),
        ),
    )


def _visit(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    outcome = str(value["outcome"])
    title = "Visit: fitted" if outcome == "fitted" else f"Visit: not fitted, {outcome}"
    following = f"next, {value['next_actor']}: {value.get('next_act', '')}".rstrip(": ") if value.get("next_actor") else ""
    return title, _joined(value.get("reason"), following)


def _reported(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return name, _joined(f"by the {value['source']}", f"serial {value['serial']}" if value.get("serial") else "", value.get("remark"))


def _site(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return name, _joined(f"bag: {value['bag']}", f"access: {value['access']}")


def _fitted(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return name, _joined(f"serial {value['serial']}" if value.get("serial") else "serial not told", value.get("remark"))


def _gateway(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    state = {"closed": "collar closed", "open": "collar open", "not seen": "collar not seen"}[str(value["state"])]
    return f"{name}: {state}", _joined(f"serial {value['serial']}" if value.get("serial") else "", value.get("firmware"))


def _medical(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return f"{name}: {value['answer']}", "asked on the call" if value.get("on_call") else ""


def _cut_over(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return f"{name}: {value['meter']} is the site's meter", _joined(
        f"old CTs {value['old_cts']}", value.get("electrician"), f"paired readings {value['verdict']}", value["told"]
    )


def _limits(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    units = {"w": "W", "wh": "Wh", "va": "VA", "a": "A", "percent": "%"}
    told = [f"{word.rpartition('_')[0].replace('_', ' ')} {words.number(given)} {units[word.rpartition('_')[2]]}"
            for word, given in value.items() if isinstance(given, int)]  # fmt: skip
    return name, _joined(", ".join(told), value.get("read_from"))


def _site_visit(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return name, _joined(f"for {_iso(value, 'on', today)}", value["reason"], value["who"])


def _site_visit_ended(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return f"{name}: {value['how']}", _joined(value.get("found"))


def _emergency(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return name, _joined(value.get("what"), f"without power: {value['off']}" if value.get("off") else "")


def _told_home(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return name, _joined(value.get("how"), value.get("who"))


def _call(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return name, _joined(f"for {_iso(value, 'on', today)} {value['time']}")


def _verification(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    result = str(value["result"])
    return ("Backup verified" if result == "passed" else f"{name}: {result}"), _joined(value.get("reason"))


def _with_reason(name: str, value: dict[str, Any], today: dt.date) -> tuple[str, str]:
    return name, _joined(value.get("reason"))


_TOLD = {
    k.SURVEYED: _surveyed,
    k.SEAL_SEEN: _seal,
    k.SEAL_REPORTED: _seal_reported,
    k.COMMISSIONED: _commissioned,
    k.CTS_FITTED: _cts_fitted,
    k.PV_CHECK: _ct_check,
    k.METER_TIMED: _sentences,
    k.CT_CHECK: _ct_check,
    k.COLLAR_REGISTERED: _registered,
    k.COLLAR_STAGED: _staged,
    k.COLLAR_LOST: _lost,
    k.SHEET_GIVEN: _sheet,
    k.REQUEST_SENT: _sent,
    k.REQUEST_ENDED: _ended,
    k.CONTACT: _contact,
    k.VISIT: _visit,
    k.COLLAR_FITTED: _fitted,
    k.FITTING_REPORTED: _reported,
    k.SITE_CONFIRMED: _site,
    k.GATEWAY_REPORT: _gateway,
    k.METER_CUT_OVER: _cut_over,
    k.BACKUP_LIMITS: _limits,
    k.SHEET_TWO_GIVEN: _sheet,
    k.SITE_VISIT_PLANNED: _site_visit,
    k.SITE_VISIT_ENDED: _site_visit_ended,
    k.EMERGENCY_OPENED: _emergency,
    k.MEDICAL_ANSWER: _medical,
    k.HOMEOWNER_TOLD: _told_home,
    k.CALL_OFFERED: _call,
    k.CALL_BOOKED: _call,
    k.VERIFICATION: _verification,
    k.VERIFICATION_VOIDED: _with_reason,
    k.CANCELLED: _with_reason,
}
