"""A forecast as it is kept: 99 days, from one to ninety-nine in a hundred, and the chance of never."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt

from .calendars import HORIZON, Calendars
from .history import NO_DAY, Days, Floats

PERCENTS = np.arange(1, 100)
BEYOND = 65_535  # offset of a quantile beyond the horizon
Offsets = npt.NDArray[np.uint16]


@dataclass(frozen=True)
class Quantiles:
    """Dates of n requests. q: (n, 99) day numbers, NO_DAY beyond the horizon. p_never: (n,) chance of not being fitted within it.

    utility: (n,). calendars: of the utilities, over the horizon.
    """

    as_of: int
    calendars: Calendars
    utility: Days
    q: Days
    p_never: Floats

    def __len__(self) -> int:
        return int(self.utility.size)

    def q_at(self, percent: int) -> Days:
        """(n,) first day on which the chance is at least `percent` in a hundred; NO_DAY beyond the horizon."""
        return self.q[:, percent - 1]

    def offsets(self) -> Offsets:
        """(n, 99) days after the as-of day, BEYOND where blank; `pack` makes bytes of one row."""
        return np.where(self.q == NO_DAY, BEYOND, self.q - self.as_of).astype(np.uint16)

    @classmethod
    def kept(cls, packed: Sequence[bytes], as_of: int, calendars: Calendars, utility: npt.ArrayLike, p_never: npt.ArrayLike) -> Self:
        """Stored forecasts of one run, to be asked for chances again."""
        offsets = np.array([unpack(one) for one in packed], dtype=np.int32).reshape(-1, PERCENTS.size)
        return cls(
            as_of=as_of,
            calendars=calendars,
            utility=np.asarray(utility, dtype=np.int32),
            q=np.where(offsets == BEYOND, NO_DAY, offsets + as_of).astype(np.int32),
            p_never=np.asarray(p_never, dtype=np.float64),
        )


def chance_by(forecasts: Quantiles, day: int | npt.NDArray[np.integer]) -> Floats:
    """(n,) chance that each request is fitted on or before the day (one, or one for each), if it stays open to the as-of day.

    Worked out from the 99 dates as `chance_within` says, so that a kept forecast says the same as on its day. From the
    horizon on it is 1 - p_never.
    """
    calendars, utility = forecasts.calendars, forecasts.utility
    today = calendars.count(utility, forecasts.as_of)
    last = forecasts.as_of + HORIZON
    days = np.clip(np.broadcast_to(day, utility.shape), forecasts.as_of, last)
    known = forecasts.q != NO_DAY
    ahead = np.where(known, forecasts.q, last)
    workdays = calendars.count(utility[:, None], ahead) - today[:, None]
    return chance_within(
        np.where(known, workdays, BEYOND),
        forecasts.p_never,
        calendars.count(utility, last) - today,
        calendars.count(utility, days) - today,
    )


def chance_within(quantiles: Days, p_never: Floats, horizon: Days, workdays: Days) -> Floats:
    """F after some working days, from quantiles: linear between them in working days.

    quantiles: (n, 99) working days ahead, BEYOND where blank. p_never, horizon (working days), workdays: (n,).
    0 up to the working day before the first quantile, 1 - p_never at the horizon; on a day where several quantiles lie, the
    highest of them. A curve and its quantiles differ by less than 0.01 in this way. Source: FORECASTING.md section 12.
    """
    # Column 0 is the working day before q01, with chance 0; the last column is the horizon.
    points = np.column_stack([quantiles[:, 0] - 1, quantiles, horizon]).astype(np.int64)
    chances = np.column_stack([np.zeros(len(points)), np.tile(PERCENTS / 100, (len(points), 1)), 1 - p_never])
    blank = points >= BEYOND - 1
    # A blank quantile is the horizon once more: the line runs from the last known one straight to 1 - p_never.
    points = np.where(blank, horizon[:, None], points)
    chances = np.where(blank, 1 - p_never[:, None], chances)
    points[blank[:, 0], 0] = 0
    chances[blank[:, 0], 0] = 0.0

    upper = np.minimum((points <= workdays[:, None]).sum(axis=1), points.shape[1] - 1)
    row = np.arange(len(points))
    lower = np.maximum(upper - 1, 0)
    x0, x1, y0, y1 = points[row, lower], points[row, upper], chances[row, lower], chances[row, upper]
    share = np.clip((workdays - x0) / np.maximum(x1 - x0, 1), 0, 1)
    between = y0 + share * (y1 - y0)
    return np.where(workdays >= horizon, 1 - p_never, np.where(workdays <= points[:, 0], 0.0, between))


def pack(offsets: npt.ArrayLike) -> bytes:
    """99 day offsets as 198 bytes, each an unsigned 16-bit number, low byte first; 65,535 = beyond the horizon."""
    days = np.asarray(offsets)
    if days.shape != (PERCENTS.size,) or (days < 0).any() or (days > BEYOND).any():
        raise ValueError("A forecast is kept as 99 day offsets from 0 to 65,535.")
    return days.astype("<u2").tobytes()


def unpack(packed: bytes | memoryview) -> Offsets:
    """(99,) day offsets, BEYOND where the quantile lies beyond the horizon."""
    offsets = np.frombuffer(packed, dtype="<u2")
    if offsets.size != PERCENTS.size:
        raise ValueError("A kept forecast must have 198 bytes, two for each of its 99 dates.")
    return offsets.astype(np.uint16)
