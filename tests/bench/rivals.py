"""What others would put in our place: each gives the chances of the open rows, (n, HORIZON + 1), from the same history.

They count calendar days. Here the plain ones: a curve for each utility, and the spreadsheet's habit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.bench.worlds import World
from utilities.leadtimes import FITTED, HORIZON, NO_DAY
from utilities.leadtimes.history import ended, known

Floats = npt.NDArray[np.float64]
OWN_FROM = 5  # fittings; a utility with fewer is forecast by all together


@dataclass(frozen=True)
class Seen:
    """What is known on an as-of day, in calendar days; arrays (n,). open: places of the open rows among them."""

    utility: npt.NDArray[np.int64]
    filed: npt.NDArray[np.int64]
    entry: npt.NDArray[np.int64]
    days: npt.NDArray[np.int64]
    fitted: npt.NDArray[np.bool_]
    open: npt.NDArray[np.intp]


def seen(world: World, as_of: int) -> Seen:
    history = world.history
    chosen = known(history, as_of) & ~((history.outcome != 0) & (history.by < history.known_from))
    done = ended(history, as_of)[chosen]
    rows = history.rows(chosen)
    fitted = done & (rows.outcome == FITTED)
    days = np.where(done, rows.by, as_of) - rows.filed
    days = np.where(fitted, np.maximum(days, 1), days)
    entry = np.where(rows.known_from == NO_DAY, 0, np.maximum(rows.known_from - 1 - rows.filed, 0))
    return Seen(
        utility=rows.utility.astype(np.int64),
        filed=rows.filed.astype(np.int64),
        entry=np.minimum(entry, days - fitted),
        days=days.astype(np.int64),
        fitted=fitted,
        open=np.flatnonzero(~done),
    )


def ahead(cumulative: Callable[[Floats], Floats], age: Floats) -> Floats:
    """Chances given that the request is still open: 1 - exp(H(age) - H(age + h))."""
    total = cumulative(age[:, None] + np.arange(HORIZON + 1))
    with np.errstate(invalid="ignore", over="ignore"):
        chances = -np.expm1(total[:, :1] - total)
    # Beyond where a curve can be told apart from 0 nothing is left to say but "tomorrow".
    chances[:, 1:] = np.where(np.isfinite(chances[:, 1:]), chances[:, 1:], 1.0)
    return np.clip(chances, 0, 1)


def by_utility(data: Seen, make: Callable[[npt.NDArray[np.bool_]], Callable[[Floats], Floats]], asked: Seen | None = None) -> Floats:
    """A curve for each utility with enough fittings, else that of all. asked: whose open rows, if not those of the data."""
    asked = asked or data
    out = np.empty((asked.open.size, HORIZON + 1))
    every = make(np.ones(data.days.size, bool))
    for utility in np.unique(asked.utility[asked.open]):
        own = data.utility == utility
        curve = make(own) if np.count_nonzero(data.fitted[own]) >= OWN_FROM else every
        rows = asked.utility[asked.open] == utility
        out[rows] = ahead(curve, asked.days[asked.open][rows].astype(float))
    return out


def kaplan_meier(data: Seen) -> Floats:
    """Kaplan-Meier per utility with late entry; a constant hazard, that of the oldest five fittings, where fewer than five are watched."""
    return by_utility(data, lambda rows: _kaplan_meier(data.entry[rows], data.days[rows], data.fitted[rows]))


def _kaplan_meier(entry: npt.NDArray[np.int64], days: npt.NDArray[np.int64], fitted: npt.NDArray[np.bool_]) -> Callable[[Floats], Floats]:
    size = int(days.max(initial=0)) + 2
    done = np.bincount(days[fitted], minlength=size)[: size - 1]
    watched = np.cumsum(np.bincount(entry + 1, minlength=size)[:size] - np.bincount(days + 1, minlength=size)[:size])[: size - 1]
    if not done.sum():
        rate = 1 / (watched.sum() + 60)
        return lambda age: age * rate
    later = done.sum() - np.cumsum(done)
    enough = np.flatnonzero((later >= 5) & (done > 0))
    start = int(enough[-1]) if enough.size else 0
    tail = done[start + 1 :].sum() / watched[start + 1 :].sum()
    few = np.where(np.arange(size - 1) > start, tail, done.sum() / watched.sum())
    hazard = np.where(watched >= 5, done / np.maximum(watched, 1), few)
    hazard[0] = 0
    total = np.cumsum(-np.log1p(-np.minimum(hazard, 0.98)))
    beyond = -np.log1p(-min(tail, 0.98))

    def cumulative(age: Floats) -> Floats:
        whole = age.astype(np.int64)
        summed: Floats = total[np.minimum(whole, total.size - 1)] + beyond * np.maximum(whole - total.size + 1, 0)
        return summed

    return cumulative


def spreadsheet(data: Seen) -> Floats:
    """The mean of the finished waits of the utility; tomorrow if that day has passed."""
    of_all = data.days[data.fitted].mean() if data.fitted.any() else 60.0
    out = np.zeros((data.open.size, HORIZON + 1))
    for place, row in enumerate(data.open):
        finished = data.days[data.fitted & (data.utility == data.utility[row])]
        day = round((finished.mean() if finished.size else of_all) - data.days[row])
        out[place, min(max(day, 1), HORIZON) :] = 1
    return out


def knowing_all(world: World, as_of: int, data: Seen) -> Floats:
    """No rival but the room there is: Kaplan-Meier per utility from all outcomes, those after the as-of day and of the judged too."""
    later = seen(world, as_of + 10 * HORIZON)
    return by_utility(later, lambda rows: _kaplan_meier(later.entry[rows], later.days[rows], later.fitted[rows]), asked=data)


PLAIN: dict[str, Callable[[Seen], Floats]] = {"Kaplan-Meier": kaplan_meier, "spreadsheet": spreadsheet}
