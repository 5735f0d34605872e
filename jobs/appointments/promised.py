"""A promise is a wall time at the home. Where the rules of a zone change between the promise and the call, the instant moves and the
promise stays: the places taken, the reminders and the invitation follow the clock that hangs in the home."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from django.db import IntegrityError, transaction

from jobs.appointments import booking, endings
from jobs.appointments.models import TAKING, Appointment
from jobs.core import actors, clock, walltime
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.refusals import Refused

RULE = "calls follow the clock at the home"


@act(right="core.book_any_call", on=Appointment)
def follow_the_clock(appointment: Appointment, *, by: Actor) -> Appointment:
    """Move the instants of an open call to what its promised wall time means now."""
    if not appointment.is_open or appointment.begun is not None:
        raise Refused("This call is not open any more.")
    meant = instant_of(appointment)
    if meant is None:
        raise Refused(f"{appointment.local_time:%H:%M} does not exist on that day any more; move the call to another time.")
    ahead = meant - appointment.starts_at
    if not ahead:
        raise Refused("This call stands at its promised time already.")
    appointment.starts_at += ahead
    appointment.ends_at += ahead
    appointment.call_ends_at += ahead
    others = Appointment.objects.taking().filter(verifier=appointment.verifier_id).exclude(pk=appointment.pk)
    try:
        with transaction.atomic():
            if others.overlapping(appointment.starts_at, appointment.ends_at).exists():
                raise IntegrityError
            appointment.save(update_fields=["starts_at", "ends_at", "call_ends_at"])
    except IntegrityError as fault:
        raise Refused("Another call of the same verifier lies there now; move one of the two.", field="time") from fault
    endings.note_change(appointment, by=by, reason="the rules of the home's time zone changed; the promised time stands")
    return booking.say_again(appointment, by=by, reason="The rules of the time zone changed.")


def instant_of(appointment: Appointment) -> dt.datetime | None:
    """What the promised wall time means by today's rules of its zone; None where it does not exist any more."""
    try:
        return walltime.instant(appointment.local_date, local_time=appointment.local_time, zone=appointment.zone, fold=appointment.fold)
    except ValueError:
        return None


def astray() -> Iterator[Appointment]:
    """Open calls ahead that do not stand at the instant which their promise means."""
    ahead = Appointment.objects.filter(state__in=TAKING, starts_at__gt=clock.now(), call__isnull=True).select_related("job__site")
    for appointment in ahead.order_by("starts_at", "pk").iterator(chunk_size=500):
        if instant_of(appointment) != appointment.starts_at:
            yield appointment


def keep_all() -> int:
    """Move what can be moved; the rest stands in `reconcile` and on Today until a person moved it."""
    moved = 0
    for appointment in list(astray()):
        try:
            follow_the_clock(appointment, by=actors.rule(RULE))
        except Refused:
            continue
        moved += 1
    return moved
