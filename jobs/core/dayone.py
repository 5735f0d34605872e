"""Acts of day one: what the crew records at the home before it is left to wait."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

from jobs.core import ctcheck, facts, files, lifecycle
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.facts import Said, When
from jobs.core.models import Fact, Job
from jobs.core.refusals import Refused

SERIAL_FORM = "letters, digits and hyphens, 6 to 24 of them"


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
def record_collar_registered(job: Job, *, on: dt.date, serial: str, by: Actor, revision: str = "") -> Fact:
    """The collar registered in advance for this home; a serial belongs to one site at a time."""
    return register_serial(job, on=on, serial=serial, revision=revision, by=by)


def register_serial(
    job: Job, *, on: dt.date, serial: str, by: Actor, revision: str = "", said_by: Said | None = None, source_key: str | None = None
) -> Fact:
    """The rule behind registering, shared with the import."""
    serial = normal_serial(serial)
    refuse_if_held_elsewhere(job, serial)
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
    serial = "".join(text.split()).upper()
    if not (6 <= len(serial) <= 24 and serial.replace("-", "").isalnum() and serial.isascii()):
        raise Refused(f"“{text}” is not a serial; wanted {SERIAL_FORM}.", field="serial")
    return serial


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


@act(right="core.record_custody", on=Job)
def record_collar_staged(
    job: Job, *, on: dt.date, by: Actor, place: str = "", photo: Photo | None = None, reason: str = "", seal: str = ""
) -> Fact:
    """The collar left where the utility's crew will find it: a place and a photo, or the reason why not."""
    if not reason and not (place and photo):
        raise Refused("Say where the collar hangs and add a photo, or give the reason why it was not staged.", field="place")
    note_seal(job, seal, on=on, by=by)
    document = files.add_document(job, name=photo.name, data=photo.data, subject="collar staged", by=by) if photo else None
    value = {"place": place, "photo": str(document.uid) if document else "", "reason": reason}
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


@act(right="core.record_day_one", on=Job)
def record_sheet_given(job: Job, *, on: dt.date, by: Actor, to: str = "", language: str = "") -> Fact:
    """The hand-over sheet, which says first that there is no backup yet."""
    return _simple(job, k.SHEET_GIVEN, on=on, by=by, said_by=Said("crew", by.name), value={"to": to, "language": language})


def _simple(job: Job, kind: str, *, on: dt.date, by: Actor, said_by: Said, value: dict[str, Any] | None = None) -> Fact:
    fact = facts.record(job, kind, when=When(on=on), said_by=said_by, by=by, value=value)
    lifecycle.settle(job, by=by, new=(fact,))
    return fact
