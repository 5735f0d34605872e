"""A day or window that the utility named: how often it keeps such promises, and what one says of a request while it lies ahead."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from .calendars import HORIZON, Calendars
from .history import CANCELLED, FITTED, NO_DAY, Floats, History, OpenRequests, Promises, Rows, ended, known

STRENGTH = 10.0  # promises that the mean of all utilities counts for
BEFORE = 0.3  # of the base hazard, until a promise's own window begins

Number = TypeVar("Number", float, Floats)


@dataclass(frozen=True)
class Kept:
    """How each utility has kept its promises; arrays (utilities,).

    made: promises whose window has ended. kept, early: those fitted in it, and before it; a bracketed fitting by the share of its days.
    told: those kept as a person counts them, whole: the first day known fitted lies in the window.
    rate: chance that one is kept. before: part of the base hazard that holds until the window begins.
    """

    made: Floats
    kept: Floats
    early: Floats
    told: Floats
    rate: Floats
    before: Floats


def learn(history: History, promises: Promises | None, *, utilities: int, as_of: int) -> Kept:
    """What was known at the end of the as-of day of promises made for some day after they were named.

    Only windows that have ended count: to count those that are kept at once, and the others later, would flatter. A promise that was
    named when the request had ended is none; nor does one count whose request was cancelled before the window had passed.

    Raises ValueError if a promise belongs to no row of the history.
    """
    made, kept, early, told = (np.zeros(utilities) for _ in range(4))
    if promises is not None and len(promises):
        if promises.row.max() >= len(history):
            raise ValueError("A promise belongs to a row that the history does not have.")
        rows = history.rows(promises.row.astype(np.intp))
        first, last = promises.first, promises.last
        done = ended(rows, as_of)
        cancelled = done & (rows.outcome == CANCELLED)
        counts = known(rows, as_of) & (promises.named_on < last) & (last <= as_of)
        counts &= ~done | (promises.named_on < rows.by)
        counts &= ~cancelled | (rows.by > last)
        seen_open = np.where(rows.after == NO_DAY, rows.by - 1, rows.after)
        days = np.where(done & (rows.outcome == FITTED), rows.by - seen_open, 0)
        before = np.clip(np.minimum(rows.by, first - 1) - seen_open, 0, days)
        within = np.clip(np.minimum(rows.by, last) - np.maximum(seen_open, first - 1), 0, days)
        whole = ((days > 0) & (first <= rows.by) & (rows.by <= last)).astype(float)
        shares: list[Floats] = [np.ones(days.size), within / np.maximum(days, 1), before / np.maximum(days, 1), whole]
        for total, share in zip((made, kept, early, told), shares, strict=True):
            total += np.bincount(rows.utility[counts], weights=share[counts], minlength=utilities)
    usual, usual_early = pool_rate(kept, made), early_rate(math.fsum(early), math.fsum(made))
    return Kept(
        made=made,
        kept=kept,
        early=early,
        told=told,
        rate=np.asarray(keep_rate(kept, made, pool=usual)),
        before=np.asarray(early_rate(early, made, pool=usual_early)),
    )


def keep_rate(kept: Number, made: Number, *, pool: float, strength: float = STRENGTH) -> Number:
    """Share of promises a utility keeps, drawn towards the share that all keep; only promises whose window has ended count.

    The mean of a beta law with prior strength x pool and strength x (1 - pool). Source: FORECASTING.md section 9.
    """
    return (strength * pool + kept) / (strength + made)


def pool_rate(kept: Sequence[float] | Floats, made: Sequence[float] | Floats) -> float:
    """Share that all utilities keep; one half while none has promised anything."""
    return (math.fsum(kept) + 1) / (math.fsum(made) + 2)


def early_rate(early: Number, made: Number, *, pool: float = BEFORE) -> Number:
    """Part of the base hazard that holds before a window: from how often a utility comes early, drawn towards the usual 0.3."""
    return keep_rate(early, made, pool=pool)


def log_open(base: Floats, *, first: int, last: int, kept: float, before: float = BEFORE) -> Floats:
    """ln of the chance to be still open under a promise of the working days first ... last ahead.

    base: (days + 1,) ln S without the promise after 0, 1, 2, ... working days. kept: chance over the window, if it is still open when
    the window begins, spread evenly over its working days. Before the window the base rate times `before`; after it, the base rate
    again. A window whose last day is not ahead is spent: base comes back.

    Raises ValueError unless first <= last and 0 <= kept <= 1.
    """
    if first > last or not 0 <= kept <= 1:
        raise ValueError("A promise needs a window that does not end before it begins, and a chance from 0 to 1.")
    if last < 1:
        return base
    opening = max(first, 1)
    days = np.arange(base.size)
    rate = -np.diff(base, prepend=0.0)
    # Of a window that has begun the days that are left have their even share of what is still open.
    whole = last - first + 1
    gone = opening - first
    hazard = np.minimum(kept / np.maximum(whole - kept * (days - opening + gone), 1e-12), 0.98)
    inside = (days >= opening) & (days <= last)
    rate = np.where(days < opening, before * rate, np.where(inside, -np.log1p(-np.where(inside, hazard, 0)), rate))
    rate[0] = 0.0
    told: Floats = -np.cumsum(rate)
    return told


def under_promise(curve: Floats, nodes: Rows, *, first: Rows, last: Rows, kept: Floats, before: Floats) -> Floats:
    """(n, days + 1) ln S by single days: curves that are straight between nodes, (n, nodes), each under its promise; see log_open."""
    days = np.arange(nodes[-1] + 1)
    told = np.empty((len(curve), days.size))
    for row, one in enumerate(curve):
        base = np.interp(days, nodes, one)
        told[row] = log_open(base, first=int(first[row]), last=int(last[row]), kept=float(kept[row]), before=float(before[row]))
    return told


def windows(asked: OpenRequests, calendars: Calendars, as_of: int) -> tuple[Rows, Rows, Rows]:
    """Rows under a promise whose window has not passed, and its first and last working day; 1 is the next one after the as-of day.

    A window that lies on closed days alone is the working day before it, as a fitting on such a day would count, or the next one to come.
    """
    rows = np.flatnonzero(asked.promise_last > as_of)
    utility, horizon = asked.utility[rows], as_of + HORIZON
    today = calendars.count(utility, as_of)
    opening = np.clip(asked.promise_first[rows] - 1, calendars.first - 1, horizon)
    first = calendars.count(utility, opening) - today + 1
    last = calendars.count(utility, np.minimum(asked.promise_last[rows], horizon)) - today
    first = np.minimum(first, np.maximum(last, 1))
    return rows, first, np.maximum(first, last)
