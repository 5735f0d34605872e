"""What others would put in our place: each gives the chances of the open rows, (n, HORIZON + 1), from the same history.

They count calendar days. Those of lifelines and scikit-survival are used as their handbooks show, with the entry ages where the
library knows them.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.bench.worlds import World
from utilities.leadtimes import FITTED, HORIZON, NO_DAY
from utilities.leadtimes.history import ended, known

Floats = npt.NDArray[np.float64]
BOOSTED_ROWS = 2_000  # of a longer history every second, third ... row: it takes minutes otherwise
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


def _by_utility(data: Seen, make: Callable[[npt.NDArray[np.bool_]], Callable[[Floats], Floats]]) -> Floats:
    """A curve for each utility with enough fittings, else that of all."""
    out = np.empty((data.open.size, HORIZON + 1))
    every = make(np.ones(data.days.size, bool))
    for utility in np.unique(data.utility[data.open]):
        own = data.utility == utility
        curve = make(own) if np.count_nonzero(data.fitted[own]) >= OWN_FROM else every
        rows = data.utility[data.open] == utility
        out[rows] = ahead(curve, data.days[data.open][rows].astype(float))
    return out


def kaplan_meier(data: Seen) -> Floats:
    """Kaplan-Meier per utility with late entry; a constant hazard, that of the oldest five fittings, where fewer than five are watched."""
    return _by_utility(data, lambda rows: _kaplan_meier(data.entry[rows], data.days[rows], data.fitted[rows]))


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


# Libraries


def log_logistic(data: Seen) -> Floats:
    """lifelines, log-logistic per utility, all together below five fittings."""
    from lifelines import LogLogisticFitter

    def make(rows: npt.NDArray[np.bool_]) -> Callable[[Floats], Floats]:
        watched = rows & (data.days > data.entry)
        if not data.fitted[watched].any():
            return lambda age: age / 60
        days, entry = data.days[watched].astype(float), data.entry[watched].astype(float)
        curve = LogLogisticFitter().fit(days, data.fitted[watched], entry=entry if entry.any() else None)
        return lambda age: np.log1p((age / curve.alpha_) ** curve.beta_)

    return _by_utility(data, make)


def log_normal_aft(data: Seen) -> Floats:
    """lifelines, log-normal accelerated failure times with utility and filing date as covariates."""
    import pandas
    from lifelines import LogNormalAFTFitter
    from scipy.special import log_ndtr

    table = pandas.DataFrame(_covariates(data)).add_prefix("x")
    table["days"], table["fitted"], table["entry"] = data.days, data.fitted, data.entry
    used = table[table.days > table.entry]
    model = LogNormalAFTFitter(penalizer=0.01).fit(used, "days", "fitted", entry_col="entry" if data.entry.any() else None)
    asked = table.iloc[data.open]
    middle = model.params_["mu_"]["Intercept"] + asked.filter(like="x").to_numpy() @ model.params_["mu_"].drop("Intercept").to_numpy()
    spread = float(np.exp(model.params_["sigma_"]["Intercept"]))
    age = np.maximum(asked.days.to_numpy()[:, None] + np.arange(HORIZON + 1), 1e-9)
    total: Floats = -log_ndtr(-(np.log(age) - middle[:, None]) / spread)
    chances: Floats = np.clip(-np.expm1(total[:, :1] - total), 0, 1)
    return chances


def cox_boosted(data: Seen) -> Floats:
    """scikit-survival, gradient boosted Cox model on utility and filing date (it knows no late entry: such rows are left out)."""
    from sksurv.ensemble import GradientBoostingSurvivalAnalysis

    x = _covariates(data)
    used = np.flatnonzero((data.entry == 0) & (data.days > 0))
    used = used[:: used.size // BOOSTED_ROWS + 1]
    y = np.array(list(zip(data.fitted[used], data.days[used].astype(float), strict=True)), dtype=[("fitted", bool), ("days", float)])
    model = GradientBoostingSurvivalAnalysis(n_estimators=60, max_depth=3, random_state=0).fit(x[used], y)
    out = np.empty((data.open.size, HORIZON + 1))
    for place, curve in enumerate(model.predict_cumulative_hazard_function(x[data.open])):
        # Beyond its last day the curve goes on at its mean rate.
        last, rate = curve.x[-1], curve.y[-1] / max(curve.x[-1], 1)
        age = float(data.days[data.open[place]]) + np.arange(HORIZON + 1)
        at = np.searchsorted(curve.x, np.minimum(age, last), side="right") - 1
        total = np.where(at >= 0, curve.a * curve.y[np.maximum(at, 0)] + curve.b, 0) + rate * np.maximum(age - last, 0)
        out[place] = -np.expm1(total[0] - total)
    return np.clip(out, 0, 1)


def _covariates(data: Seen) -> Floats:
    """Filing date in years, and a column for each of the 25 utilities with most fittings but the first."""
    fittings = np.bincount(data.utility[data.fitted], minlength=1)
    chosen = [u for u in np.argsort(-fittings, kind="stable")[:25] if fittings[u] >= OWN_FROM][1:]
    date = (data.filed - data.filed.mean()) / 365.25
    return np.column_stack([date, *[(data.utility == u).astype(float) for u in chosen]])


PLAIN: dict[str, Callable[[Seen], Floats]] = {"Kaplan-Meier": kaplan_meier, "spreadsheet": spreadsheet}
LIBRARIES: dict[str, Callable[[Seen], Floats]] = {
    "lifelines log-logistic": log_logistic,
    "lifelines log-normal AFT": log_normal_aft,
    "scikit-survival boosted Cox": cox_boosted,
}


def said_by(name: str, data: Seen) -> Floats | None:
    """Chances by one of them; None where a library gives up (its fault is then not counted against it)."""
    make = {**PLAIN, **LIBRARIES}[name]
    if name in PLAIN:
        return make(data)
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        try:
            chances = make(data)
        except (ValueError, ArithmeticError, RuntimeError, KeyError, np.linalg.LinAlgError):
            return None
        except Exception as fault:  # lifelines raises errors of its own when a fit does not converge
            if "onverge" in type(fault).__name__ or "onverge" in str(fault):
                return None
            raise
    return chances if np.isfinite(chances).all() else None
