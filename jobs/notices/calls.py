"""Telephone calls with somebody of a home, in and out: they stand beside the messages."""

from __future__ import annotations

import datetime as dt

from jobs.core import clock, phones
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import Job, Person
from jobs.core.refusals import Refused
from jobs.notices.models import CallOutcome, Direction, PhoneCall


@act(right="core.release_notices", on=Job)
def record_call(
    job: Job,
    *,
    direction: str,
    at: dt.datetime,
    outcome: str,
    by: Actor,
    words: str = "",
    person: Person | None = None,
    name: str = "",
    number: str = "",
    cause: str = "",
) -> PhoneCall:
    """Somebody of the office and somebody of a home telephoned. person: one of the home's people; else a name."""
    if direction not in Direction.values:
        raise Refused("Say who telephoned: they, or we.", field="direction")
    if outcome not in CallOutcome.values:
        raise Refused("Say how the call ended.", field="outcome")
    if at > clock.now():
        raise Refused("A call is recorded once it was made; this time is still to come.", field="at")
    if person is not None and not job.parties.filter(person=person).exists():
        raise Refused("This person is not one of the people of this home; give a name instead.", field="person")
    if person is None and not name.strip():
        raise Refused("Say with whom: one of the home's people, or a name.", field="name")
    if outcome in (CallOutcome.SPOKE, CallOutcome.OTHER) and not words.strip():
        raise Refused("Say in a few words what was said.", field="words")
    return PhoneCall.objects.create(
        job=job,
        person=person,
        name=person.name if person else name.strip(),
        number=_number(number) if number.strip() else person.phone if person else "",
        direction=direction,
        at=at,
        outcome=outcome,
        words=words.strip(),
        cause=cause.strip(),
        recorded_by_name=by.name,
        recorded_at=clock.now(),
    )


def _number(typed: str) -> str:
    try:
        return phones.e164(typed).number
    except ValueError as fault:
        raise Refused(str(fault), field="number") from fault
