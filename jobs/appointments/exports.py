"""Calls as a table, for the page and the command; without medical answers, numbers and access notes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence

from jobs.appointments.models import Appointment, AppointmentQuerySet, AppointmentState
from jobs.core.exports import Export
from jobs.core.refusals import Refused

HEADINGS = (
    "call", "job", "person", "language", "verifier", "local_date", "local_time", "zone", "starts_at", "call_ends_at", "places", "state",
    "sequence", "made_at", "made_by", "answered_at", "ended_at", "ended_because", "result",
)  # fmt: skip


def lines(calls: AppointmentQuerySet) -> Iterator[Sequence[object]]:
    for call in calls.with_names().select_related("job__site", "person", "verifier", "record").iterator(chunk_size=500):
        record = getattr(call, "record", None)
        yield (
            str(call.uid), call.job.code, call.person.name, call.language, call.verifier.name, call.local_date, call.local_time, call.zone,
            call.starts_at, call.call_ends_at, call.places, call.state, call.sequence, call.made_at, call.made_by_name, call.answered_at,
            call.ended_at, call.ended_reason or call.ended_why, record.result if record else "",
        )  # fmt: skip


def _rows(filters: Mapping[str, str]) -> Iterable[Sequence[object]]:
    calls = Appointment.objects.order_by("starts_at", "pk")
    if state := filters.get("state"):
        if state not in AppointmentState.values:
            raise Refused(f"“{state}” is not a state of a call; wanted one of: {', '.join(AppointmentState.values)}.", field="state")
        calls = calls.filter(state=state)
    if job := filters.get("job"):
        calls = calls.filter(job__code=job.upper())
    for name, lookup in (("from", "local_date__gte"), ("to", "local_date__lte")):
        if typed := filters.get(name):
            try:
                calls = calls.filter(**{lookup: dt.date.fromisoformat(typed)})
            except ValueError:
                raise Refused(f"“{typed}” is not a day; wanted one such as 2026-11-18.", field=name) from None
    return lines(calls)


EXPORTS = (Export("appointments", "Calls", HEADINGS, _rows, filters=("state", "job", "from", "to")),)
