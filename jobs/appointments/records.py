"""The record of a call: frozen as it ends, immutable, corrected by additions alone."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from jobs.appointments import endings
from jobs.appointments.evidence import UTILITY_POWER, Evidence, Interval, Sighting, evidence
from jobs.appointments.models import AppointmentState, CallRecord, Press, VerificationAddition, VerificationRecord
from jobs.appointments.sights import BALANCE, SIGHTS
from jobs.core import clock, facts, homefacts
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.facts import Said, When
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.notices import outbox

READINGS = "readings"
SIGHTINGS = tuple(SIGHTS)


@act(right="core.void_verification", on=VerificationRecord)
def add_to_record(record: VerificationRecord, *, text: str, by: Actor) -> VerificationAddition:
    """A correction by addition: what was recorded stays as it was."""
    if not text.strip():
        raise Refused("Write what is added to the record.", field="text")
    return VerificationAddition.objects.create(record=record, text=text.strip(), at=clock.now(), by_name=by.name)


@act(right="core.void_verification", on=VerificationRecord)
def void_verification(record: VerificationRecord, *, reason: str, by: Actor) -> VerificationAddition:
    """The record proves nothing any more: the home steps back to collar energized, and a new call is due. Earned money stays."""
    if record.result != "passed":
        raise Refused(f"This record says “{record.result}”; only a passed one is voided.")
    if record.additions.filter(voids=True).exists():
        raise Refused("This record is voided already.")
    if not reason.strip():
        raise Refused("Give the reason; it stands on the record for good.", field="reason")
    addition = VerificationAddition.objects.create(record=record, text=reason.strip(), voids=True, at=clock.now(), by_name=by.name)
    outbox.withdraw(job=record.job, cause=cause_of(record), reason="The verification was voided.")
    homefacts.write(
        record.job,
        k.VERIFICATION_VOIDED,
        when=When(on=clock.today_in(record.job.site.zone)),
        said_by=Said("us", by.name),
        by=by,
        value={"record": str(record.uid), "reason": reason.strip()},
    )
    return addition


def cause_of(record: VerificationRecord) -> str:
    return f"verification {record.uid}"


def evidence_of(call: CallRecord, *, until: dt.datetime | None = None) -> Evidence:
    rows = list(call.presses.standing())
    before = next((press.value["load_w"] for press in reversed(rows) if press.what == READINGS), None)
    return evidence([_sighting(press) for press in rows if press.what in SIGHTINGS], load_before_w=before, until=until or clock.now())


def _sighting(press: Press) -> Sighting:
    if press.what == BALANCE:  # all four were read: the utility's power among them
        return Sighting(UTILITY_POWER, press.at, press.value["grid_w"], press.pk)
    return Sighting(press.what, press.at, press.value.get("watts"), press.pk)


def end(
    call: CallRecord,
    *,
    result: str,
    reason: str,
    by: Actor,
    state: AppointmentState = AppointmentState.HELD,
    statement: str = "",
    put_back: str = "",
    cause: str = "",
) -> VerificationRecord:
    """Freeze what was seen, end the call and write the job's fact."""
    appointment, now = call.appointment, clock.now()
    found = evidence_of(call, until=now)
    record = VerificationRecord.objects.create(
        job=call.job,
        appointment=appointment,
        result=result,
        reason=reason[:300],
        cause=cause,
        verifier=appointment.verifier,
        verifier_name=by.name,
        person_name=appointment.person.name,
        statement=statement,
        begun_at=call.begun_at,
        recorded_at=now,
        **proved(found),
        put_back=put_back,
        presses=[_frozen(press) for press in call.presses.all()],
        equipment=equipment_of(call.job),
    )
    call.ended_at = now
    call.save(update_fields=["ended_at"])
    appointment.state, appointment.ended_at, appointment.ended_reason = state, now, reason[:300]
    appointment.save(update_fields=["state", "ended_at", "ended_reason"])
    endings.note_change(appointment, by=by, reason=reason[:300])
    outbox.withdraw(job=appointment.job, cause=appointment.cause, reason="The call was held.")
    tell(record, said_by=Said("verifier", by.name), by=by)
    return record


def tell(record: VerificationRecord, *, said_by: Said, by: Actor) -> None:
    """Write the job's fact of a record, and owe the home its result."""
    homefacts.write(
        record.job,
        k.VERIFICATION,
        when=When(at=record.recorded_at),
        said_by=said_by,
        by=by,
        value={"result": record.result, "record": str(record.uid), "reason": record.reason},
    )
    if record.result != "not finished":
        outbox.owe("call_result", job=record.job, cause=cause_of(record), about={"record": str(record.uid)}, by=by)


def proved(found: Evidence) -> dict[str, dt.datetime | None]:
    """The two stretches of the evidence and where they overlap, as the record keeps them."""
    fields: dict[str, dt.datetime | None] = {}
    parts = {
        "disconnected": _around(found.disconnected, found.overlap),
        "served": _around(found.served, found.overlap),
        "overlap": found.overlap,
    }
    for name, part in parts.items():
        fields[f"{name}_from"], fields[f"{name}_to"] = (part.starts_at, part.ends_at) if part else (None, None)
    return fields


def equipment_of(job: Job) -> dict[str, str]:
    """Serial and software versions as they were known that day."""
    known = facts.of(job)
    report, update = known.latest(k.GATEWAY_REPORT), known.latest(k.SOFTWARE_UPDATED)
    return {
        "serial": known.serial,
        "firmware": str(report.value.get("firmware", "")) if report else "",
        "version": str(update.value.get("version", "")) if update else "",
    }


def _around(parts: Sequence[Interval], overlap: Interval | None) -> Interval | None:
    """The stretch that the overlap lies in; without one, the last."""
    inside = [part for part in parts if overlap and part.starts_at <= overlap.starts_at and overlap.ends_at <= part.ends_at]
    return inside[0] if inside else (parts[-1] if parts else None)


def _frozen(press: Press) -> dict[str, Any]:
    return {
        "what": press.what,
        "value": press.value,
        "at": press.at.isoformat(),
        "recorded_at": press.recorded_at.isoformat(),
        "by": press.by_name,
        "corrects": press.corrects_id,
        "id": press.pk,
        "withdrawn": press.withdrawn,
        "reason": press.reason,
    }
