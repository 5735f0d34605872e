"""Rivals from lifelines and scikit-survival, used as their handbooks show, with the entry ages where the library knows them.

Each gives the chances of the open rows, (n, HORIZON + 1), in calendar days. A model per utility is that of all utilities together
where a utility has fewer than five fittings.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from tests.bench.rivals import OWN_FROM, Floats, Seen, by_utility
from utilities.leadtimes import HORIZON

FOREST_ROWS, BOOSTED_ROWS = 1_000, 2_000  # of a longer history every second, third ... row: it takes minutes otherwise


def _per_utility(data: Seen, fitter: str, summed: Callable[[Any, Floats], Floats]) -> Floats:
    """summed: the fitted curve's summed hazard at ages."""
    import lifelines

    def make(rows: npt.NDArray[np.bool_]) -> Callable[[Floats], Floats]:
        watched = rows & (data.days > data.entry)
        if not data.fitted[watched].any():
            return lambda age: age / 60
        days, entry = data.days[watched].astype(float), data.entry[watched].astype(float)
        curve = getattr(lifelines, fitter)().fit(days, data.fitted[watched], entry=entry if entry.any() else None)
        return lambda age: summed(curve, age)

    return by_utility(data, make)


def log_logistic(data: Seen) -> Floats:
    return _per_utility(data, "LogLogisticFitter", lambda curve, age: np.log1p((age / curve.alpha_) ** curve.beta_))


def weibull(data: Seen) -> Floats:
    return _per_utility(data, "WeibullFitter", lambda curve, age: (age / curve.lambda_) ** curve.rho_)


def log_normal(data: Seen) -> Floats:
    return _per_utility(data, "LogNormalFitter", lambda curve, age: _log_normal_summed(age, curve.mu_, curve.sigma_))


def _log_normal_summed(age: Floats, middle: float | Floats, spread: float) -> Floats:
    from scipy.special import log_ndtr

    total: Floats = -log_ndtr(-(np.log(np.maximum(age, 1e-9)) - middle) / spread)
    return total


def log_normal_aft(data: Seen) -> Floats:
    """Log-normal accelerated failure times with utility and filing date as covariates."""
    from lifelines import LogNormalAFTFitter

    model = LogNormalAFTFitter(penalizer=0.01).fit(**_table(data))
    middle = model.params_["mu_"]["Intercept"] + _covariates(data)[data.open] @ model.params_["mu_"].drop("Intercept").to_numpy()
    total = _log_normal_summed(_ages(data), middle[:, None], float(np.exp(model.params_["sigma_"]["Intercept"])))
    return _chances(total)


def cox(data: Seen) -> Floats:
    """Cox's proportional hazards with utility and filing date as covariates."""
    import pandas
    from lifelines import CoxPHFitter

    model = CoxPHFitter(penalizer=0.01).fit(**_table(data))
    base = model.baseline_cumulative_hazard_.iloc[:, 0]
    times = model.predict_partial_hazard(pandas.DataFrame(_covariates(data)[data.open]).add_prefix("x")).to_numpy()
    return _chances(times[:, None] * _stepped(base.index.to_numpy(float), base.to_numpy(float), _ages(data)))


def cox_boosted(data: Seen) -> Floats:
    """Gradient boosted Cox model on utility and filing date (it knows no late entry: such rows are left out)."""
    from sksurv.ensemble import GradientBoostingSurvivalAnalysis

    return _of_sksurv(data, GradientBoostingSurvivalAnalysis(n_estimators=60, max_depth=3, random_state=0), BOOSTED_ROWS)


def forest(data: Seen) -> Floats:
    """Random survival forest of 50 trees on utility and filing date; late entry as with the boosted model."""
    from sksurv.ensemble import RandomSurvivalForest

    return _of_sksurv(data, RandomSurvivalForest(n_estimators=50, min_samples_leaf=15, random_state=0), FOREST_ROWS)


def _of_sksurv(data: Seen, model: Any, most: int) -> Floats:
    x = _covariates(data)
    used = np.flatnonzero((data.entry == 0) & (data.days > 0))
    used = used[:: used.size // most + 1]
    y = np.array(list(zip(data.fitted[used], data.days[used].astype(float), strict=True)), dtype=[("fitted", bool), ("days", float)])
    model.fit(x[used], y)
    out, ages = np.empty((data.open.size, HORIZON + 1)), _ages(data)
    for place, curve in enumerate(model.predict_cumulative_hazard_function(x[data.open])):
        out[place] = _stepped(curve.x, curve.a * curve.y + curve.b, ages[place])
    return _chances(out)


def _stepped(day: Floats, summed: Floats, age: Floats) -> Floats:
    """A summed hazard known at days, at ages. Beyond its last day it goes on at its mean rate."""
    last, rate = day[-1], summed[-1] / max(day[-1], 1)
    at = np.searchsorted(day, np.minimum(age, last), side="right") - 1
    total: Floats = np.where(at >= 0, summed[np.maximum(at, 0)], 0) + rate * np.maximum(age - last, 0)
    return total


def _ages(data: Seen) -> Floats:
    """(open, HORIZON + 1) age of each open row, today and on each day ahead."""
    ages: Floats = data.days[data.open][:, None].astype(float) + np.arange(HORIZON + 1)
    return ages


def _chances(summed: Floats) -> Floats:
    """Chances given that the request is still open; summed: hazard at `_ages`."""
    chances: Floats = np.clip(-np.expm1(summed[:, :1] - summed), 0, 1)
    return chances


def _table(data: Seen) -> dict[str, Any]:
    """What lifelines wants to fit a regression: every other column is a covariate, so that of the entry stands only where it is one."""
    import pandas

    table = pandas.DataFrame(_covariates(data)).add_prefix("x")
    table["days"], table["fitted"] = data.days, data.fitted
    late = bool(data.entry.any())
    if late:
        table["entry"] = data.entry
    return {"df": table[data.days > data.entry], "duration_col": "days", "event_col": "fitted", "entry_col": "entry" if late else None}


def _covariates(data: Seen) -> Floats:
    """Filing date in years, and a column for each of the 25 utilities with most fittings but the first."""
    fittings = np.bincount(data.utility[data.fitted], minlength=1)
    chosen = [u for u in np.argsort(-fittings, kind="stable")[:25] if fittings[u] >= OWN_FROM][1:]
    date = (data.filed - data.filed.mean()) / 365.25
    return np.column_stack([date, *[(data.utility == u).astype(float) for u in chosen]])


LIBRARIES: dict[str, Callable[[Seen], Floats]] = {
    "lifelines log-logistic": log_logistic,
    "lifelines Weibull": weibull,
    "lifelines log-normal": log_normal,
    "lifelines log-normal AFT": log_normal_aft,
    "lifelines Cox": cox,
    "scikit-survival boosted Cox": cox_boosted,
    "scikit-survival forest": forest,
}


def module_of(name: str) -> str:
    return "lifelines" if name.startswith("lifelines") else "sksurv"


def said_by(name: str, data: Seen) -> Floats | None:
    """Chances by one of them; None where a library gives up (its fault is then not counted against it)."""
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        try:
            chances = LIBRARIES[name](data)
        except (ValueError, ArithmeticError, RuntimeError, KeyError, np.linalg.LinAlgError):
            return None
        except Exception as fault:  # lifelines raises errors of its own when a fit does not converge
            if "onverge" in type(fault).__name__ or "onverge" in str(fault):
                return None
            raise
    return chances if np.isfinite(chances).all() else None
