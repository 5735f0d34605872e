"""The demo's contractor and its homes, all invented: lived through by the real acts into an empty database, the same for the same day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from random import Random

from django.conf import settings
from django.db import transaction

from jobs.core import clock, codes
from jobs.core.models import Job, User
from jobs.core.refusals import Refused
from jobs.pages.demo import building, calls, papers, payments, waits  # each holds steps of its own
from jobs.pages.demo.afterwards import put_on_call
from jobs.pages.demo.awkward import awkward_homes
from jobs.pages.demo.cast import Cast
from jobs.pages.demo.company import open_office
from jobs.pages.demo.desks import declare_storm, prepare_sheets
from jobs.pages.demo.diary import Diary, at_office
from jobs.pages.demo.habits import connect_grids
from jobs.pages.demo.history import BROUGHT_IN, remember
from jobs.pages.demo.moneycases import money_cases
from jobs.pages.demo.ordinary import Size, ordinary_homes
from jobs.pages.demo.story import Home, World
from jobs.pages.demo.takenover import take_over
from utilities import forecasts, replay, scoring

__all__ = ["Made", "building", "calls", "make", "payments", "waits"]

SEED = "larch and lantern"
OPENED = BROUGHT_IN + 2  # days ago
WHOLE = Size()


@dataclass(frozen=True)
class Made:
    """Codes of the awkward homes, by what is awkward about them."""

    cases: dict[str, str]


def make(size: Size = WHOLE) -> Made:
    """Fill an empty database. One transaction: killed half-way, nothing is left."""
    if Job.objects.exists() or User.objects.exists():
        raise Refused("This database holds jobs or people that the demo did not make; it is left alone.")
    if not settings.CAPTURE_MAIL:
        raise Refused("The demo is made only where every message is captured; run it with DEMO set.")
    with transaction.atomic(), codes.drawn_from(Random(SEED)):
        cases = _live(size)
        today = clock.office_today()
        forecasts.refresh(as_of=today - dt.timedelta(days=1), rule="nightly", night_of=today)
        if size.replays:
            # Every fourth day of the last year's: enough to show how good the forecasts were, and soon done.
            for day in replay.last_year(today=today)[::4]:
                replay.replay_day(day)
            scoring.rescore(today=today)
    return Made({name: home.job.code for name, home in cases.items()})


def _live(size: Size) -> dict[str, Home]:
    diary = Diary(clock.office_today())
    with clock.pretend(at_office(diary.ago(OPENED), dt.time(9))):
        office = open_office()
        papers.set_terms(office)
        grids = connect_grids(office, diary.today)
    with clock.pretend(at_office(diary.ago(BROUGHT_IN), dt.time(15))):
        remember(grids, diary, by=office.dana.name)
    world = World(office, diary, Cast(SEED), {grid.habit.name.split()[0]: grid for grid in grids})
    ordinary_homes(world, size)
    cases = {}
    if size.odd:
        take_over(world)
        cases = awkward_homes(world)
        money_cases(world)
    diary.run()
    papers.lay_out(office)
    with clock.pretend(at_office(diary.ago(1), dt.time(17))):
        put_on_call(office, diary.today)
        prepare_sheets(office)
        declare_storm(office)
    return cases
