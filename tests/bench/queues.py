"""Utilities that serve in order of filing, behind requests of others that nobody shows us."""

from __future__ import annotations

import heapq

import numpy as np
import numpy.typing as npt

Days = npt.NDArray[np.int64]
Floats = npt.NDArray[np.float64]

FOREIGN = -1


def served(rng: np.random.Generator, filed: Days, works: npt.NDArray[np.bool_], log_pace: Floats, lag: float, kind: str) -> Days:
    """(n,) day on which each request is served, from the first day on, -1 if not before the last.

    filed: (n,) day after the first. works: (days,) whether the utility works. log_pace: (days,) of its capacity. lag: working days that
    a request usually waits. kind: plain (one queue), crews (two to five, each request has its own), mixed (priority jumps and
    visits in vain that put a request back), batches (one day in ten, which takes the oldest).
    """
    crews = int(rng.integers(2, 6)) if kind == "crews" else 1
    crew = rng.integers(0, crews, filed.size)
    day_served = np.full(filed.size, -1)
    for one in range(crews):
        rows = np.flatnonzero(crew == one)
        drift = log_pace if crews == 1 else log_pace + rng.normal(0, 0.2)
        day_served[rows] = _one_queue(rng, filed[rows], works, drift, lag * rng.lognormal(0, 0.2), kind)
    return day_served


def _one_queue(rng: np.random.Generator, filed: Days, works: npt.NDArray[np.bool_], log_pace: Floats, lag: float, kind: str) -> Days:
    days = works.size
    others = rng.lognormal(np.log(1.0), 0.7)  # requests of others on a working day
    arriving = rng.poisson(others, days) * works
    ours = np.bincount(filed, minlength=days)
    rate = others + filed.size / max(works[: int(filed.max(initial=0)) + 1].sum(), 1)
    jump, back, untidy = _habits(rng, kind)

    # What already stood in the queue when we began.
    waiting: list[tuple[float, int]] = [(-float(rng.uniform(0, 1.4 * lag)), FOREIGN) for _ in range(int(lag * rate))]
    heapq.heapify(waiting)
    by_day = np.split(np.argsort(filed, kind="stable"), np.cumsum(ours)[:-1])
    out = np.full(filed.size, -1)
    can, every = 0.0, int(rng.integers(8, 15)) if kind == "batches" else 1
    for day in range(days):
        # Before the day's filings come in: nobody is served on the day of filing.
        if works[day]:
            # The utility hires when the queue grows and lends its people out when it is short.
            length = (len(waiting) + 1) / (lag * rate)
            can = min(can + rate * np.exp(0.5 * log_pace[day]) * length**0.4, 3 * rate * every + 1)
            if every == 1 or day % every == 0:
                while can >= 1 and waiting:
                    _, row = heapq.heappop(waiting)
                    can -= 1
                    if rng.random() < back:
                        heapq.heappush(waiting, (day + rng.normal(0, untidy), row))
                    elif row != FOREIGN:
                        out[row] = day
        for row in [*by_day[day].tolist(), *[FOREIGN] * int(arriving[day])]:
            place = day + rng.normal(0, untidy)
            heapq.heappush(waiting, (place - 1.5 * lag * rng.random() if rng.random() < jump else place, row))
    return out


def _habits(rng: np.random.Generator, kind: str) -> tuple[float, float, float]:
    """Share that jumps the queue, share of visits in vain, days by which the order is untidy."""
    if kind == "mixed":
        return rng.uniform(0.03, 0.2), rng.uniform(0.03, 0.2), rng.uniform(2, 12)
    return rng.choice([0.0, 0.03]), 0.0, rng.uniform(0.5, 8)
