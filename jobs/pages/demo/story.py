"""A home of the demo on its way: what is particular about it, and the steps that it goes through."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from random import Random

from jobs.core import clock, ctsignatures
from jobs.core.actors import Actor
from jobs.core.models import Crew, Job
from jobs.pages.demo.cast import Cast
from jobs.pages.demo.company import Office
from jobs.pages.demo.diary import Diary, workday
from jobs.pages.demo.habits import Grid
from utilities.models import FitRequest, Service


@dataclass
class World:
    office: Office
    diary: Diary
    cast: Cast
    grids: dict[str, Grid]  # by the first word of the utility's name
    _homes: int = 0

    def number(self) -> int:
        """The next home's number, of which its serial and meter number are made."""
        self._homes += 1
        return self._homes


@dataclass(frozen=True)
class Story:
    """What is particular about a home; without a word it is an ordinary one. `never`: steps that are not taken."""

    name: str = ""
    language: str = "en"
    email: str | None = None
    relay: bool = False
    unit: str = ""
    access_note: str = ""
    has_battery: bool = True
    service: str = ctsignatures.Service.SPLIT_120_240.value
    meters: int = 1
    install_on: dt.date | None = None  # planned; None: some weeks after signing
    north: bool | None = None  # of the north crew
    ct_check: str = "consistent"
    seal: str = "intact"  # at the meter, on day one
    fitted_on: dt.date | None = None  # None: by the utility's habit
    fitted_serial: str = ""  # another than the registered one
    medical: str = "no"
    internet: bool = True
    pays: str = ""  # in time, late, short, over, never; blank: drawn
    lender: bool | None = None
    never: frozenset[str] = frozenset()
    instead: Mapping[str, Callable[[Home], object]] = field(default_factory=dict)


@dataclass
class Home:
    world: World
    grid: Grid
    story: Story
    draw: Random
    crew: Crew
    builder: Actor
    number: int
    _job: Job | None = None
    services: list[Service] = field(default_factory=list)
    _request: FitRequest | None = None
    calls: int = 0
    install_on: dt.date | None = None
    promised: bool = False

    @property
    def office(self) -> Office:
        return self.world.office

    @property
    def diary(self) -> Diary:
        return self.world.diary

    @property
    def serial(self) -> str:
        return f"LL-{204000 + 7 * self.number:06d}"

    @property
    def job(self) -> Job:
        assert self._job is not None, "the home is not signed yet"
        return self._job

    @job.setter
    def job(self, job: Job) -> None:
        self._job = job

    @property
    def asked(self) -> bool:
        return self._request is not None

    @property
    def request(self) -> FitRequest:
        """As it stands now."""
        assert self._request is not None, "nothing was asked for yet"
        self._request.refresh_from_db()
        return self._request

    @request.setter
    def request(self, request: FitRequest) -> None:
        self._request = request

    @property
    def site_day(self) -> dt.date:
        return clock.today_in(self.grid.habit.zone)

    def chance(self, percent: int) -> bool:
        return self.draw.randrange(100) < percent

    def then(self, step: str, after: tuple[int, int]) -> None:
        """Go on with this step so many days from now (least, most), on a day on which the office works."""
        self.on(self.diary.day + dt.timedelta(days=self.draw.randint(*after)), step)

    def on(self, day: dt.date, step: str) -> None:
        if step not in self.story.never:
            self.diary.on(workday(day), self.draw, partial(self.story.instead.get(step) or STEPS[step], self))


STEPS: dict[str, Callable[[Home], object]] = {}


def step(function: Callable[[Home], object]) -> Callable[[Home], object]:
    """A step of every home, by its name."""
    STEPS[function.__name__] = function
    return function
