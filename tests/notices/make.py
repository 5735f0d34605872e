"""Messages for tests: a home whose collar was removed owes one to its owner.

They are given as Any: a test knows that its message has a job, a person and a time, which the model's types leave open.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from jobs.core import kinds as k
from jobs.core.models import Job
from jobs.core.states import S
from jobs.notices import outbox
from jobs.notices.models import Message
from tests.make import SYSTEM, make_job, put

REMOVED_ON = dt.date(2026, 11, 16)  # a Monday


def removed(job: Job | None = None, **fields: Any) -> Any:
    """The message owed for a removal, waiting for release."""
    job = job or make_job(S.BACKUP_VERIFIED, **fields)
    put(job, k.COLLAR_REMOVED, on=REMOVED_ON)
    return Message.objects.get(job=job)


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


def noon_zone() -> str:
    """A zone in which it is about noon at this moment, for tests at the real time."""
    hour = dt.datetime.now(dt.UTC).hour
    # The names are turned around: Etc/GMT+5 is five hours behind UTC.
    return f"Etc/GMT{hour - 12:+d}" if hour != 12 else "Etc/GMT"
