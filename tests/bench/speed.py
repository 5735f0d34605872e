"""How long a fit and the dates of all open requests take, beside lifelines on the same arrays, in one run.

Seconds of one core, so that others on the same machine do not count; the start of a command is seconds by the clock.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from datetime import date
from importlib.util import find_spec
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from utilities.leadtimes import CANCELLED, FITTED, HORIZON, Calendars, History, OpenRequests, fit, forecast
from utilities.workdays import FEDERAL, date_of, day_number

AS_OF = day_number(date(2026, 6, 30))
YEARS = 6

T = TypeVar("T")


def figures(*, small: bool) -> list[str]:
    """Sentences."""
    past, utilities, open_now = (100_000, 300, 10_000) if small else (1_000_000, 3_000, 100_000)
    history, calendars = big_history(past, utilities)
    fitted, fit_seconds = _timed(lambda: fit(history, calendars, AS_OF))
    again, again_seconds = _timed(lambda: fit(history, calendars, AS_OF))
    rng = np.random.default_rng(2)
    asked = OpenRequests.from_columns(utility=rng.integers(0, utilities, open_now), filed=AS_OF - rng.integers(0, 400, open_now))
    _, forecast_seconds = _timed(lambda: forecast(again, asked))
    del fitted
    says = [
        f"{past:,} past requests of {utilities:,} utilities: fit {fit_seconds:.2f} s of one core (again {again_seconds:.2f} s), "
        f"dates of {open_now:,} open ones {forecast_seconds:.2f} s, peak memory {_peak_mb():.0f} MB."
    ]
    if find_spec("lifelines"):
        km, log_logistic = _lifelines(history, utilities)
        says.append(
            f"lifelines on the same arrays: Kaplan-Meier per utility {km:.2f} s ({km / again_seconds:.1f} times our fit), "
            f"log-logistic per utility {log_logistic:.2f} s ({log_logistic / again_seconds:.1f} times; from 40 utilities)."
        )
    bare = min(_process("import numpy, scipy.special") for _ in range(3))
    ours = min(_process(None) for _ in range(3))
    says.append(f"forecast_file starts in {ours:.2f} s, NumPy and SciPy alone in {bare:.2f} s.")
    return says


def big_history(past: int, utilities: int) -> tuple[History, Calendars]:
    """Unequal utilities, six years of filings, log-normal waits; about one in ten cancelled."""
    rng = np.random.default_rng(1)
    size = rng.lognormal(0, 1.2, utilities)
    utility = rng.choice(utilities, past, p=size / size.sum())
    filed = AS_OF - rng.integers(0, 365 * YEARS, past)
    wait = np.ceil(rng.lognormal(np.log(60), 0.8, past) * np.exp(rng.normal(0, 0.4, utilities))[utility]).astype(np.int64)
    gone = np.ceil(rng.exponential(600, past)).astype(np.int64)
    history = History.from_columns(
        utility=utility, filed=filed, outcome=np.where(gone < wait, CANCELLED, FITTED), by=filed + np.minimum(wait, gone)
    )
    first = int(filed.min())
    worked = FEDERAL.worked_between(date_of(first), date_of(AS_OF + HORIZON))
    return history, Calendars.of([_with_a_day_off(worked, place) for place in range(utilities)], first)


def _with_a_day_off(worked: npt.NDArray[np.bool_], place: int) -> npt.NDArray[np.bool_]:
    # A tenth of the utilities has a calendar of its own.
    if place % 10:
        return worked
    own = worked.copy()
    own[place % own.size] = False
    return own


def _lifelines(history: History, utilities: int) -> tuple[float, float]:
    from lifelines import KaplanMeierFitter, LogLogisticFitter

    fitted = (history.outcome == FITTED) & (history.by <= AS_OF)
    days = np.maximum(np.minimum(history.by, AS_OF) - history.filed, 0.5)
    order = np.argsort(history.utility, kind="stable")
    groups = [rows for rows in np.split(order, np.searchsorted(history.utility[order], np.arange(1, utilities))) if fitted[rows].any()]

    def each(make: Callable[[], object], chosen: list[npt.NDArray[np.intp]]) -> float:
        began = time.process_time()
        for rows in chosen:
            make().fit(days[rows], fitted[rows])  # type: ignore[attr-defined]
        return time.process_time() - began

    sample = groups[:: max(len(groups) // 40, 1)]
    return each(KaplanMeierFitter, groups), each(LogLogisticFitter, sample) * len(groups) / len(sample)


def _timed(work: Callable[[], T]) -> tuple[T, float]:
    began = time.process_time()
    done = work()
    return done, time.process_time() - began


def _process(code: str | None) -> float:
    command = [sys.executable, "-c", code] if code else [sys.executable, "manage.py", "forecast_file", "--help"]
    began = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - began


def _peak_mb() -> float:
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
