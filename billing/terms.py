"""When an invoice is due, and how old a debt is at an as-of day. Pure: calendar days, no clock."""

from datetime import date, timedelta
from enum import StrEnum


class Bucket(StrEnum):
    """Ageing by days past due, youngest first. A day past due on the due day itself is zero: still current."""

    CURRENT = "current"
    TO_30 = "1-30"
    TO_60 = "31-60"
    TO_90 = "61-90"
    OVER_90 = "over 90"


# Last day past due of each bucket. Source: the usual ageing of receivables (common practice, no source).
_LAST_DAY = ((0, Bucket.CURRENT), (30, Bucket.TO_30), (60, Bucket.TO_60), (90, Bucket.TO_90))


def due_on(issued_on: date, *, net_days: int) -> date:
    """The due day of "net N days": N calendar days after the day of issue, which is day zero."""
    if net_days < 0:
        raise ValueError(f"Payment terms cannot be negative: net {net_days} days. Zero means due on the day of issue.")
    return issued_on + timedelta(days=net_days)


def days_past_due(due: date, *, as_of: date) -> int:
    """Calendar days past due; zero on the due day, negative before it."""
    return (as_of - due).days


def bucket(due: date, *, as_of: date) -> Bucket:
    """The ageing bucket of what is still owed at the as-of day."""
    past = days_past_due(due, as_of=as_of)
    for last, name in _LAST_DAY:
        if past <= last:
            return name
    return Bucket.OVER_90
