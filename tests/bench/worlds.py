"""Made-up worlds of a contractor and its utilities, with the truth: on which day each request would be fitted.

A world is drawn from a family and a seed. Seeds below `HELD_OUT` are for tuning; nothing may be tuned on those from it on.
Ages are working days of the utility. What is varied: FORECASTING.md section 15.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
from scipy.special import log_ndtr

from tests.bench import queues
from utilities.leadtimes import CANCELLED, FITTED, HORIZON, NO_DAY, NO_DISTRICT, OPEN, Calendars, History
from utilities.workdays import WorkCalendar, date_of, day_number

HELD_OUT = 30_000
NEVER = 10**6  # as a day number: after everything
FIRST = day_number(date(2018, 1, 1))
OLDEST_AGE = 1300  # working days: more than five years

Floats = npt.NDArray[np.float64]
Days = npt.NDArray[np.int64]
Random = np.random.Generator


@dataclass(frozen=True)
class World:
    """history: with all outcomes, later ones are unknown on an as-of day. fitted_on: (n,) the day if the job goes on, or NEVER.

    unknown_from: (n,) day from which the truth is not known (a real wait that was censored), NEVER where it always is.
    """

    name: str
    family: str
    history: History
    fitted_on: Days
    unknown_from: Days
    calendars: Calendars
    as_of: tuple[int, ...]


@dataclass(frozen=True)
class Requests:
    """The filings of a world: (n,) each."""

    utility: Days
    district: Days
    filed: Days


def make_world(family: str, seed: int) -> World:
    rng = np.random.default_rng([zlib.crc32(family.encode()), seed])
    end = FIRST + int(365 * rng.uniform(2.2, 4.5))
    utilities = 1 if rng.random() < 0.06 else int(np.exp(rng.uniform(np.log(2), np.log(200 if family == "many small" else 25))))
    requests = _filings(rng, utilities, end, few=family == "many small")
    worked = [_worked(rng, end) for _ in range(utilities)]
    fitted_on = FAMILIES[family](rng, requests, worked, end)
    return _observed(rng, f"{family} {seed}", family, requests, worked, fitted_on, end)


def _filings(rng: Random, utilities: int, end: int, *, few: bool) -> Requests:
    total = int(utilities * rng.uniform(2, 25)) if few else int(np.clip(rng.lognormal(7.2, 0.8), 80, 4500))
    size = rng.lognormal(0, rng.uniform(0.3, 1.6), utilities)
    utility = np.sort(rng.choice(utilities, max(total, 20), p=size / size.sum()))
    # Some utilities come late to the contractor's country; business grows.
    begins = np.where(rng.random(utilities) < 0.25, rng.uniform(0.2, 0.9, utilities), 0)[utility]
    share = begins + (1 - begins) * rng.random(utility.size) ** rng.uniform(0.5, 1)
    filed = (FIRST + 1 + share * (end - FIRST - 1)).astype(np.int64)
    weekend = (filed + 3) % 7 >= 5
    filed = np.where(weekend & (rng.random(filed.size) < 0.9), filed - 2, filed)
    with_districts = rng.random(utilities) < 0.4
    district = np.where(with_districts[utility], utility * 4 + rng.integers(0, 4, utility.size), NO_DISTRICT)
    return Requests(utility=utility, district=district, filed=np.maximum(filed, FIRST))


def _worked(rng: Random, end: int) -> npt.NDArray[np.bool_]:
    first, last = date_of(FIRST), date_of(end + HORIZON)
    weekdays = frozenset(range([5, 5, 5, 4, 6][rng.integers(5)]))
    starts = rng.integers(FIRST, end + HORIZON - 10, rng.poisson(1.5))
    closed = frozenset(date_of(day) + timedelta(n) for day in starts for n in range(int(rng.integers(2, 10))))
    return WorkCalendar("made up", weekdays=weekdays, closed=closed).worked_between(first, last)


# The wait, if nothing drifts


@dataclass(frozen=True)
class Law:
    """Summed hazard of the wait at ages 0, 1, ... OLDEST_AGE of a utility whose scale is 1, and how scales vary."""

    kind: str
    shape: float
    slow: float

    def summed(self, scale: float) -> Floats:
        ages = np.arange(OLDEST_AGE + 1)
        x = np.maximum(ages, 1e-9) / scale
        if self.kind == "weibull":
            total: Floats = np.log(2) * x ** (1.1 / self.shape)
        elif self.kind == "log-normal":
            total = -log_ndtr(-np.log(x) / self.shape)
        else:  # two parts: the slow one waits four times as long
            fast, late = log_ndtr(-np.log(x) / self.shape), log_ndtr(-np.log(x / 4) / self.shape)
            total = -np.logaddexp(np.log(1 - self.slow) + fast, np.log(self.slow) + late)
        from_first: Floats = total - total[0]
        return from_first


def _laws(rng: Random, utilities: int) -> tuple[list[Law], Floats]:
    kind = str(rng.choice(["weibull", "log-normal", "log-normal", "two parts"]))
    middle, spread, shape = rng.lognormal(np.log(35), 0.5), rng.uniform(0.15, 0.8), rng.uniform(0.35, 1.0)
    laws = [Law(kind, shape * rng.lognormal(0, 0.15), rng.uniform(0.1, 0.4)) for _ in range(utilities)]
    return laws, middle * np.exp(rng.normal(0, spread, utilities))


# The pace: how fast time runs for a utility, day by day


def _days(end: int) -> int:
    return end + HORIZON - FIRST + 1


def _wander(rng: Random, days: int) -> Floats:
    """Log pace that wanders slowly and comes back in about half a year."""
    keep = np.exp(-1 / rng.uniform(100, 300))
    steps, log_pace = rng.normal(0, rng.uniform(0.3, 0.7) * np.sqrt(1 - keep**2), days), np.empty(days)
    level = rng.normal(0, 0.4)
    for day in range(days):
        level = keep * level + steps[day]
        log_pace[day] = level
    return log_pace


def _jumps(rng: Random, days: int) -> Floats:
    """New levels, frozen months and surges, mostly in the last three years."""
    log_pace = np.zeros(days)
    for _ in range(int(rng.integers(1, 4))):
        at = int(rng.uniform(0.25, 1) * (days - HORIZON + 200))
        what = rng.choice(["level", "freeze", "surge"])
        if what == "level":
            log_pace[at:] += rng.normal(0, 0.7)
        else:
            length = int(rng.uniform(40, 150))
            log_pace[at : at + length] += np.log(0.04) if what == "freeze" else np.log(rng.uniform(2, 5))
    return log_pace


def _season(rng: Random, days: int) -> Floats:
    wave: Floats = np.sin(2 * np.pi * np.arange(days) / 365.25 + rng.uniform(0, 2 * np.pi))
    return wave * rng.uniform(0.3, 0.9)


def _steady(rng: Random, days: int) -> Floats:
    return np.zeros(days)


Pace = Callable[[Random, int], Floats]


def _drifting(drift: Pace, *, by_filing: bool = False, batches: bool = False) -> Callable[..., Days]:
    """Waits of a law, under a pace that acts on the hazard, on the utility's own clock, or on the scale at filing."""

    def fitted(rng: Random, requests: Requests, worked: list[npt.NDArray[np.bool_]], end: int) -> Days:
        laws, scales = _laws(rng, len(worked))
        shared, on_clock = rng.uniform(0, 1) * (rng.random() < 0.6), rng.random() < 0.5
        common = drift(rng, _days(end))
        days = np.full(requests.filed.size, NEVER)
        for utility, works in enumerate(worked):
            rows = np.flatnonzero(requests.utility == utility)
            log_pace = shared * common + (1 - shared) * drift(rng, _days(end))
            law = laws[utility].summed(scales[utility])
            start: Days = np.cumsum(works, dtype=np.int64)[requests.filed[rows] - FIRST]
            days_worked = np.flatnonzero(works)
            factor = np.exp(rng.normal(0, 0.25, 4))[requests.district[rows] % 4] * (requests.district[rows] != NO_DISTRICT)
            factor = np.where(factor == 0, 1.0, factor)
            if by_filing:
                factor *= np.exp(-log_pace[requests.filed[rows] - FIRST])
                log_pace = np.zeros_like(log_pace)
            age = _ages(rng, law, start, np.exp(log_pace)[days_worked], factor, on_clock=on_clock)
            place = start + age - 1
            days[rows] = np.where(place < days_worked.size, FIRST + days_worked[np.minimum(place, days_worked.size - 1)], NEVER)
            if batches or rng.random() < 0.12:
                days[rows] = _on_batch_days(rng, days[rows], days_worked)
        days[rng.random(days.size) < rng.choice([0, 0.01, 0.04])] = NEVER
        return days

    return fitted


def _ages(rng: Random, law: Floats, start: Days, pace: Floats, factor: Floats, *, on_clock: bool) -> Days:
    """Age at the fitting, (n,), at least 1. law: summed hazard. pace: of each working day. factor: of each request's scale."""
    needed = rng.exponential(size=start.size)
    if on_clock:
        ages = np.interp(needed, law, np.arange(law.size), right=OLDEST_AGE) * factor
        clock = np.concatenate([[0], np.cumsum(pace)])
        on_clock_days: Days = np.maximum(np.searchsorted(clock, clock[start] + ages, side="left") - start, 1)
        return on_clock_days
    out: Days = np.empty(start.size, dtype=np.int64)
    for row, (at, need, times) in enumerate(zip(start.tolist(), needed.tolist(), factor.tolist(), strict=True)):
        hazard = np.diff(np.interp(np.arange(OLDEST_AGE + 1) / times, np.arange(law.size), law))
        ahead = pace[at : at + OLDEST_AGE]
        out[row] = 1 + np.searchsorted(np.cumsum(hazard[: ahead.size] * ahead), need)
    return np.minimum(out, OLDEST_AGE).astype(np.int64)


def _on_batch_days(rng: Random, days: Days, days_worked: Days) -> Days:
    batch = FIRST + days_worked[int(rng.integers(0, 5)) :: int(rng.choice([5, 10, 20]))]
    place = np.searchsorted(batch, days)
    return np.where(place < batch.size, batch[np.minimum(place, batch.size - 1)], NEVER).astype(np.int64)


def _in_order(kind: str) -> Callable[..., Days]:
    def fitted(rng: Random, requests: Requests, worked: list[npt.NDArray[np.bool_]], end: int) -> Days:
        lag = rng.lognormal(np.log(40), 0.5)
        spread = rng.uniform(0.1, 0.6)
        days = np.full(requests.filed.size, NEVER)
        for utility, works in enumerate(worked):
            rows = np.flatnonzero(requests.utility == utility)
            days[rows] = queues.served(
                rng, requests.filed[rows] - FIRST, works, _wander(rng, works.size), lag * np.exp(rng.normal(0, spread)), kind
            )
        return np.where(days >= 0, days + FIRST, NEVER)

    return fitted


FAMILIES: dict[str, Callable[..., Days]] = {
    "steady": _drifting(_steady),
    "many small": _drifting(_steady),
    "slow drift": _drifting(_wander),
    "sudden drift": _drifting(_jumps),
    "seasons": _drifting(_season),
    "by filing date": _drifting(_wander, by_filing=True),
    "batch days": _drifting(_wander, batches=True),
    "in order": _in_order("plain"),
    "in order, crews": _in_order("crews"),
    "in order, mixed": _in_order("mixed"),
    "in order, batches": _in_order("batches"),
}
IN_ORDER = tuple(name for name in FAMILIES if name.startswith("in order"))


def _observed(
    rng: Random, name: str, family: str, requests: Requests, worked: list[npt.NDArray[np.bool_]], fitted_on: Days, end: int
) -> World:
    """What the contractor sees of it: cancellations, and at some utilities a list that came late."""
    n = fitted_on.size
    mean_days = rng.choice([400, 1200, 10**5])
    cancelled_on = requests.filed + 1 + rng.exponential(mean_days, n).astype(np.int64)
    cancelled = cancelled_on < fitted_on
    ended = np.minimum(cancelled_on, fitted_on)
    known_from = np.full(n, NO_DAY, dtype=np.int64)
    # A cancellation costs the utility a journey in vain, so it moves nobody else: the truth of a cancelled home is known too.
    late = rng.random(len(worked)) < rng.choice([0, 0, 0.5])
    imported = FIRST + int(0.35 * (end - FIRST))
    known_from[late[requests.utility] & (requests.filed < imported)] = imported
    kept = ended >= known_from
    last = end + HORIZON
    over = ended <= last
    history = History.from_columns(
        utility=requests.utility[kept],
        district=requests.district[kept],
        filed=requests.filed[kept],
        known_from=known_from[kept],
        outcome=np.where(over, np.where(cancelled, CANCELLED, FITTED), OPEN)[kept],
        by=np.where(over, ended, NO_DAY)[kept],
    )
    return World(
        name=name,
        family=family,
        history=history,
        fitted_on=fitted_on[kept],
        unknown_from=np.full(int(kept.sum()), NEVER),
        calendars=Calendars.of(worked, FIRST),
        as_of=tuple(end - back for back in (270, 180, 90, 0)),
    )
