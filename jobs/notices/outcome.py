"""What came of one try to send, and how long to wait for the next. Pure."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum

LEASE = dt.timedelta(minutes=5)
# A mail server that is down comes back within minutes or after a night; RFC 5321 4.5.4.1 asks for 30 minutes between tries in
# general and to go on for 4 to 5 days.
PAUSES = tuple(dt.timedelta(minutes=minutes) for minutes in (1, 2, 5, 15, 30, 60, 120))
GIVE_UP_AFTER = dt.timedelta(days=5)


class Result(StrEnum):
    SENT = "sent"
    CAPTURED = "captured"
    PASSING = "passing failure"  # tried again after a pause
    PERMANENT = "permanent failure"  # never again without a person
    UNKNOWN = "unknown"  # handed over, no answer: it may have been sent


@dataclass(frozen=True)
class Outcome:
    result: Result
    words: str  # as the message's page says it


def pause_after(attempts: int, *, jitter: float) -> dt.timedelta:
    """How long to wait after so many tries (1, 2, ...).

    jitter: 0 to 1; lengthens it by up to a quarter, so that not all come back at once.
    """
    pause = PAUSES[min(attempts, len(PAUSES)) - 1]
    return pause * (1 + jitter / 4)


def of_status(code: int) -> Result:
    """The result a mail server's status means: 4yz passes, 5yz does not (RFC 5321 4.2.1)."""
    return Result.PERMANENT if 500 <= code < 600 else Result.PASSING
