"""Messages for tests: a home whose collar was removed owes one to its owner.

They are given as Any: a test knows that its message has a job, a person and a time, which the model's types leave open.
"""

from __future__ import annotations

import datetime as dt
import socket
from typing import Any

from jobs.core import cautions, clock
from jobs.core import kinds as k
from jobs.core.models import Job
from jobs.core.states import S
from jobs.notices import consent, outbox
from jobs.notices.models import Message, State
from tests.make import SYSTEM, make_job, put

REMOVED_ON = dt.date(2026, 11, 16)  # a Monday


def removed(job: Job | None = None, **fields: Any) -> Any:
    """The message owed for a removal, waiting for release."""
    job = job or make_job(S.BACKUP_VERIFIED, **fields)
    put(job, k.COLLAR_REMOVED, on=REMOVED_ON)
    return Message.objects.get(job=job, kind="collar_removed", channel="email")


def released(**fields: Any) -> Any:
    """Released, and due now: the minute for taking it back is over."""
    message = outbox.release(removed(**fields), by=SYSTEM)
    Message.objects.filter(pk=message.pk).update(due_at=message.released_at)
    message.refresh_from_db()
    return message


def claimed(**fields: Any) -> Any:
    message = outbox.claim(released(**fields).pk)
    assert message is not None
    return message


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def noon_zone() -> str:
    """A zone in which it is about noon at this moment, for tests at the real time."""
    hour = dt.datetime.now(dt.UTC).hour
    # The names are turned around: Etc/GMT+5 is five hours behind UTC.
    return f"Etc/GMT{hour - 12:+d}" if hour != 12 else "Etc/GMT"


def agreed(job: Job, *, scope: str = "notices") -> Any:
    """The owner's agreement to texts at the number on record; gives the person."""
    person = job.parties.get(role="owner").person
    consent.give(
        job,
        person=person,
        channel="text",
        scope=scope,
        words="May we text you about the work on your home? Reply STOP to end it.",
        how="on the hand-over sheet, 4 May",
        by=SYSTEM,
    )
    return person


def text_to(job: Job | None = None, *, state: State = State.RELEASED, **fields: Any) -> Any:
    """A text about a removal as it stands once a person has released it; its owner has agreed to texts."""
    job = job or make_job(S.BACKUP_VERIFIED, zone=fields.pop("zone", "America/Denver"))
    person = job.parties.get(role="owner").person
    if not job.facts.of_kind(k.COLLAR_REMOVED).exists():
        put(job, k.COLLAR_REMOVED, on=REMOVED_ON)
    if not consent.may_text(person, person.phone, scope="notices"):
        agreed(job)
    mail = Message.objects.get(job=job, kind="collar_removed", channel="email")
    now = clock.now()
    given: dict[str, Any] = {
        "kind": mail.kind, "cause": mail.cause, "about": mail.about, "job": job, "person": person, "to_key": mail.to_key,
        "to_name": person.name, "address": person.phone, "channel": "text", "state": state, "created_at": now,
        "text": f"Larch & Lantern: the collar is gone. Your home has no backup yet. {cautions.of('no_backup_yet').text('en')}\n",
        "released_by_name": "Theo Lindgren", "released_at": now, "due_at": now,
    }  # fmt: skip
    message = Message(**(given | fields))
    Message.objects.filter(kind=message.kind, cause=message.cause, to_key=message.to_key, channel="text").delete()
    message.message_id = f"<{message.uid}@larchlantern.example>"
    message.save()
    return message


def claimed_text(**fields: Any) -> Any:
    message = outbox.claim(text_to(**fields).pk)
    assert message is not None
    return message
