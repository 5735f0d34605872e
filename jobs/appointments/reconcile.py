"""What must hold among calls and their records; each breach is a sentence."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator

from jobs.appointments import promised
from jobs.appointments.models import TAKING, Appointment, AppointmentState, CallRecord, VerificationRecord
from jobs.appointments.records import evidence_of
from jobs.core import kinds as k
from jobs.core.models import Fact
from jobs.core.states import S

BROUGHT_IN = ("import", "command")  # sources of a fact that rests on books before ours


def breaches() -> Iterator[str]:
    yield from _overlaps()
    yield from _off_their_promise()
    yield from _booked_without_fact()
    yield from _open_and_not_ready()
    yield from _verified_without_record()
    yield from _records_without_fact()
    yield from _islands()


def _overlaps() -> Iterator[str]:
    last: dict[int, tuple[dt.datetime, Appointment]] = {}
    for call in Appointment.objects.taking().with_names().order_by("verifier", "starts_at", "pk"):
        before = last.get(call.verifier_id)
        if before is not None and before[0] > call.starts_at:
            both = f"{before[1].job.code} and {call.job.code}"
            yield f"{call.verifier.name} has two calls at once: of jobs {both}, {call.starts_at:%Y-%m-%d %H:%M} UTC."
        if before is None or call.ends_at > before[0]:
            last[call.verifier_id] = (call.ends_at, call)


def _off_their_promise() -> Iterator[str]:
    for call in promised.astray():
        yield f"Job {call.job.code}: the call does not stand at its promised {call.local_time:%H:%M} on {call.local_date}, {call.zone}."


def _booked_without_fact() -> Iterator[str]:
    """The newest fact about each open call says its state and its time."""
    told: dict[str, Fact] = {}
    kinds = (k.CALL_OFFERED, k.CALL_BOOKED, k.CALL_ENDED)
    uids = [str(uid) for uid in Appointment.objects.taking().values_list("uid", flat=True)]
    jobs = Appointment.objects.filter(state__in=TAKING).values("job")
    for fact in Fact.objects.standing().filter(kind__in=kinds, job__in=jobs).order_by("pk"):
        if fact.value.get("appointment") in uids:
            told[fact.value["appointment"]] = fact
    for call in Appointment.objects.taking().with_names():
        wanted = k.CALL_OFFERED if call.state == AppointmentState.OFFERED else k.CALL_BOOKED
        says = {"on": call.local_date.isoformat(), "time": f"{call.local_time:%H:%M}"}
        newest = told.get(str(call.uid))
        if newest is None or newest.kind != wanted or any(newest.value.get(name) != value for name, value in says.items()):
            yield f"Job {call.job.code}: its call {call.state} for {says['on']} {says['time']} has no fact that says so."


def _open_and_not_ready() -> Iterator[str]:
    """A call that was not begun is called off in the transaction in which its home stops being energized."""
    standing = Appointment.objects.taking().filter(call__isnull=True).exclude(job__state=S.COLLAR_ENERGIZED)
    for call in standing.with_names():
        yield f"Job {call.job.code} is {call.job.state_words}, and its call on {call.local_date} is not called off."


def _verified_without_record() -> Iterator[str]:
    """A verification held here names its passed record by uid; one brought in names what the books before ours kept."""
    passed = {(str(uid), job) for uid, job in VerificationRecord.objects.filter(result="passed").values_list("uid", "job")}
    for fact in Fact.objects.standing().of_kind(k.VERIFICATION).filter(value__result="passed").select_related("job"):
        named = str(fact.value.get("record", ""))
        ours = _is_uid(named) or fact.source not in BROUGHT_IN
        if ours and (named, fact.job_id) not in passed:
            yield f"Job {fact.job.code} has a passed verification without its passed record."


def _is_uid(text: str) -> bool:
    try:
        return str(uuid.UUID(text)) == text
    except ValueError:
        return False


def _records_without_fact() -> Iterator[str]:
    known = {str(fact.value.get("record")) for fact in Fact.objects.of_kind(k.VERIFICATION)}
    voided = {str(fact.value.get("record")) for fact in Fact.objects.of_kind(k.VERIFICATION_VOIDED)}
    for record in VerificationRecord.objects.select_related("job").prefetch_related("additions"):
        if str(record.uid) not in known:
            yield f"Job {record.job.code}: the record {record.uid} has no fact."
        if any(addition.voids for addition in record.additions.all()) != (str(record.uid) in voided):
            yield f"Job {record.job.code}: record {record.uid} and the facts do not agree whether it is voided."


def _islands() -> Iterator[str]:
    for call in CallRecord.objects.running().select_related("appointment__job"):
        if evidence_of(call).islanded_since != call.islanded_at:
            yield f"Job {call.job.code}: the call's island time is not what its presses say."
