"""A utility whose pace left its past: found from weekly counts, with a stated bound on false alarms.

At the start of a year what is expected of a utility is frozen. Each week the fittings that came are held against those expected; the
evidence is the mean of thirteen likelihood ratios, one from each four weeks on, "some other pace" against "its own, as well as we knew
it". If the utility keeps its pace, the chance that the evidence ever reaches 1/ALPHA in the year is at most ALPHA (Ville's inequality for
a mixture of likelihood ratios; Ville 1939, Etude critique de la notion de collectif - from memory). Source: FORECASTING.md section 13.

Requests past the age at which only one in ten was still open are not counted: a few that nobody serves, expected anew each day, would
ring although the others go their way. A utility that stops is found by those that come after.

The alarm informs; forecasts do not wait for it. Where few fittings are expected it cannot ring quickly.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Final, Self

import numpy as np
from scipy.special import logsumexp

from . import pace
from .ages import Waits
from .calendars import Calendars
from .candidates import BORROWED
from .classes import at_age, class_of, summed
from .estimate import Fitted
from .history import Days, Flags, Floats, Rows

ALPHA: Final = 0.02
WEEKS: Final = 52
STARTS: Rows = np.arange(0, WEEKS, 4)
OTHER: Final = pace.START  # shape and rate of "some other pace"
CLUMPED_FROM: Final = 1.5  # below it fittings cannot be told from such that come one by one
OUTLASTED: Final = 0.1  # share still open, below which a request tells of itself and not of the pace
_FEWEST: Final = 10.0  # fittings in the year before, or nothing is said of clumps


@dataclass(frozen=True)
class Watch:
    """What was frozen of one utility at the end of day `since`.

    hazard: (CLASSES,) per working day, 0 at ages that are not counted. kappa: requests that it rests on, own and borrowed, which is how
    well the pace was known.
    clump: fittings that come at a time. Where a crew fits a month's homes in a day, weeks of none say less than they would one by one:
    counts and kappa are divided by it.
    """

    since: int
    kappa: float
    clump: float
    hazard: tuple[float, ...]

    def as_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_json(cls, kept: dict[str, Any]) -> Self:
        return cls(**{**kept, "hazard": tuple(kept["hazard"])})


@dataclass(frozen=True)
class Finding:
    """What the counts of a watch say. weeks: full weeks since it began. evidence: the highest yet; 1 says nothing either way.

    rang: the evidence reached 1/ALPHA. From day `since` on, the start that tells most, `fitted` came where `expected` were; a home that
    stays open is expected anew each day, up to -ln OUTLASTED times in all.
    """

    weeks: int
    evidence: float
    rang: bool
    since: int
    fitted: float
    expected: float

    @property
    def pace(self) -> float:
        """Of what was expected, drawn a little towards 1 as the recent pace is."""
        return (self.fitted + pace.START) / (self.expected + pace.START)


def frozen(fitted: Fitted, waits: Waits, utility: int, *, after_alarm: bool = False) -> Watch:
    """What is expected of a utility from the as-of day on. waits: rows of this utility, as of that day, brackets shared out.

    after_alarm: at the pace it has now, known no better than that pace is, so that the same change does not ring twice.
    """
    learned, among = fitted.learned, fitted.among[:, utility]
    # What is borrowed tells a utility's pace no better than utilities are alike.
    borrowed = np.minimum(BORROWED, 1 / fitted.pool.spread)
    kappa = float((among * (learned.own[:, utility] + borrowed)).sum())
    hazard = fitted.hazard[utility]
    if after_alarm:
        hazard = hazard * float((among * learned.a[:, utility] / learned.b[:, utility]).sum())
        kappa = min(kappa, float((among * learned.a[:, utility]).sum()))
    hazard = np.where(np.exp(-summed(hazard)) >= OUTLASTED, hazard, 0.0)
    before = fitted.as_of - 7 * WEEKS
    counts = weekly(waits, fitted.calendars, hazard, utility=utility, since=before, weeks=WEEKS)
    return Watch(fitted.as_of, kappa, clump(*counts), tuple(np.round(hazard, 9).tolist()))


def weekly(waits: Waits, calendars: Calendars, hazard: Floats, *, utility: int, since: int, weeks: int) -> tuple[Floats, Floats]:
    """(weeks,) each: fittings in the weeks after day `since`, and those expected of the requests then open. waits: of this utility."""
    days = np.maximum(since + 7 * np.arange(weeks + 1), calendars.first - 1)
    edges = calendars.count(np.array([utility]), days)
    number = np.zeros(weeks)
    place = np.searchsorted(edges, waits.start + waits.end) - 1
    inside = waits.fitted & (place >= 0) & (place < weeks) & _counts(hazard, waits.end)
    np.add.at(number, place[inside], waits.weight[inside])

    alive = waits.rows(waits.start + waits.end > edges[0])
    ages = np.clip(edges - alive.start[:, None], alive.entry[:, None], alive.end[:, None])
    upto = at_age(hazard[None], summed(hazard)[None], np.zeros_like(ages), ages)
    return number, (alive.weight[:, None] * np.diff(upto, axis=1)).sum(axis=0)


def clump(number: Floats, expected: Floats) -> float:
    """Fittings at a time: variance of weekly counts over their mean, each week's mean in proportion to what was expected. At least 1."""
    if number.sum() < _FEWEST or expected.sum() <= 0:
        return 1.0
    mean = expected * number.sum() / expected.sum()
    told = float(((number - mean) ** 2 / np.maximum(mean, 1e-9)).sum() / max(np.count_nonzero(mean > 1e-9) - 1, 1))
    return told if told >= CLUMPED_FROM else 1.0


def log_ratios(number: Floats, expected: Floats, kappa: Floats | float) -> Floats:
    """(..., 13, weeks) ln of the likelihood ratio from each start to the end of each week; 0 where it has not started.

    number, expected: (..., weeks), up to 52. kappa: (...,).
    """
    weeks = number.shape[-1]
    upto = [np.concatenate([np.zeros((*part.shape[:-1], 1)), np.cumsum(part, axis=-1)], axis=-1) for part in (number, expected)]
    starts = np.minimum(STARTS, weeks)
    n, e = (np.maximum(part[..., None, 1:] - part[..., starts, None], 0) for part in upto)
    k = np.asarray(kappa)[..., None, None]
    told = pace.log_chance(n, e, np.full_like(n, OTHER), np.full_like(n, OTHER)) - pace.log_chance(n, e, k + 0 * n, k + 0 * n)
    ratio: Floats = np.where(np.arange(weeks) >= STARTS[:, None], told, 0.0)
    return ratio


def log_evidence(number: Floats, expected: Floats, kappa: Floats | float) -> Floats:
    """(..., weeks) ln of the mean of the thirteen ratios at the end of each week; shapes as `log_ratios`."""
    told: Floats = logsumexp(log_ratios(number, expected, kappa), axis=-2) - np.log(STARTS.size)
    return told


def found(watch: Watch, number: Floats, expected: Floats) -> Finding:
    """What the full weeks since the freeze say. number, expected: (weeks,), of `weekly`."""
    weeks = min(number.size, WEEKS)
    if not weeks:
        return Finding(0, 1.0, False, watch.since, 0.0, 0.0)
    number, expected = number[:weeks], expected[:weeks]
    each = log_ratios(number / watch.clump, expected / watch.clump, watch.kappa / watch.clump)
    path = logsumexp(each, axis=0) - np.log(STARTS.size)
    rang = bool((path >= -np.log(ALPHA)).any())
    # Judged where it first rang; the start that told most then says since when.
    week = int(np.argmax(path >= -np.log(ALPHA))) if rang else int(np.argmax(path))
    start = int(STARTS[np.argmax(each[:, week])])
    return Finding(
        weeks=weeks,
        evidence=float(np.exp(min(path[week], 700.0))),
        rang=rang,
        since=watch.since + 7 * start,
        fitted=float(number[start:].sum()),
        expected=float(expected[start:].sum()),
    )


def _counts(hazard: Floats, age: Days) -> Flags:
    flags: Flags = hazard[class_of(age)] > 0
    return flags
