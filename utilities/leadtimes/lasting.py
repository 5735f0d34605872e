"""How long requests last: how often one ends without a fitting, by its age, in all utilities together."""

from __future__ import annotations

import numpy as np

from .ages import waits_seen
from .calendars import Calendars
from .candidates import hazard_of
from .classes import CLASSES, class_of, rates, spread, summed
from .classes import at_age as up_to_age
from .history import CANCELLED, FITTED, NO_DAY, Days, Floats, History, Rows
from .pool import pretended

STEADIED_BY = 64  # pretended requests of one hazard at every age


def ending_hazard(history: History, calendars: Calendars, as_of: int) -> Floats:
    """(CLASSES,) chance per working day that an open request ends without a fitting, by age class; 0 where none ever did.

    Counted as fittings are (left truncation too), with the two endings changed over: a fitting ends the watching. Steadied towards one
    hazard for every age, which is all that a few endings can tell. Source: FORECASTING.md section 11.
    """
    swapped = np.where(history.outcome == CANCELLED, FITTED, np.where(history.outcome == FITTED, CANCELLED, history.outcome))
    waits = waits_seen(
        History.from_columns(
            utility=history.utility,
            filed=history.filed,
            outcome=swapped,
            by=history.by,
            after=np.full(len(history), NO_DAY),
            known_from=history.known_from,
        ),
        calendars,
        as_of,
    )
    ended, waited = _by_class(waits.end[waits.fitted]), _by_class(waits.end) - _by_class(waits.entry)
    days = np.maximum(spread(waited[0], waited[1]), 0)
    if not ended[0].any():
        return np.zeros(CLASSES)
    e0, f0 = pretended(np.full(CLASSES, ended[0].sum() / max(days.sum(), 1.0)))
    return hazard_of(STEADIED_BY, f0, e0, ended[0], days)


def lasts(hazard: Floats, age: Days | Rows, later: Days | Rows) -> Floats:
    """Chance that a request open at an age in working days has not ended without fitting by a later one; alike in shape."""
    rate = rates(hazard)[None]
    row, upto = np.zeros_like(age), summed(rate)
    told: Floats = np.exp(up_to_age(rate, upto, row, age) - up_to_age(rate, upto, row, later))
    return told


def _by_class(ages: Days) -> Floats:
    """(2, CLASSES) number of these ages in each class, and their sum."""
    cls = class_of(ages)
    return np.stack([np.bincount(cls, minlength=CLASSES), np.bincount(cls, weights=ages, minlength=CLASSES)]).astype(np.float64)
