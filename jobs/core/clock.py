"""The one place where the clock is read."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Iterator
from contextvars import ContextVar
from zoneinfo import ZoneInfo

_pretended: ContextVar[dt.datetime | None] = ContextVar("pretended", default=None)


def now() -> dt.datetime:
    """This instant, aware, in UTC."""
    return _pretended.get() or dt.datetime.now(dt.UTC)


@contextlib.contextmanager
def pretend(at: dt.datetime) -> Iterator[None]:
    """Made-up data only: what is recorded inside was recorded at that instant."""
    token = _pretended.set(at)
    try:
        yield
    finally:
        _pretended.reset(token)


def today_in(zone: str) -> dt.date:
    """The day it is now in an IANA zone."""
    return day_of(now(), zone)


def day_of(at: dt.datetime, zone: str) -> dt.date:
    """The day of an instant in an IANA zone."""
    return at.astimezone(ZoneInfo(zone)).date()


def office_today() -> dt.date:
    """The day of the office: of billing, Today and due lists."""
    from jobs.core import rules

    return today_in(rules.text("office_zone"))
