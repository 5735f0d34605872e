"""Who answers in an emergency with a license: a list of persons, each from and to, and who it is at an instant."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from jobs.appointments.visitmodels import OnCall
from jobs.core import clock, phones, rules
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.phones import Phone
from jobs.core.refusals import Refused


@dataclass(frozen=True)
class Reached:
    """Whom to telephone: pieces of text, each with its tel: address or none; `until` of the list's entry."""

    pieces: Sequence[tuple[str, str]]
    until: dt.datetime | None = None


@act(right="core.set_hours")
def put_on_call(name: str, *, license_number: str, phone: Phone, starts_at: dt.datetime, ends_at: dt.datetime, by: Actor) -> OnCall:
    """From and to; nobody else at the same time, so that there is one number to call."""
    if not name.strip():
        raise Refused("Say who is on call.", field="name")
    if not license_number.strip():
        raise Refused("Give the number of the license: an emergency wants a licensed person.", field="license_number")
    if starts_at >= ends_at:
        raise Refused("The end must come after the beginning.", field="to_on")
    if ends_at <= clock.now():
        raise Refused("That time has passed; a list of who was on call helps nobody.", field="to_on")
    one_at_a_time("on call")
    standing = list(OnCall.objects.standing().filter(starts_at__lt=ends_at, ends_at__gt=starts_at))
    if standing:
        other = standing[0]
        raise Refused(f"{other.name} is on call at that time already; withdraw that entry first, or begin where it ends.", field="from_on")
    number, extension = phone
    return OnCall.objects.create(
        name=name.strip(),
        license_number=license_number.strip(),
        phone=number,
        phone_ext=extension,
        starts_at=starts_at,
        ends_at=ends_at,
        set_by_name=by.name,
        set_at=clock.now(),
    )


@act(right="core.set_hours", on=OnCall)
def withdraw_on_call(entry: OnCall, *, by: Actor) -> OnCall:
    if entry.withdrawn_at is not None:
        raise Refused("This entry is withdrawn already.")
    entry.withdrawn_at = clock.now()
    entry.save(update_fields=["withdrawn_at"])
    return entry


def now_on_call(at: dt.datetime) -> OnCall | None:
    return OnCall.objects.standing().filter(starts_at__lte=at, ends_at__gt=at).first()


def reached(at: dt.datetime) -> Reached:
    """The person on the list; where nobody is on it, the number that Rules keep for always. Empty pieces: nobody is known."""
    entry = now_on_call(at)
    if entry is None:
        return Reached(phones.in_words(rules.text("emergency_on_call")))
    told, link = phones.shown(entry.phone, extension=entry.phone_ext), phones.link(entry.phone, extension=entry.phone_ext)
    return Reached([(f"{entry.name}, license {entry.license_number}, ", ""), (told, link)], entry.ends_at)


def gaps(entries: Sequence[OnCall], *, begins: dt.datetime, ends: dt.datetime) -> list[tuple[dt.datetime, dt.datetime]]:
    """Stretches without anybody between two instants; the entries stand and do not overlap."""
    found, free_from = [], begins
    for entry in sorted(entries, key=lambda entry: entry.starts_at):
        if entry.starts_at >= ends:
            break
        if entry.starts_at > free_from:
            found.append((free_from, entry.starts_at))
        free_from = max(free_from, entry.ends_at)
    return [*found, (free_from, ends)] if free_from < ends else found
