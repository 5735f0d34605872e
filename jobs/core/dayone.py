"""Acts of day one: what the crew records at the home before it is left to wait."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

from jobs.core import ctcheck, custody, facts, files, lifecycle, serials
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.facts import Said, When
from jobs.core.models import Document, Fact, Job
from jobs.core.refusals import Refused


@dataclasses.dataclass(frozen=True)
class Photo:
    name: str
    data: bytes


@act(right="core.add_jobs", on=Job)
def record_contract_signed(job: Job, *, on: dt.date, by: Actor) -> Fact:
    return _simple(job, k.CONTRACT_SIGNED, on=on, by=by, said_by=Said("contract"))


def note_seal(job: Job, state: str, *, on: dt.date, by: Actor) -> None:
    """The answer that every visit's forms ask for, on record once a day and state. Called inside an act, which settles afterwards."""
    if not state:
        return  # an import or an older caller, which cannot know
    last = job.facts.standing().of_kind(k.SEAL_SEEN).filter(day=on).order_by("pk").last()
    if last is None or last.value["state"] != state:
        facts.record(job, k.SEAL_SEEN, when=When(on=on), said_by=Said("crew", by.name), by=by, value={"state": state})


@act(right="core.record_day_one", on=Job)
def record_installed(job: Job, *, on: dt.date, by: Actor, seal: str = "") -> Fact:
    note_seal(job, seal, on=on, by=by)
    return _simple(job, k.INSTALLED, on=on, by=by, said_by=Said("crew", by.name))


@act(right="core.record_day_one", on=Job)
def record_commissioned(
    job: Job,
    *,
    on: dt.date,
    by: Actor,
    note: str = "",
    seal: str = "",
    mode: str = "",
    reserve_percent: int | None = None,
    communications: str = "",
    firmware: str = "",
    export_limit_w: int | None = None,
) -> Fact:
    """Commissioned grid-tied: no backup yet. Whether the utility permits operation is a fact of its own."""
    if mode == "backup":
        raise Refused(
            "Without the collar the home has no backup: equipment that expects it raises alarms. Set the mode to grid-tied, then record.",
            field="mode",
        )
    note_seal(job, seal, on=on, by=by)
    value = {
        "note": note,
        "mode": mode,
        "reserve_percent": reserve_percent,
        "communications": communications,
        "firmware": firmware.strip(),
        "export_limit_w": export_limit_w,
    }
    return _simple(job, k.COMMISSIONED, on=on, by=by, said_by=Said("crew", by.name), value=value)


@act(right="core.record_day_one", on=Job)
def record_ct_check(job: Job, *, on: dt.date, tests: ctcheck.TwoSteps, by: Actor, seal: str = "") -> Fact:
    """Two 120 V steps, one on each leg, and one across both if it was taken. The verdict is computed here; it is never typed."""
    if not job.has_battery:
        raise Refused("This home has no battery, so it has no consumption CTs to check.")
    surveyed = job.facts.standing().of_kind(k.SURVEYED).order_by("day", "pk").last()
    if surveyed is not None and surveyed.value["service_voltage"] == "another":
        raise Refused(
            "The survey found a service that is neither 120/240 nor 120/208 V, and what right CTs show is known for these two only. "
            "Correct the survey, or let an electrician say how the CTs are checked."
        )
    note_seal(job, seal, on=on, by=by)
    return _simple(job, k.CT_CHECK, on=on, by=by, said_by=Said("crew", by.name), value=ctcheck.fact_value(tests, ctcheck.check(tests)))


@act(right="core.record_custody", on=Job)
def record_collar_registered(job: Job, *, on: dt.date, serial: str, by: Actor, revision: str = "", sure: bool = False) -> Fact:
    """The collar registered in advance for this home; a serial belongs to one site at a time.

    sure: a letter O or I among digits was looked at on the label and is a letter. A second serial is a swap and bars the first.
    """
    return register_serial(job, on=on, serial=custody.read_serial(serial, sure=sure), revision=revision, by=by)


def register_serial(
    job: Job, *, on: dt.date, serial: str, by: Actor, revision: str = "", said_by: Said | None = None, source_key: str | None = None
) -> Fact:
    """The rule behind registering, shared with the import."""
    serial = normal_serial(serial)
    refuse_if_held_elsewhere(job, serial)
    custody.refuse_barred(serial)
    revision = revision.strip() or custody.revision_of(serial)
    custody.refuse_withdrawn(revision)
    fact = facts.record(
        job,
        k.COLLAR_REGISTERED,
        when=When(on=on),
        said_by=said_by or Said("crew", by.name),
        by=by,
        value={"serial": serial, "revision": revision},
        source_key=source_key,
    )
    lifecycle.settle(job, by=by, new=(fact,))
    return fact


def refuse_if_held_elsewhere(job: Job, serial: str) -> None:
    """A serial belongs to one site at a time. The caller holds the job's lock and writes in the same transaction."""
    if not serial:
        return
    one_at_a_time(f"serial {serial}")
    if (holder := holder_of(serial, other_than=job)) is not None:
        raise Refused(
            f"Serial {serial} is registered for job {holder.code} at {holder.site.street}; a serial belongs to one site at a time. "
            "Check the label, or move it from there first.",
            field="serial",
        )


def normal_serial(text: str) -> str:
    """A serial as the label shows it: upper case, without blanks."""
    try:
        return serials.normal(text)
    except ValueError as fault:
        raise Refused(str(fault), field="serial") from fault


def holder_of(serial: str, *, other_than: Job) -> Job | None:
    """Another job whose newest registered serial is this one."""
    rows = (
        Fact.objects.standing()
        .of_kind(k.COLLAR_REGISTERED)
        .filter(value__serial=serial)
        .exclude(job=other_than)
        .select_related("job__site")
    )
    for row in rows:
        if facts.of(row.job).serial == serial and row.job.state != "cancelled":
            return row.job
    return None


@dataclasses.dataclass(frozen=True)
class Cable:
    """The control cable at the bag: what the utility's crew and later our own find."""

    run: str = ""
    coiled_cm: int | None = None
    end: str = ""  # facts.CABLE_ENDS
    labelled: bool | None = None  # at both ends
    dead: bool | None = None  # de-energized

    def value(self) -> dict[str, Any]:
        return {
            "cable_run": self.run.strip(),
            "cable_coiled_cm": self.coiled_cm,
            "cable_end": self.end,
            "cable_labelled": self.labelled,
            "cable_dead": self.dead,
        }


@act(right="core.record_custody", on=Job)
def record_collar_staged(
    job: Job,
    *,
    on: dt.date,
    by: Actor,
    place: str = "",
    photo: Photo | None = None,
    reason: str = "",
    seal: str = "",
    serial_seen: str = "",
    label: str = "",
    cable: Cable | None = None,
    told_not_to_move: bool | None = None,
) -> Fact:
    """The collar left where the utility's crew will find it: a place and a photo, or the reason why not.

    serial_seen: as read through the bag; another home's is refused. label: the text that hangs on the bag.
    """
    if not reason and not (place and photo):
        raise Refused("Say where the collar hangs and add a photo, or give the reason why it was not staged.", field="place")
    serial_seen = normal_seen(job, serial_seen) if serial_seen.strip() else ""
    note_seal(job, seal, on=on, by=by)
    document = files.add_document(job, name=photo.name, data=photo.data, subject="collar staged", by=by) if photo else None
    value = {"place": place, "photo": str(document.uid) if document else "", "reason": reason, "serial_seen": serial_seen, "label": label}
    value |= (cable or Cable()).value() | {"told_not_to_move": told_not_to_move}
    fact = facts.record(
        job,
        k.COLLAR_STAGED,
        when=When(on=on),
        said_by=Said("crew", by.name),
        by=by,
        value=value,
        evidence=[document] if document else [],
    )
    lifecycle.settle(job, by=by, new=(fact,))
    return fact


def normal_seen(job: Job, text: str) -> str:
    """The serial seen through the bag, which must be the one registered here."""
    seen, registered = normal_serial(text), facts.of(job).serial
    if not registered:
        raise Refused("No collar is registered for this home yet; register the serial first.", field="serial_seen")
    if seen != registered:
        holder = holder_of(seen, other_than=job)
        whose = f"; {seen} is registered for job {holder.code} at {holder.site.street}" if holder is not None else ""
        raise Refused(
            f"The bag shows {seen}, and {registered} is registered for this home{whose}. Hang the right one, or register the swap first.",
            field="serial_seen",
        )
    return seen


SHEET_SUBJECT = "hand-over sheet one"


@act(right="core.record_day_one", on=Job)
def record_sheet_given(
    job: Job,
    *,
    on: dt.date,
    by: Actor,
    to: str = "",
    language: str = "",
    given_by: str = "",
    signed_by: str = "",
    photo: Photo | None = None,
) -> Fact:
    """The hand-over sheet, which says first that there is no backup yet. The copy kept, a photo of the signed one too, is the record."""
    named = {"en": "English", "es": "Spanish"}.get(language, language)
    kept = Document.objects.filter(job=job, subject__startswith=SHEET_SUBJECT, subject__endswith=named).order_by("-pk").first()
    signed = files.add_document(job, name=photo.name, data=photo.data, subject=f"signed {SHEET_SUBJECT}", by=by) if photo else None
    value = {"to": to, "language": language, "given_by": given_by.strip() or by.name, "signed_by": signed_by.strip()}
    evidence = [document for document in (kept, signed) if document is not None]
    fact = facts.record(job, k.SHEET_GIVEN, when=When(on=on), said_by=Said("crew", by.name), by=by, value=value, evidence=evidence)
    lifecycle.settle(job, by=by, new=(fact,))
    return fact


def _simple(job: Job, kind: str, *, on: dt.date, by: Actor, said_by: Said, value: dict[str, Any] | None = None) -> Fact:
    fact = facts.record(job, kind, when=When(on=on), said_by=said_by, by=by, value=value)
    lifecycle.settle(job, by=by, new=(fact,))
    return fact
