"""Reminders of a promised call: the day before and two hours before, by the clock at the home. Owed with the booking."""

from __future__ import annotations

import datetime as dt

from jobs.appointments.models import Appointment
from jobs.core import clock, walltime
from jobs.core.actors import Actor
from jobs.notices import outbox
from jobs.notices.leaving import quiet_hours
from jobs.notices.quiet import next_open

DAY_BEFORE, HOURS_BEFORE = "call_reminder_day", "call_reminder_hours"
HOURS = dt.timedelta(hours=2)
# Later than this before the call a reminder only startles.
AT_LEAST = dt.timedelta(minutes=20)


def owe(appointment: Appointment, *, by: Actor) -> None:
    """Owe what can still leave in its time. A call that moves or ends withdraws them with its other messages: they share its cause."""
    for kind, not_before, not_after in due_times(appointment):
        outbox.owe(
            kind,
            job=appointment.job,
            cause=appointment.cause,
            about={"call": str(appointment.uid)},
            not_before=not_before,
            not_after=not_after,
            by=by,
        )


def due_times(appointment: Appointment) -> list[tuple[str, dt.datetime, dt.datetime]]:
    """Kind, earliest and latest instant of each reminder whose time is still to come and not all in quiet hours."""
    midnight = walltime.instant(appointment.local_date, local_time=dt.time(0), zone=appointment.zone, fold=0)
    wanted = (
        # At the call's own hour, but on the day before: the text says "tomorrow", so it is over at midnight.
        (DAY_BEFORE, day_before(appointment), midnight - dt.timedelta(minutes=1)),
        (HOURS_BEFORE, appointment.starts_at - HOURS, appointment.starts_at - AT_LEAST),
    )
    now, site = clock.now(), appointment.job.site
    return [
        (kind, not_before, not_after)
        for kind, not_before, not_after in wanted
        if not_before > now and next_open(not_before, zone=appointment.zone, quiet=quiet_hours(), region=site.region) < not_after
    ]


def day_before(appointment: Appointment) -> dt.datetime:
    """The same wall time on the day before; where the clocks skip it, 24 hours before the call."""
    try:
        day = appointment.local_date - dt.timedelta(days=1)
        return walltime.instant(day, local_time=appointment.local_time, zone=appointment.zone, fold=0)
    except ValueError:
        return appointment.starts_at - dt.timedelta(days=1)
