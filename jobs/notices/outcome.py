"""What came of one try to send, and how long to wait for the next. Pure."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from email.utils import parsedate_to_datetime
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
    wait: dt.timedelta | None = None  # how long the far end asks us to wait
    far_id: str = ""  # what the far end calls the message


def pause_after(attempts: int, *, jitter: float) -> dt.timedelta:
    """How long to wait after so many tries (1, 2, ...).

    jitter: 0 to 1; lengthens it by up to a quarter, so that not all come back at once.
    """
    pause = PAUSES[min(attempts, len(PAUSES)) - 1]
    return pause * (1 + jitter / 4)


# About us and not about this message: it stays, and somebody mends the settings. RFC 4954 4 and 6: 530 authentication required, 534 too
# weak, 535 not valid, 538 encryption required.
SMTP_ABOUT_US = frozenset({530, 534, 535, 538})


def of_status(code: int) -> Result:
    """The result a mail server's status means: 4yz passes, 5yz does not (RFC 5321 4.2.1), but for those that are about us."""
    return Result.PERMANENT if 500 <= code < 600 and code not in SMTP_ABOUT_US else Result.PASSING


# RFC 9110 15.5, RFC 6585: what the gateway never took, and takes later or once our settings are mended.
HTTP_PASSING = {
    401: "does not know our secret",
    403: "does not let us in",
    404: "has nothing at this address",
    405: "takes no POST at this address",
    407: "stands behind a proxy that does not let us in",
    408: "did not get the whole request in time",
    421: "is not the one for this address",
    423: "is locked",
    425: "wants the request later",
    426: "wants another protocol",
    429: "has had too many requests",
    503: "is not ready",
}
# It may have acted before it answered so: 409 says of the same Idempotency-Key that it came before; 5yz that it or one behind it broke.
HTTP_UNKNOWN = frozenset({409, 500, 502, 504})
LONGEST_WAIT = dt.timedelta(days=1)


def of_http(status: int) -> Result:
    """The result a gateway's status means. 2yz: taken. Another 4yz: this message is refused, for good. A redirect is not followed."""
    if 200 <= status < 300:
        return Result.SENT
    if status in HTTP_PASSING or 300 <= status < 400:
        return Result.PASSING
    if 400 <= status < 500 and status not in HTTP_UNKNOWN:
        return Result.PERMANENT
    return Result.UNKNOWN


def wait_of(retry_after: str | None, *, now: dt.datetime) -> dt.timedelta | None:
    """What Retry-After asks for (RFC 9110 10.2.3): seconds, or a date; at most a day. None where it cannot be read or lies in the past."""
    words = (retry_after or "").strip()
    if words.isascii() and words.isdigit() and len(words) < 10:
        wait = dt.timedelta(seconds=int(words))
    else:
        try:
            at = parsedate_to_datetime(words)
        except (TypeError, ValueError):
            return None
        wait = (at if at.tzinfo else at.replace(tzinfo=dt.UTC)) - now
    return min(wait, LONGEST_WAIT) if wait > dt.timedelta() else None
