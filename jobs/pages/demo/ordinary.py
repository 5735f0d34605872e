"""The homes to which nothing particular happens: many signed over the last year, and some timed so that every stage is held today."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from jobs.pages.demo.building import begin
from jobs.pages.demo.habits import HABITS
from jobs.pages.demo.history import remember_fitted
from jobs.pages.demo.story import Story, World


@dataclass(frozen=True)
class Size:
    """How many homes of each kind. signed: over the time of our books; what became of them is up to their utilities."""

    signed: int = 30
    still_waiting: int = 27
    in_build: int = 12
    not_asked: int = 4
    just_fitted: int = 10
    replays: bool = True  # with forecasts of past days, judged
    odd: bool = True  # with the awkward homes, and those taken over from another contractor


# From the signing to the request: the crew's turn and a few days.
UNTIL_ASKED = 36


def ordinary_homes(world: World, size: Size) -> None:
    draw, diary = Random("ordinary homes"), world.diary
    weights = [habit.weight for habit in HABITS]

    def grid() -> str:
        return draw.choices(HABITS, weights)[0].name.split()[0]

    for number in range(size.signed):
        # More of late than a year ago: the company grows.
        ago = round(UNTIL_ASKED + 6 + 350 * draw.random() ** 1.5)
        begin(world, world.grids[grid()], f"signed {number}", diary.ago(ago))
    finished: list[Wait] = []
    for number in range(size.still_waiting):
        name, filed, fitted = _still_waiting(world, draw, grid, finished)
        begin(world, world.grids[name], f"still waiting {number}", filed - dt.timedelta(days=UNTIL_ASKED), Story(fitted_on=fitted))
    for number in range(size.in_build):
        begin(world, world.grids[grid()], f"in build {number}", diary.ago(draw.randrange(1, 15)))
    for number in range(size.not_asked):
        story = Story(never=frozenset({"ask"}))
        begin(world, world.grids[grid()], f"not asked {number}", diary.ago(draw.randrange(44, 52)), story)
    for number in range(size.just_fitted):
        name, filed, fitted = _just_fitted(world, draw)
        begin(world, world.grids[name], f"just fitted {number}", filed - dt.timedelta(days=UNTIL_ASKED), Story(fitted_on=fitted))
    remember_fitted(world.grids, finished, by=world.office.dana.name)


Wait = tuple[str, dt.date, dt.date]  # a utility, the day on which it was asked, the day on which it fits


def _just_fitted(world: World, draw: Random) -> Wait:
    """Asked for as long ago as this utility takes, and fitted in these two weeks."""
    today = world.diary.today
    name = draw.choice([habit.name.split()[0] for habit in HABITS if habit.emergency])
    while True:
        filed = world.diary.ago(draw.randrange(4, 260))
        fitted = world.grids[name].fitting_day(filed, draw, today=today)
        if world.diary.ago(17) < fitted < today:
            return name, filed, fitted


def _still_waiting(world: World, draw: Random, grid: Callable[[], str], finished: list[Wait]) -> Wait:
    """Drawn until the day of fitting is yet to come. Those drawn in vain join the finished: the homes that wait today would else be all
    that their utilities were asked for, every utility would seem to have slowed, and its forecasts to have failed.
    """
    while True:
        name = grid()
        filed = world.diary.ago(draw.randrange(4, 260))
        fitted = world.grids[name].fitting_day(filed, draw, today=world.diary.today)
        if fitted > world.diary.today:
            return name, filed, fitted
        finished.append((name, filed, fitted))
