"""From hazards to dates: when each open request will be fitted, given how long it has waited."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import fronts, pace, promises
from .calendars import HORIZON, Calendars
from .candidates import CANDIDATES
from .classes import CLASSES, LOWER, class_of, rates, summed
from .estimate import Fitted
from .history import NO_DAY, Days, Floats, OpenRequests, Rows
from .quantiles import PERCENTS, Quantiles
from .why import Why, reasons

# A chance that should be exactly one half can come out as 0.49999999999999994, and its day a step too late.
TOLERANCE = 1e-9
FRONT_LEFT_OUT = 0.001  # weight
_AT_ONCE = 4_000  # requests
_UTILITIES_AT_ONCE = 128


def _ahead() -> Rows:
    """1 ... 12 working days ahead, then steps of 9 % until every horizon is covered."""
    nodes = list(range(1, 13))
    while nodes[-1] <= HORIZON:
        nodes.append(round(nodes[-1] * 1.09))
    return np.array(nodes)


# At these offsets ln S is worked out; between them it is straight.
AHEAD: Rows = _ahead()
_NODES: Rows = np.concatenate([[0], AHEAD])


@dataclass(frozen=True)
class Forecasts(Quantiles):
    """Dates, and why. own_weight: (n,) 0 to 1, how much the utility's own fittings count beside the borrowed ones."""

    own_weight: Floats
    why: Why


def forecast(fitted: Fitted, open_requests: OpenRequests) -> Forecasts:
    """When each request is fitted if it is still open at the end of the as-of day and the job goes on.

    F(h) = chance of a fitting on or before day as_of + h; q at p % is the first working day of the utility with F >= p/100 - 1e-9:
    always later than the as-of day and the filing day. A planned sending is forecast as if filed today, and its wait begins then.
    A promise that stands bends the curve of its request. Source: FORECASTING.md sections 1, 8 and 9.

    Raises ValueError if a request's utility has no calendar, or it was filed before the calendars begin or after the horizon.
    """
    calendars, as_of, utility = fitted.calendars, fitted.as_of, open_requests.utility
    calendars.check(as_of, utility)
    today = calendars.count(utility, as_of)
    waited = today - calendars.count(utility, open_requests.filed)
    age, begins = np.maximum(waited, 0), np.maximum(-waited, 0)
    ahead = calendars.count(utility, as_of + HORIZON) - today

    why = reasons(fitted, utility, open_requests.district, promise=(open_requests.promise_first, open_requests.promise_last))
    factor = fitted.districts.of(utility, open_requests.district)
    worked = _worked(calendars, as_of)
    q = np.full((len(open_requests), PERCENTS.size), NO_DAY, dtype=np.int32)
    p_never = np.ones(len(open_requests))
    calendar = calendars.row[utility][:, None]

    def say(rows: Rows, curve: Floats, nodes: Rows) -> None:
        left = ahead[rows] - begins[rows]
        p_never[rows] = np.exp(_between(curve, left, nodes))
        days = first_reached(curve, nodes)
        days = np.where(days <= left[:, None], days + begins[rows, None], 0)
        q[rows] = np.where(days > 0, worked[calendar[rows], days], NO_DAY)

    order = np.argsort(utility, kind="stable")
    for rows in _blocks(order, utility[order]):
        say(rows, log_open(fitted, utility[rows], age[rows], factor[rows]), _NODES)
    promised, first, last = promises.windows(open_requests, calendars, as_of)
    for part in _blocks(np.arange(promised.size), utility[promised]):
        rows, kept = promised[part], fitted.promised
        curve = promises.under_promise(
            log_open(fitted, utility[rows], age[rows], factor[rows]),
            _NODES,
            first=first[part] - begins[rows],
            last=last[part] - begins[rows],
            kept=kept.rate[utility[rows]],
            before=kept.before[utility[rows]],
        )
        say(rows, curve, np.arange(curve.shape[1]))
    return Forecasts(as_of=as_of, calendars=calendars, utility=utility, q=q, p_never=p_never, own_weight=why.own_weight, why=why)


def log_open(fitted: Fitted, utility: Days, age: Days, factor: Floats) -> Floats:
    """(n, AHEAD + 1) ln of the chance to be still open after 0 and AHEAD working days more; n requests of one block."""
    among, place = np.unique(utility, return_inverse=True)
    days = _days_of(fitted, among)
    learned, seen_weight = fitted.learned, fitted.weight[:, among]
    later = age[:, None] + _NODES
    cls = class_of(later)
    into = later - LOWER[cls]
    cell = place[:, None] * CLASSES + cls
    still = np.zeros((utility.size, AHEAD.size))
    for candidate in range(len(CANDIDATES)):
        rate = rates(learned.hazard[candidate, among])
        upto = summed(rate).ravel()[cell] + rate.ravel()[cell] * into
        rise = factor[:, None] * (upto[:, 1:] - upto[:, :1])
        mean, variance = pace.over(days, learned.a[candidate, among, None], learned.b[candidate, among, None])
        if not fitted.parts.pace:
            mean, variance = np.ones_like(mean), np.full_like(mean, 1 / pace.CERTAIN)
        still += seen_weight[candidate, place, None] * np.exp(pace.log_open(rise, mean[place], variance[place]))
    in_order = np.flatnonzero((seen_weight[len(CANDIDATES) :] >= FRONT_LEFT_OUT).any(axis=0))
    if in_order.size:
        still += _behind_fronts(fitted, among, in_order, place, age, factor)
    # Fronts that weigh too little are left out; what is left makes up the whole.
    weight = seen_weight[: len(CANDIDATES)].sum(axis=0)
    fronts_weight = seen_weight[len(CANDIDATES) :]
    weight = weight + np.where(fronts_weight >= FRONT_LEFT_OUT, fronts_weight, 0).sum(axis=0)
    still = np.minimum.accumulate(np.minimum(still / weight[place, None], 1), axis=1)
    return np.concatenate([np.zeros((utility.size, 1)), np.log(np.maximum(still, 1e-300))], axis=1)


def first_reached(curve: Floats, ahead: Rows = _NODES) -> Rows:
    """(n, 99) first whole number of working days at which F >= p/100 - 1e-9, by ln S straight between; far beyond where never.

    curve: (n, ahead) ln S at so many working days ahead, from 0 on.
    """
    nodes = np.append(ahead, 10**6)
    reached = np.floor((-np.expm1(curve) + TOLERANCE) * 100).clip(0, PERCENTS.size).astype(np.intp)
    reached[:, 0] = 0
    # How many of the 99 lie in the stretch that ends at each node; all that are never reached end at the last.
    within = np.diff(reached, axis=1, prepend=0, append=PERCENTS.size)
    end = np.repeat(np.tile(np.arange(nodes.size), len(curve)), within.ravel()).reshape(len(curve), PERCENTS.size)
    last = end == nodes.size - 1
    end = np.minimum(end, nodes.size - 2)
    row = np.arange(len(curve))[:, None]
    high, low = curve[row, end - 1], curve[row, end]
    target = np.log1p(TOLERANCE - PERCENTS / 100)
    share = np.clip((high - target) / np.maximum(high - low, 1e-300), 0, 1)
    # A day is reached if the line is there but for roundings.
    days = np.ceil(nodes[end - 1] + share * (nodes[end] - nodes[end - 1]) - TOLERANCE).astype(np.intp)
    first: Rows = np.where(last, nodes[-1], np.maximum(days, 1))
    return first


def _behind_fronts(fitted: Fitted, among: Days, in_order: Rows, place: Rows, age: Days, factor: Floats) -> Floats:
    """(n, AHEAD) chance to be open under the fronts, times their weights; 0 where a front weighs too little.

    among: utilities of the block, in_order: places in it with a front, place: of each request's utility in it.
    """
    weight = fitted.weight[len(CANDIDATES) :, among[in_order]]
    still = np.zeros((age.size, AHEAD.size))
    node = np.clip(np.searchsorted(fronts.OFFSETS, AHEAD, side="right") - 1, 0, fronts.OFFSETS.size - 2)
    step = (AHEAD - fronts.OFFSETS[node]) / (fronts.OFFSETS[node + 1] - fronts.OFFSETS[node])
    for front, weighs in enumerate(weight):
        counted = np.flatnonzero(weighs >= FRONT_LEFT_OUT)
        if not counted.size:
            continue
        at = np.full(among.size, -1)
        at[in_order[counted]] = np.arange(counted.size)
        rows = np.flatnonzero(at[place] >= 0)
        utility = at[place[rows]]
        lower, share = fronts.age_places(age[rows])
        by_age = np.swapaxes(fronts.log_open(fitted.seen.chance[front][:, among[in_order[counted]]], front), 1, 2)
        curve = by_age[utility, lower] + share[:, None] * (by_age[utility, lower + 1] - by_age[utility, lower])
        told = curve[:, node] + step * (curve[:, node + 1] - curve[:, node])
        still[rows] += weighs[counted][utility, None] * np.exp(factor[rows, None] * told)
    return still


def _days_of(fitted: Fitted, utility: Days) -> Floats:
    """(utilities, AHEAD) about how many calendar days hold so many working days."""
    calendars = fitted.calendars
    worked = calendars.count(utility, fitted.as_of + HORIZON) - calendars.count(utility, fitted.as_of)
    days: Floats = AHEAD * HORIZON / np.maximum(worked, 1)[:, None]
    return days


def _between(curve: Floats, days: Rows, nodes: Rows) -> Floats:
    """(n,) ln S at so many working days ahead, 0 before it begins; curve: (n, nodes)."""
    held = np.maximum(days, 0)
    low = np.minimum(np.searchsorted(nodes, held, side="right") - 1, nodes.size - 2)
    row = np.arange(len(curve))
    share = (held - nodes[low]) / (nodes[low + 1] - nodes[low])
    told: Floats = curve[row, low] + share * (curve[row, low + 1] - curve[row, low])
    return told


def _worked(calendars: Calendars, as_of: int) -> Days:
    """(calendars, working days + 1) number of the day of each working day after the as-of day: column 1 is the first."""
    days = np.diff(calendars.counts[:, as_of - calendars.first + 1 :])
    table = np.full((len(days), int(days.sum(axis=1).max(initial=0)) + 1), NO_DAY, dtype=np.int32)
    row, day = np.nonzero(days)
    table[row, np.cumsum(days, axis=1)[row, day]] = as_of + 1 + day
    return table


def _blocks(order: Rows, utility: Days) -> list[Rows]:
    """Rows in blocks of so many requests and so many utilities; utility: in that order."""
    new = np.cumsum(np.diff(utility, prepend=utility[:1]) != 0)
    key = np.arange(order.size) // _AT_ONCE * 10**6 + new // _UTILITIES_AT_ONCE
    return np.split(order, np.flatnonzero(np.diff(key)) + 1) if order.size else []
