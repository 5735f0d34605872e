"""What a crew's phone sends, for tests."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from jobs.core import crewform, phoneparts
from jobs.core import kinds as k
from jobs.core.crewform import Seen
from jobs.core.models import Fact, Job, PhonePart
from jobs.core.phoneparts import Sending
from tests.make import DAY_ONE, SYSTEM, put

SHEET = {"on": ["18 Nov 2026"], "to": ["Sam Uttley"], "language": ["Spanish"]}
GIVEN = {"on": dt.date(2026, 11, 18), "to": "Sam Uttley", "language": "Spanish"}
COMMISSIONED = {"on": "18 Nov 2026", "mode": "grid-tied", "communications": "Wi-Fi", "reserve_percent": "20"}


def key() -> str:
    return str(uuid.uuid4())


def seen(job: Job, kind: str) -> str:
    """What a page that is opened now says that it saw of the record."""
    part = next(part for part in crewform.PARTS if part.kind == kind)
    job.refresh_from_db()
    return Seen.of(job, crewform.newest(job, part)).text()


def part_to_receive(job: Job) -> tuple[Job, dict[str, Any]]:
    sending = Sending("sheet-given", key(), seen(job, k.SHEET_GIVEN), SHEET)
    return job, {"sending": sending, "given": GIVEN}


def two_versions(job: Job) -> PhonePart:
    """A sheet that the office recorded as given to another person while the phone kept its own."""
    _, kwargs = part_to_receive(job)
    put(job, k.SHEET_GIVEN, on=DAY_ONE, value={"to": "the neighbour", "language": "English"})
    return phoneparts.receive(job, by=SYSTEM, **kwargs)


def standing(job: Job, kind: str) -> list[Fact]:
    return list(job.facts.standing().of_kind(kind).order_by("pk"))
