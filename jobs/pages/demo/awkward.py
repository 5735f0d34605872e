"""The awkward homes: each holds one case that an office meets, and can be found by its case's name."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace

from jobs.core.ctsignatures import Service
from jobs.pages.demo import afterwards, awkwardcalls, awkwardwaits
from jobs.pages.demo.building import begin, second_phone
from jobs.pages.demo.diary import at_office
from jobs.pages.demo.ordinary import UNTIL_ASKED
from jobs.pages.demo.story import Home, Story, World

LONG_NAME = "Konstantina-Alexandrina Featherstonehaughs"  # forty letters
NO_VISITS = frozenset({"announced", "visited"})
NO_CALL = NO_VISITS | {"book"}

Then = Callable[[Home], object]


class Casting:
    """Begins homes in time for what will be done with them on a day not long ago."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.cases: dict[str, Home] = {}

    def fitted(
        self,
        case: str,
        ago: int,
        *,
        at: str = "Ottermere",
        waited: int | None = None,
        then: tuple[int, Then] | None = None,
        **story: object,
    ) -> None:
        """A home fitted on the last working day `ago` days back, after this utility's usual wait unless another is named; `then`: what is
        done so many days before today.
        """
        fitted_on = self.world.diary.last_worked(ago)
        told = replace(Story(fitted_on=fitted_on, never=NO_CALL), **story)  # type: ignore[arg-type]
        usual = round(self.world.grids[at].habit.middle * 7 / 5)  # its working days, in days of the calendar
        self._begin(case, at, fitted_on - dt.timedelta(days=(waited or usual) + UNTIL_ASKED), told, then)

    def waiting(self, case: str, days: int, *, at: str = "Sable", then: tuple[int, Then] | None = None, **story: object) -> None:
        """A home that has waited about so many days and waits still."""
        diary = self.world.diary
        told = replace(Story(fitted_on=diary.today + dt.timedelta(days=40), never=NO_VISITS), **story)  # type: ignore[arg-type]
        self._begin(case, at, diary.ago(days + UNTIL_ASKED), told, then)

    def built(self, case: str, ago: int, *, at: str = "Quillback", then: tuple[int, Then] | None = None, **story: object) -> None:
        """A home whose day one was the last working day `ago` days back, and that has not been asked for."""
        told = replace(Story(never=frozenset({"ask"}), install_on=self.world.diary.last_worked(ago)), **story)  # type: ignore[arg-type]
        self._begin(case, at, self.world.diary.ago(ago + 30), told, then)

    def _begin(self, case: str, at: str, signed_on: dt.date, story: Story, then: tuple[int, Then] | None) -> None:
        home = begin(self.world, self.world.grids[at], case, signed_on, story)
        self.cases[case] = home
        if then is not None:
            ago, do = then
            # In the afternoon of a day on which an office may be empty: these cases do not wait for a working day.
            self.world.diary.at(at_office(self.world.diary.ago(ago), dt.time(16, 40)), lambda: do(home))


def awkward_homes(world: World) -> dict[str, Home]:
    casting = Casting(world)
    _odd_homes(casting)
    awkwardwaits.cast(casting)
    awkwardcalls.cast(casting)
    afterwards.cast(casting)
    return casting.cases


def _odd_homes(casting: Casting) -> None:
    """Odd from the beginning: names, equipment, readings, how they pay."""
    casting.waiting("long name", 70, name=LONG_NAME)
    casting.waiting("accents", 33, name="Łukasz Wiśniewski-Gżegżółka")
    casting.waiting("apostrophe", 51, name="Siobhán O’Dálaigh D'Angelo", at="Quillback")
    casting.waiting("Spanish, waiting", 48, name="Guadalupe Hernández Ibarra", language="es", at="Tamarisk")
    casting.waiting("no battery", 64, has_battery=False, at="Big")
    casting.waiting("120/208 V", 58, service=Service.TWO_LEGS_OF_120_208.value, unit="Apt 4", at="Calder")
    casting.waiting("no e-mail", 39, email="", lender=False, at="Upper")
    casting.waiting("short-paid invoice", 95, pays="short", lender=False, at="Upper")
    casting.waiting("overpaid invoice", 82, pays="over", lender=False, at="Big")
    casting.waiting("never pays", 150, pays="never", lender=False, at="Big")
    for place in range(4):
        casting.built(
            f"built today {place + 1}", -10, at=("Ottermere", "Sable")[place % 2], install_on=casting.world.diary.today, north=place < 2
        )
    for place in range(4):
        never = frozenset({"ask", "bill"})
        casting.built(f"draft to release {place + 1}", 2 + place, at=("Big", "Calder")[place % 2], never=never, lender=place == 3)
    casting.built("CT check inconsistent", 6, ct_check="inconsistent")
    casting.built("CT check cannot tell", 4, ct_check="cannot tell")
    casting.built("two versions of day one", 2, never=frozenset({"ask", "bill"}), then=(1, second_phone))
    casting.built("seal broken", 1, seal="broken", never=frozenset({"ask", "bill"}))
