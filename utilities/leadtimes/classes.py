"""Age classes that grow by a tenth each, so that a change of time scale is a shift by whole classes.

Class b holds the ages in (LOWER[b], UPPER[b]] working days: 0, 0.25, 0.275, ... about 2,840. The last one has no end: older ages
count there, and its rate goes on. Source: FORECASTING.md section 3.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from .history import Floats, Rows

GROWTH = 1.1
STEP = float(np.log(GROWTH))
FIRST = 0.25  # working days
CLASSES = 99
UPPER: Floats = FIRST * np.power(GROWTH, np.arange(CLASSES, dtype=np.float64))
LOWER: Floats = np.concatenate([[0.0], UPPER[:-1]])
WIDTH: Floats = UPPER - LOWER

# A hazard of 1 would say "certain" after a handful of fittings, and its logarithm is infinite.
HIGHEST_HAZARD = 0.98

Integers = npt.NDArray[np.integer]

_OF_WHOLE_AGE: Rows = np.searchsorted(UPPER, np.arange(int(UPPER[-1]) + 2)).clip(max=CLASSES - 1)


def class_of(age: Integers) -> Rows:
    """Class of each age in whole working days; age 0 is in the first."""
    return _OF_WHOLE_AGE[np.minimum(age, _OF_WHOLE_AGE.size - 1)]


def spread(number: Floats, ages: Floats) -> Floats:
    """Working days that lie in each class, for requests that waited from age 0 on.

    number, ages: (..., CLASSES) how many ended in each class, and the sum of their ages at the end. Returns (..., CLASSES).
    A request that ends in class b at age y brings the whole width of every class before b, and y - LOWER[b] there. Both inputs may
    be differences (ends less entries): the sums are linear.
    """
    later = np.cumsum(number[..., ::-1], axis=-1)[..., ::-1] - number
    return later * WIDTH + ages - number * LOWER


def rates(hazard: Floats) -> Floats:
    """Rate of a day that leaves the share 1 - hazard open, as Kaplan-Meier has it (the hazard itself would be too slow)."""
    return -np.log1p(-np.minimum(hazard, HIGHEST_HAZARD))


def summed(by_class: Floats) -> Floats:
    """A rate (or hazard) per working day, (..., CLASSES), summed over the days up to the start of each class; same shape."""
    total = np.cumsum(by_class * WIDTH, axis=-1)
    return np.concatenate([np.zeros((*total.shape[:-1], 1)), total[..., :-1]], axis=-1)


def at_age(by_class: Floats, upto: Floats, row: Integers, age: Integers) -> Floats:
    """The sum up to each age. by_class, upto: (rows, CLASSES), upto = summed(by_class); row, age: alike in shape."""
    cell = row * CLASSES + class_of(age)
    told: Floats = upto.ravel()[cell] + by_class.ravel()[cell] * (age - LOWER[class_of(age)])
    return told
