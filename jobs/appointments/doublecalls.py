"""Where the double calls of a week plan begin, so that all calls together gain most. Pure.

An integer program, solved by scipy's `milp` (HiGHS) to gap 0. It counts calls by kind of place: places worth the same to every single call
are one kind, and starts that cover the same kinds and are worth the same to every double call are one kind of start. Only which starts are
used stays place by place, for two that overlap shut each other out. That is the same problem in about a tenth of the columns, and without
the many plans in it that differ in nothing. A single call needs no integer variable: once the double calls stand, the rest is an assignment
by kinds, whose relaxation has whole solutions (Birkhoff 1946, von Neumann 1953).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Numbers = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Found:
    begins: dict[int, int]  # number of the double call to the place in which it begins
    most: float | None  # no plan of all calls gains more than this, in minor units; None: nothing is known of it
    finished: bool  # the search came to its end: no other places for the double calls gain more


def best_starts(singles: Numbers, doubles: Numbers, *, after: Mapping[int, int], seconds: float) -> Found:
    """Where each double call begins in a best plan of all.

    singles, doubles: calls x places, what a call that begins there gains, in whole minor units; 0 where it may not. after: for a place the
    one that a double call in it takes as well. seconds: the search ends then, with the best that it has. Raises RuntimeError where the
    solver fails.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import coo_array

    begun = np.flatnonzero(doubles.any(axis=0))
    next_to = np.array([after[start] for start in begun.tolist()])
    kind, by_kind, room = _kinds(singles)
    start_kind, by_start, _ = _kinds(np.vstack([kind[begun], kind[next_to], doubles[:, begun]]))
    first_kind, second_kind, by_start = by_start[0], by_start[1], by_start[2:]

    # Columns: a single call in a kind of place, a double call in a kind of start, a start that is used.
    call, where = np.nonzero(by_kind)
    double, start = np.nonzero(by_start)
    used = np.arange(len(begun))
    z, u = len(call), len(call) + len(double)  # the first column of the second and of the third
    single_col, double_col, used_col = np.arange(z), z + np.arange(len(double)), u + used

    # Rows: each call once, each kind of place as often as there are places, each start for one call, each place under one start.
    kinds, starts, places = by_kind.shape[1], by_start.shape[1], singles.shape[1]
    row_double = len(singles)
    row_kind = row_double + len(doubles)
    row_start = row_kind + kinds
    row_place = row_start + starts
    most = np.concatenate([np.ones(row_kind), room, np.zeros(starts), np.ones(places)])
    entries = [
        (call, single_col, 1.0),
        (row_kind + where, single_col, 1.0),
        (row_double + double, double_col, 1.0),
        (row_kind + first_kind[start], double_col, 1.0),
        (row_kind + second_kind[start], double_col, 1.0),
        (row_start + start, double_col, 1.0),
        (row_start + start_kind, used_col, -1.0),
        (row_place + begun, used_col, 1.0),
        (row_place + next_to, used_col, 1.0),
    ]
    rows, columns = (np.concatenate([entry[axis] for entry in entries]) for axis in (0, 1))
    factors = np.concatenate([np.full(len(entry[0]), entry[2]) for entry in entries])
    gained = np.concatenate([by_kind[call, where], by_start[double, start], np.zeros(len(begun), dtype=np.int64)])
    found = milp(
        -gained.astype(np.float64),
        constraints=LinearConstraint(coo_array((factors, (rows, columns)), shape=(len(most), len(gained))).tocsc(), ub=most),
        bounds=Bounds(0, 1),
        integrality=(np.arange(len(gained)) >= z).astype(np.int64),
        options={"mip_rel_gap": 0.0, "time_limit": seconds},
    )
    if found.status not in (0, 1):  # 0: the best there is; 1: the time was over
        raise RuntimeError(f"The places of the double calls could not be worked out: {found.message}")
    bound = None if found.mip_dual_bound is None or not np.isfinite(found.mip_dual_bound) else -float(found.mip_dual_bound)
    if found.x is None:
        return Found({}, bound, finished=False)
    stands = found.x > 0.5
    begins: dict[int, int] = {}
    for number in range(starts):
        wanting = double[stands[z:u] & (start == number)].tolist()
        begins |= dict(zip(wanting, begun[stands[u:] & (start_kind == number)].tolist(), strict=False))  # a start may be kept for nobody
    return Found(begins, bound, finished=found.status == 0)


def _kinds(table: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """Columns that are alike: for each column its kind, for each kind its column, and how many are of it."""
    alike, kind, many = np.unique(table, axis=1, return_inverse=True, return_counts=True)
    return kind.reshape(-1), alike, many
