"""Eight invented utilities of unlike habits, and how long each lets a home wait."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from math import exp
from random import Random

from jobs.core.models import User
from jobs.pages.demo.company import Office, user_of
from jobs.pages.demo.terms import tell
from utilities import profile, services
from utilities.models import District, Utility
from utilities.profile import Profile
from utilities.workdays import WorkCalendar

SLOWED_FROM = 230  # days ago
SLOWED_BY = 1.9


@dataclass(frozen=True)
class Habit:
    """middle: the wait in the middle, working days; spread: of the wait's logarithm. Shares are of a hundred."""

    name: str
    kind: str
    zone: str
    region: str
    areas: tuple[str, ...]  # telephone
    cities: tuple[str, ...]
    postal: str
    emergency: str
    middle: float
    spread: float
    past: int  # requests in the history before our books
    weight: int  # of our homes
    districts: tuple[str, ...] = ()
    route: str = "portal"
    batch_weekday: int | None = None  # its crews go out on this weekday only, every second week
    slowed: bool = False
    closes: int = 4  # ends without fitting
    acknowledges: int = 70
    promises: int = 25  # names a day
    keeps: int = 70  # of the days it named
    listed_open_only: int = 0  # of the past requests, those from a list that held only the open ones
    note: str = ""


HABITS = (
    Habit(
        "Ottermere Municipal Light", "municipal", "America/Denver", "CO", ("303", "720"), ("Ottermere", "Lantern Ford"), "80999",
        "(303) 555-0190", 12, 0.32, 205, 22, route="form by e-mail", acknowledges=95,
        note="Fast and steady. Ask for Lena at the meter desk.",
    ),
    Habit(
        "Sable Fork Electric Cooperative", "cooperative", "America/Denver", "CO", ("970",), ("Sable Fork", "Dunmarrow", "Pine Gap"),
        "81699", "(970) 555-0191", 30, 0.35, 160, 20, districts=("Lower Fork", "Upper Fork"), batch_weekday=3,
        note="Meter crews go out every second Thursday only.",
    ),
    Habit(
        "Quillback Bay Power District", "district", "America/Los_Angeles", "WA", ("360",), ("Quillback Harbor", "Saltmarsh"), "98999",
        "(360) 555-0192", 26, 0.45, 150, 20, slowed=True, listed_open_only=22, note="Has slowed this year: two meter crews became one.",
    ),
    Habit(
        "Upper Wend Light & Water", "municipal", "America/Denver", "WY", ("307",), ("Wendover Springs", "High Wend"), "82999",
        "(307) 555-0193", 42, 0.4, 95, 13, route="paper form by mail", note="Closed from mid-December to early February, snow.",
    ),
    Habit(
        "Tamarisk Valley Electric", "investor_owned", "America/Phoenix", "AZ", ("602", "928"), ("Tamarisk", "Dry Creek"), "85999",
        "(602) 555-0194", 48, 0.4, 110, 16, promises=90, keeps=94, acknowledges=90,
        districts=("Valley", "Rim"), note="Names a day, and keeps it.",
    ),
    Habit(
        "Big Hollow Public Power", "district", "America/Chicago", "NE", ("402", "308"), ("Big Hollow", "Granary"), "68999",
        "(402) 555-0195", 62, 0.55, 100, 15, promises=90, keeps=22, note="Names a day, and seldom comes on it.",
    ),
    Habit(
        "Calder & Plain Electric", "investor_owned", "America/Chicago", "KS", ("785", "620"), ("Calder", "Plain City"), "67999",
        "(785) 555-0196", 55, 0.5, 80, 12, closes=24, acknowledges=30, listed_open_only=14,
        note="Closes requests that lie for 90 days without telling anybody. Look at the portal.",
    ),
    # No past at all, and nobody has found its emergency line: no call can be booked for its homes.
    Habit(
        "Juniper Flat Power", "cooperative", "America/Denver", "UT", ("435",), ("Juniper Flat",), "84999",
        "", 35, 0.5, 0, 9, acknowledges=50, note="New to us this summer.",
    ),
)  # fmt: skip


@dataclass
class Grid:
    """A utility on record, with its habit."""

    habit: Habit
    utility: Utility
    districts: Sequence[District] = field(default=())

    @cached_property
    def calendar(self) -> WorkCalendar:
        return services.calendar_of(self.utility)

    def district(self, draw: Random) -> District | None:
        return draw.choice(self.districts) if self.districts else None

    def fitting_day(self, filed_on: dt.date, draw: Random, *, today: dt.date) -> dt.date:
        """The day on which this utility fits what was asked for on `filed_on`: drawn from its habit."""
        middle = self.habit.middle
        if self.habit.slowed and filed_on > today - dt.timedelta(days=SLOWED_FROM):
            middle *= SLOWED_BY
        days = max(1, round(middle * exp(draw.gauss(0, self.habit.spread))))
        return self.on_round(self.calendar.nth_after(filed_on, days))

    def on_round(self, day: dt.date) -> dt.date:
        """The day itself, or the next one on which its crews go out."""
        if self.habit.batch_weekday is None:
            return self.calendar.next_worked(day)
        while day.weekday() != self.habit.batch_weekday or day.isocalendar().week % 2 or not self.calendar.is_worked(day):
            day += dt.timedelta(days=1)
        return day


def connect_grids(office: Office, today: dt.date) -> list[Grid]:
    """The utilities entered by the manager, with districts and winter closures."""
    grids = []
    for place, habit in enumerate(HABITS):
        clerk, stand_in = (office.theo, office.paz) if place % 2 == 0 else (office.paz, office.theo)
        utility = profile.add_utility(_profile(habit, clerk=user_of(clerk), stand_in=user_of(stand_in)), by=office.dana)
        tell(habit, utility, today=today, by=office.dana)
        if habit.districts:
            profile.set_districts(utility, names=habit.districts, by=office.dana)
        if habit.name.startswith("Upper Wend"):
            for year in range(today.year - 5, today.year + 2):
                first = dt.date(year, 12, 14)
                profile.set_closures(utility, first=first, last=first + dt.timedelta(days=52), kind="closed", by=office.dana)
        if habit.name.startswith("Tamarisk"):
            # A Saturday crew, once.
            saturday = today + dt.timedelta(days=(5 - today.weekday()) % 7 + 7)
            profile.set_closures(utility, first=saturday, last=saturday, kind="open", by=office.dana)
        utility.refresh_from_db()
        grids.append(Grid(habit, utility, list(utility.districts.all())))
    return grids


def _profile(habit: Habit, *, clerk: User, stand_in: User) -> Profile:
    return Profile(
        name=habit.name,
        zone=habit.zone,
        kind=habit.kind,
        emergency_phone=habit.emergency,
        clerk=clerk,
        stand_in=stand_in,
        note=habit.note,
    )
