"""Our forecasts with one part left out: what each part is worth is how much the error rises without it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from functools import partial

import numpy as np

from tests.bench.results import Mean, Result, beside, sums
from tests.bench.scoring import curves_of
from tests.bench.worlds import World
from utilities.leadtimes import Calendars, Parts
from utilities.leadtimes.history import Floats


def _calendar_days(world: World, as_of: int) -> Floats:
    """Ages and dates in calendar days; a date may then fall on a closed day."""
    calendars = world.calendars
    every = np.ones(calendars.counts.shape[1] - 1, bool)
    return curves_of(replace(world, calendars=Calendars.of([every] * calendars.utilities, calendars.first)), as_of)


def _without(part: str, world: World, as_of: int) -> Floats:
    return curves_of(world, as_of, replace(Parts(), **{part: False}))


IN_WORDS = {
    "open_requests": "requests still open, in the counts",
    "borrowing": "borrowed history",
    "own_scale": "the pool on each utility’s own scale",
    "memories": "several memories",
    "record": "judging them by their record",
    "textbook": "the textbook curve under the pool",
    "district": "district factors",
    "pace": "the pace now",
    "fronts": "service in order of filing",
    "readings": "the reading that counts come in batches",
}
WITHOUT: dict[str, Callable[[World, int], Floats]] = {
    **{IN_WORDS.get(field.name, field.name): partial(_without, field.name) for field in fields(Parts)},
    "working days (calendar days instead)": _calendar_days,
}


def rises(results: Sequence[Result]) -> dict[str, dict[str, Mean]]:
    """By part and group of worlds: CRPS without it by CRPS with it, less 1."""
    return {
        name: {
            group: Mean(1 / ratio.mean - 1, ratio.error / ratio.mean**2, ratio.worlds)
            for group, rows in sums(results).items()
            for ratio in [beside(rows, name)]
        }
        for name in WITHOUT
    }


def in_percent(rise: Mean) -> str:
    return f"{100 * rise.mean:+.1f} ± {100 * rise.error:.1f} %".replace("-", "−")


def told(results: Sequence[Result]) -> str:
    groups = sums(results)
    lines = [f"{'rise of CRPS without':42}" + "".join(f"{f'{name} ({len(rows)})':>26}" for name, rows in groups.items())]
    for name, by_group in rises(results).items():
        lines.append(f"{name:42}" + "".join(f"{in_percent(by_group[group]):>26}" for group in groups))
    return "\n".join(lines)
