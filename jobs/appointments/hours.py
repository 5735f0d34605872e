"""Acts on the verifiers' hours and time off."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Sequence

from jobs.appointments import placing, slots, times
from jobs.appointments.models import Appointment, Tentative, TimeOff, VerifierHours
from jobs.core import clock, walltime, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import User
from jobs.core.refusals import Refused


@act(right="core.set_hours", on=User)
def set_hours(verifier: User, *, hours: Sequence[slots.WeeklyHours], by: Actor) -> User:
    """The verifier's week anew, by the clock where they work. Calls already booked keep their places."""
    _refuse_unless_verifier(verifier)
    ordered = sorted((span.weekday, span.start, span.end) for span in hours)
    for before, after in itertools.pairwise(ordered):
        if before[0] == after[0] and after[1] < before[2]:
            raise Refused(f"Two stretches of hours on one day lie on one another: until {before[2]:%H:%M} and from {after[1]:%H:%M}.")
    VerifierHours.objects.filter(verifier=verifier).delete()
    VerifierHours.objects.bulk_create(VerifierHours(verifier=verifier, weekday=day, start=start, end=end) for day, start, end in ordered)
    return verifier


@act(right="core.set_hours", on=User)
def take_time_off(
    verifier: User, *, starts_at: dt.datetime, ends_at: dt.datetime, by: Actor, reason: str = "", keeping: Sequence[Appointment] = ()
) -> TimeOff:
    """No calls in that time. Those that lie in it are named, for a homeowner was promised them: each is moved, handed over or given up
    first.

    keeping: calls that the verifier holds all the same. Times kept tentatively are free again; nobody was told of them.
    """
    _refuse_unless_verifier(verifier)
    if ends_at <= starts_at:
        raise Refused("The time off ends before it begins; a later end is wanted.", field="ends")
    if ends_at <= clock.now():
        raise Refused("That time has passed; a time ahead is wanted.", field="ends")
    placing.lock(verifier.pk)  # no call comes in between
    lying_in = [call for call in calls_in(verifier, starts_at, ends_at) if call not in keeping]
    if named := [f"{call.job.code} ({_local(call, verifier)})" for call in lying_in]:
        raise Refused(
            f"{words.count(len(named), 'call').capitalize()} of {verifier.name} {'lies' if len(named) == 1 else 'lie'} in that time: "
            f"{words.listed(named)}. Say what becomes of {'it' if len(named) == 1 else 'each'}.",
            field="starts",
        )
    kept = Tentative.objects.standing().filter(verifier=verifier).overlapping(starts_at, ends_at)
    kept.update(ended_at=clock.now(), ended_reason=f"{verifier.name} is off then")
    return TimeOff.objects.create(
        verifier=verifier, starts_at=starts_at, ends_at=ends_at, reason=reason.strip(), set_by_name=by.name, set_at=clock.now()
    )


@act(right="core.set_hours", on=TimeOff)
def withdraw_time_off(time_off: TimeOff, *, by: Actor) -> TimeOff:
    if time_off.withdrawn_at is not None:
        raise Refused("This time off is already withdrawn.")
    time_off.withdrawn_at = clock.now()
    time_off.save(update_fields=["withdrawn_at"])
    return time_off


def calls_in(verifier: User, starts_at: dt.datetime, ends_at: dt.datetime) -> list[Appointment]:
    """Open calls of this verifier that lie in a time, in order."""
    return list(Appointment.objects.taking().filter(verifier=verifier).overlapping(starts_at, ends_at).with_names())


def _refuse_unless_verifier(user: User) -> None:
    if user not in times.verifiers():
        raise Refused(f"{user.name} does not hold calls; hours are kept for verifiers.")


def _local(call: Appointment, verifier: User) -> str:
    at = call.starts_at.astimezone(walltime.zone_of(verifier.zone))
    return f"{words.day(at.date())}, {words.time_zone_office(at)}"
