"""Acts on what is kept beside the calls: a tentative time on the forecast, and the standby list for times that fall free."""

from __future__ import annotations

from jobs.appointments import booking, placing, readiness
from jobs.appointments.models import Appointment, AppointmentState, Standby, Tentative
from jobs.appointments.times import Wish
from jobs.core import clock, homefacts, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import Job, Person, User
from jobs.core.models.holds import Stops
from jobs.core.refusals import Refused
from jobs.core.states import S
from utilities import said

MILLION = 1_000_000
CALLS_COME = (S.AWAITING_UTILITY, S.COLLAR_ENERGIZED)  # in these a call is still to come


@act(right="core.book_calls", on=Job)
def hold_time(job: Job, *, verifier: User, wish: Wish, by: Actor, person: Person | None = None) -> Tentative:
    """Keep a place for a home that is not ready yet. Nobody outside is told; once it is ready the time is offered, or given up."""
    placing.own_only(verifier, by)
    _refuse_unless_a_call_comes(job)
    if Appointment.objects.taking().filter(job=job).exists():
        raise Refused("This home has an open call; move that one instead.", field="time")
    if not readiness.missing_for_booking(job, clock.today_in(job.site.zone)):
        raise Refused("This home is ready: offer the time instead of keeping it.", field="time")
    standing = Tentative.objects.standing().filter(job=job).first()
    if standing is not None:
        kept = f"{standing.local_time:%H:%M} on {words.day(standing.local_date)}"
        raise Refused(f"{kept} is kept for this home already; give that time up first.", field="time")
    person = placing.attendee(job, person)
    placing.lock(verifier.pk)
    slot = placing.find(wish, verifier=verifier, job=job, person=person)
    forecast = said.of_homes([job.pk]).get(job.pk)
    return Tentative.objects.create(
        job=job,
        person=person,
        verifier=verifier,
        local_date=slot.local_date,
        local_time=slot.local_time,
        fold=slot.fold,
        zone=slot.zone,
        starts_at=slot.starts_at,
        ends_at=slot.ends_at,
        chance_millionths=round(said.chance_of(forecast, slot.local_date) * MILLION) if forecast else None,
        set_at=clock.now(),
        set_by_name=by.name,
    )


@act(right="core.book_calls", on=Tentative, scope="workable_by")
def offer_held(tentative: Tentative, *, by: Actor) -> Appointment:
    """The home is ready: the time that was kept for it is offered."""
    _refuse_unless_standing(tentative)
    wish = Wish(tentative.local_date, tentative.local_time, tentative.fold)
    return booking.make(
        tentative.job, verifier=tentative.verifier, wish=wish, person=tentative.person, state=AppointmentState.OFFERED, by=by
    )


@act(right="core.book_calls", on=Tentative, scope="workable_by")
def give_up_held(tentative: Tentative, *, reason: str, by: Actor) -> Tentative:
    """The place is free again."""
    _refuse_unless_standing(tentative)
    tentative.ended_at, tentative.ended_reason = clock.now(), reason.strip() or f"given up by {by.name}"
    tentative.save(update_fields=["ended_at", "ended_reason"])
    return tentative


@act(right="core.book_any_call", on=Job)
def put_on_standby(job: Job, *, said_by: str, by: Actor, note: str = "") -> Standby:
    """Somebody at the home said that they would take a time that falls free."""
    if not said_by.strip():
        raise Refused("Give the name of who said that they would take a time at short notice.", field="said_by")
    _refuse_unless_a_call_comes(job)
    if job.state != S.COLLAR_ENERGIZED:
        raise Refused("The collar is not in yet: a time that falls free cannot be taken. Keep a tentative time instead.", field="")
    if Standby.objects.standing().filter(job=job).exists():
        raise Refused("This home stands on the standby list already.", field="said_by")
    return Standby.objects.create(job=job, said_by=said_by.strip(), note=note.strip(), set_at=clock.now(), set_by_name=by.name)


@act(right="core.book_any_call", on=Standby)
def take_off_standby(standby: Standby, *, by: Actor) -> Standby:
    if standby.ended_at is not None:
        raise Refused("This home is off the standby list already.")
    standby.ended_at, standby.ended_reason = clock.now(), f"taken off by {by.name}"
    standby.save(update_fields=["ended_at", "ended_reason"])
    return standby


def _refuse_unless_a_call_comes(job: Job) -> None:
    """What refuses a call for good refuses a kept time too."""
    if job.state not in CALLS_COME:
        raise Refused(f"This home is {job.state_words}; no call comes next for it.", field="")
    medical = readiness.gathered(job, list(job.facts.standing()), stopped=frozenset(), emergency_line="").medical
    if reason := readiness.site_visit_reason(medical):
        raise Refused(f"This home is never offered a call: {reason}. Plan a site visit.", field="")
    if Stops.CALLS in homefacts.stopped(job):
        raise Refused("Calls to this home are on hold; lift the hold first.", field="")


def _refuse_unless_standing(tentative: Tentative) -> None:
    if tentative.ended_at is not None:
        raise Refused(f"This time is not kept any more: {tentative.ended_reason}.")
    if tentative.starts_at <= clock.now():
        raise Refused("This time has passed; another one is wanted.", field="time")
