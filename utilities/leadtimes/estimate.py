"""What is learned from the waits up to an as-of day: pool, candidates, fronts, whom to believe, districts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from . import brackets, candidates, fronts
from .ages import Waits, waits_seen
from .calendars import Calendars
from .candidates import Learned
from .classes import CLASSES
from .counts import Fortnights, count
from .districts import Districts, districts_of
from .fronts import Seen
from .history import Floats, History, Promises, Rows
from .parts import WHOLE, Parts
from .pool import Pool, pool_of
from .promises import Kept, learn
from .weights import log_weights, weights

_AT_ONCE = 256  # utilities: their tables stay in the processor's cache


@dataclass(frozen=True)
class Fitted:
    """What was learned up to the end of the as-of day.

    weight: (candidates + fronts, utilities) adding to 1 for each utility. among: (candidates, utilities) the same of the candidates by
    themselves. hazard: (utilities, CLASSES) averaged over the candidates by it.
    promised: how utilities keep promises. own_fittings: (utilities,) known ones. dropped: rows that had ended before anybody watched them.
    """

    as_of: int
    calendars: Calendars
    parts: Parts
    pool: Pool
    learned: Learned
    seen: Seen
    weight: Floats
    among: Floats
    hazard: Floats
    districts: Districts
    promised: Kept
    own_fittings: Rows
    dropped: int


def fit(history: History, calendars: Calendars, as_of: int, promises: Promises | None = None, *, parts: Parts = WHOLE) -> Fitted:
    """Learn from what was known at the end of the as-of day. Method: FORECASTING.md sections 3 to 9.

    calendars: one for every utility, over `span(history, as_of)`. as_of: day number.
    promises: days that utilities named for rows of the history; what was named later or has not yet come out is left aside.
    parts: of the method; something else than all of them only to see what one is worth.

    Raises ValueError if a utility has no calendar, the calendars do not reach far enough, or a promise belongs to no row.
    """
    calendars.check(as_of, history.utility)
    promised = learn(history, promises, utilities=calendars.utilities, as_of=as_of)
    waits = waits_seen(history, calendars, as_of)
    if not parts.open_requests:
        waits = waits.rows(waits.fitted)
    if not brackets.any_bracketed(waits):
        return _fit(waits, waits, calendars, as_of, promised, parts)
    # Twice: by the pool, with brackets spread as a constant hazard would have it at first, then by the utility's own hazard.
    even = np.full((calendars.utilities, CLASSES), 1e-6)
    rough = pool_of(*count(brackets.shared_out(waits, even), calendars, as_of).totals(), parts)
    first = _fit(waits, brackets.shared_out(waits, rough.hazard()), calendars, as_of, promised, parts)
    return _fit(waits, brackets.shared_out(waits, first.hazard), calendars, as_of, promised, parts)


def _fit(waits: Waits, rows: Waits, calendars: Calendars, as_of: int, promised: Kept, parts: Parts) -> Fitted:
    """waits: one row a request, rows: brackets shared out."""
    counts = count(rows, calendars, as_of)
    pool = pool_of(*counts.totals(), parts)
    learned, seen = _through_time(counts, pool, parts)
    in_order = np.repeat(fronts.log_prior(pool.scale, parts)[None], len(fronts.FRONTS), axis=0)
    priors = np.concatenate([candidates.log_prior(pool, parts), in_order])
    log_weight = log_weights(np.concatenate([learned.record, seen.record]), priors, parts)
    among = weights(log_weight[: len(candidates.CANDIDATES)])
    hazard = np.einsum("cu,cub->ub", among, learned.hazard)
    return Fitted(
        as_of=as_of,
        calendars=calendars,
        parts=parts,
        pool=pool,
        learned=learned,
        seen=seen,
        weight=weights(log_weight),
        among=among,
        hazard=hazard,
        districts=districts_of(rows, hazard, as_of, parts),
        promised=promised,
        own_fittings=np.bincount(waits.utility[waits.fitted], minlength=calendars.utilities),
        dropped=waits.dropped,
    )


def _through_time(counts: Fortnights, pool: Pool, parts: Parts) -> tuple[Learned, Seen]:
    h0 = np.stack([pool.hazard(shift) for shift in candidates.SHIFTS])
    learned, seen = [], []
    for first in range(0, max(pool.scale.size, 1), _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        fitted, waited = counts.of(some)
        learned.append(candidates.learn(fitted, waited, h0[:, some], parts))
        seen.append(fronts.watch(fitted, waited, pool.scale[some]))
    joined = {name: np.concatenate([getattr(part, name) for part in learned], axis=1) for name in Learned.__dataclass_fields__}
    return Learned(**joined), Seen(
        chance=np.concatenate([part.chance for part in seen], axis=2), record=np.concatenate([part.record for part in seen], axis=1)
    )
