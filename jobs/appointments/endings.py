"""How an open call ends before it is held: given up by a person, or called off because the home is not ready any more."""

from __future__ import annotations

from jobs.appointments.models import Appointment, AppointmentChange, AppointmentState, CallRecord, Standby, Tentative, Why
from jobs.core import clock, homefacts, links
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.facts import Said, When
from jobs.core.followups import Settled
from jobs.core.models import Fact, Job
from jobs.core.models.holds import Stops
from jobs.core.states import S
from jobs.core.waiting import open_emergency
from jobs.notices import outbox
from jobs.notices.models import Message

# Messages that have left, or may have: the homeowner knows of the call.
LEFT = ("released", "sending", "sent", "may have been sent")


def note_change(appointment: Appointment, *, by: Actor, reason: str = "") -> None:
    AppointmentChange.objects.create(
        appointment=appointment,
        sequence=appointment.sequence,
        state=appointment.state,
        verifier_id=appointment.verifier_id,
        starts_at=appointment.starts_at,
        at=clock.now(),
        by_name=by.name,
        reason=reason,
    )


def known_outside(appointment: Appointment) -> bool:
    """Whether somebody at the home was told of this call."""
    if appointment.state != AppointmentState.OFFERED:
        return True
    return Message.objects.filter(job_id=appointment.job_id, cause=appointment.cause, state__in=LEFT).exists()


def give_up(
    appointment: Appointment, *, state: AppointmentState, why: Why, reason: str, said_by: Said, by: Actor, tell: bool = True
) -> Fact:
    """End an open call with its fact. The caller holds the job's lock.

    tell: owe the people at home a message that it is off; not when it is they who gave it up.
    """
    told = known_outside(appointment)
    appointment.state, appointment.ended_at, appointment.ended_why, appointment.ended_reason = state, clock.now(), why, reason[:300]
    appointment.save(update_fields=["state", "ended_at", "ended_why", "ended_reason"])
    note_change(appointment, by=by, reason=reason[:300])
    outbox.withdraw(job=appointment.job, cause=appointment.cause, reason=f"The call is off: {why.label}.")
    if state == AppointmentState.CANCELLED:
        links.end_all(appointment.job, about=str(appointment.uid))
    if tell and told:
        outbox.owe("call_cancelled", job=appointment.job, cause=appointment.cause, about={"call": str(appointment.uid)}, by=by)
    return homefacts.write(
        appointment.job,
        k.CALL_ENDED,
        when=When(on=clock.today_in(appointment.zone)),
        said_by=said_by,
        by=by,
        value={"appointment": str(appointment.uid), "how": f"{state.label}: {reason or why.label}"},
    )


def end_tentative(job: Job, *, reason: str) -> None:
    """No place is kept for a home that has its call, or wants none. The caller holds the job's lock."""
    Tentative.objects.filter(job=job, ended_at__isnull=True).update(ended_at=clock.now(), ended_reason=reason[:300])


def want_no_call(settled: Settled) -> None:
    """Follow-up: a home that is verified, cancelled, or gets a site visit keeps no tentative time and stands on no standby list."""
    medical = settled.facts.latest(k.MEDICAL_ANSWER)
    visit = medical is not None and medical.value.get("answer") != "no"
    if settled.state.state in (S.BACKUP_VERIFIED, S.CANCELLED) or visit:
        reason = str(Why.MEDICAL.label) if visit else f"the home is {settled.state.state.words}"
        end_tentative(settled.job, reason=reason)
        Standby.objects.standing().filter(job=settled.job).update(ended_at=clock.now(), ended_reason=reason[:300])


def call_off(settled: Settled) -> None:
    """Follow-up: a home that is not ready any more keeps no open call. A call that was begun ends by its own page."""
    job = settled.job
    appointment = Appointment.objects.taking().filter(job=job).first()
    if appointment is None or CallRecord.objects.filter(appointment=appointment).exists():
        return
    found = _off(settled)
    if found is not None:
        why, reason = found
        give_up(
            appointment, state=AppointmentState.CANCELLED, why=why, reason=reason, said_by=Said("rule", "home not ready"), by=settled.by
        )


def _off(settled: Settled) -> tuple[Why, str] | None:
    """Why an open call cannot stand. What only grows old (communications, an answer) is asked again before the call and cancels nothing."""
    if settled.state.state == S.CANCELLED:
        return Why.CONTRACT, "the contract was cancelled"
    if open_emergency(settled.facts):
        return Why.EMERGENCY, "an emergency stands at the home"
    if settled.state.state != S.COLLAR_ENERGIZED:
        return Why.REMOVED, f"the home is {settled.state.state.words} again"
    medical = settled.facts.latest(k.MEDICAL_ANSWER)
    if medical is not None and medical.value.get("answer") != "no":
        # Without the answer: the reason stands in the ledger and in exports, which more people read than may know it.
        return Why.MEDICAL, str(Why.MEDICAL.label)
    if Stops.CALLS in homefacts.stopped(settled.job):
        return Why.HOLD, "calls to this home are on hold"
    return None
