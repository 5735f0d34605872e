"""Homes to times: the plan of calls that gains most, exactly. Pure.

A home in a place is worth its day's delay times the days it gains there times the chance that somebody is at home. Each home gets at most
one place, each place one home; a call through a relay service takes two neighbouring places. With single calls alone this is the
assignment problem (Kuhn 1955, Naval Research Logistics Quarterly 2, 83-97), solved by scipy's `linear_sum_assignment`. With double calls it
is an integer program (doublecalls.py): once these stand, the rest is an assignment again. Its search has a time limit; a plan that was not
proved to be the best says by how much at most another could gain more.

Ties are broken by job code: among plans of the same worth the home whose code comes first stands in the earlier place.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from jobs.appointments import doublecalls

MILLION = 1_000_000
SEARCH_SECONDS = 4.0  # a page waits for it
EXACT = 2**53  # whole numbers up to here are exact in a float


@dataclass(frozen=True, order=True)
class Place:
    """One place of one verifier. starts_at: aware."""

    starts_at: dt.datetime
    verifier: int
    ends_at: dt.datetime


@dataclass(frozen=True)
class Home:
    """A home that wants a call.

    worth_minor: of a day's delay, in minor units. no_show_millionths: chance that nobody answers. places: 1, or 2 for a double call.
    gains: days gained by the place in which its call begins (key: place of `places`); a place that is left out is forbidden to it.
    """

    code: str
    worth_minor: int
    gains: Mapping[int, int]
    no_show_millionths: int = 0
    places: int = 1

    def __post_init__(self) -> None:
        if self.worth_minor < 0 or not 0 <= self.no_show_millionths <= MILLION or self.places not in (1, 2):
            raise ValueError(f"{self.code}: a worth of nothing or more, a chance from 0 to 1, and one place or two are wanted.")

    def worth_in(self, place: int) -> int:
        """What a call in this place gains, in whole minor units, half up."""
        whole = self.worth_minor * self.gains[place] * (MILLION - self.no_show_millionths)
        return (2 * whole + MILLION) // (2 * MILLION)


@dataclass(frozen=True)
class Planned:
    home: Home
    place: int
    gained_minor: int


@dataclass(frozen=True)
class Plan:
    calls: tuple[Planned, ...]  # by place
    left_out: tuple[Home, ...]  # by code
    at_most_more: int = 0  # minor units: no other plan gains more than this above it. 0: it is the best there is

    @property
    def gained_minor(self) -> int:
        return sum(call.gained_minor for call in self.calls)


def follower(places: Sequence[Place]) -> dict[int, int]:
    """For each place the one of the same verifier that begins as it ends."""
    begins = {(place.verifier, place.starts_at): number for number, place in enumerate(places)}
    found = ((number, begins.get((place.verifier, place.ends_at))) for number, place in enumerate(places))
    return {number: after for number, after in found if after is not None}


def best_plan(homes: Sequence[Home], *, places: Sequence[Place], seconds: float = SEARCH_SECONDS) -> Plan:
    """The best of all plans of these homes. A call that gains nothing is not planned.

    places: in order (Place sorts by time, then verifier), each once. seconds: for the search among double calls; where they end before the
    best is proved, `at_most_more` is above 0. Raises ValueError where the places are not in order, where a home names a place that is not
    there or two homes share a code, and where the sums leave the whole numbers that a float holds.
    """
    ordered = sorted(homes, key=lambda home: home.code)
    _refuse_nonsense(ordered, places)
    after = follower(places)
    starts = [_starts(home, after) for home in ordered]
    chosen, bound = _doubles(ordered, starts, after, places=len(places), seconds=seconds)  # home to the place in which its call begins
    taken = {place for home, start in chosen.items() for place in _covered(ordered[home], start, after)}
    chosen |= _singles(ordered, starts, taken, places=len(places))
    calls = tuple(
        sorted((Planned(ordered[home], start, starts[home][start]) for home, start in chosen.items()), key=lambda call: call.place)
    )
    left = tuple(home for number, home in enumerate(ordered) if number not in chosen)
    gained = sum(call.gained_minor for call in calls)
    return Plan(calls, left, 0 if bound is None else max(0, bound - gained))


def first_come(homes: Sequence[Home], *, places: Sequence[Place]) -> Plan:
    """What an office does without a plan: in the order given each home takes the first place that it can. For comparison."""
    after = follower(places)
    taken: set[int] = set()
    calls, left = [], []
    for home in homes:
        options = _starts(home, after)
        start = next((place for place in sorted(options) if not taken & set(_covered(home, place, after))), None)
        if start is None:
            left.append(home)
            continue
        taken |= set(_covered(home, start, after))
        calls.append(Planned(home, start, options[start]))
    return Plan(tuple(sorted(calls, key=lambda call: call.place)), tuple(sorted(left, key=lambda home: home.code)))


def _refuse_nonsense(homes: Sequence[Home], places: Sequence[Place]) -> None:
    if list(places) != sorted(set(places)):
        raise ValueError("The places are not in order, or one is there twice.")
    if len({home.code for home in homes}) != len(homes):
        raise ValueError("Two homes have the same code.")
    if any(not 0 <= place < len(places) for home in homes for place in home.gains):
        raise ValueError("A home names a place that is not there.")


def _starts(home: Home, after: Mapping[int, int]) -> dict[int, int]:
    """Places in which the home's call may begin and gains something, each with what it gains."""
    worth = {place: home.worth_in(place) for place in home.gains if home.places == 1 or place in after}
    return {place: gained for place, gained in worth.items() if gained > 0}


def _covered(home: Home, start: int, after: Mapping[int, int]) -> tuple[int, ...]:
    return (start,) if home.places == 1 else (start, after[start])


def _singles(homes: Sequence[Home], starts: Sequence[Mapping[int, int]], taken: set[int], *, places: int) -> dict[int, int]:
    """The best places for the single calls among those that are not taken; homes and places by number."""
    from scipy.optimize import linear_sum_assignment

    wanting = [number for number, home in enumerate(homes) if home.places == 1 and starts[number]]
    free = [place for place in range(places) if place not in taken]
    if not wanting or not free:
        return {}
    worth: npt.NDArray[np.float64] = np.zeros((len(wanting), len(free)))
    column = {place: number for number, place in enumerate(free)}
    rows, columns, gained = [], [], []
    for row, number in enumerate(wanting):
        for place, amount in starts[number].items():
            if place in column:
                rows.append(row)
                columns.append(column[place])
                gained.append(amount)
    # The second aim, smaller in sum than one minor unit: early codes in early places. Whole numbers, so that nothing is rounded.
    early = (len(wanting) - np.array(rows, dtype=np.float64)) * (len(free) - np.array(columns, dtype=np.float64))
    scale = float(len(wanting) * len(free)) * min(len(wanting), len(free)) + 1
    if sum(max(starts[number].values()) for number in wanting) * scale >= EXACT:
        raise ValueError("The plan is too large to be worked out exactly: fewer homes or a shorter time is wanted.")
    worth[rows, columns] = np.array(gained, dtype=np.float64) * scale + early
    row_of, column_of = linear_sum_assignment(worth, maximize=True)
    pairs = ((wanting[row], free[place]) for row, place in zip(row_of.tolist(), column_of.tolist(), strict=True) if worth[row, place] > 0)
    return dict(pairs)


def _doubles(
    homes: Sequence[Home], starts: Sequence[Mapping[int, int]], after: Mapping[int, int], *, places: int, seconds: float
) -> tuple[dict[int, int], int | None]:
    """Where the double calls begin in a best plan of all homes; with it, where that was not proved, what no plan gains more than."""
    wanting = [number for number, home in enumerate(homes) if home.places == 2 and starts[number]]
    if not wanting:
        return {}, None
    singles = [number for number, home in enumerate(homes) if home.places == 1]
    found = doublecalls.best_starts(_table(starts, singles, places), _table(starts, wanting, places), after=after, seconds=seconds)
    begins = {wanting[number]: start for number, start in found.begins.items()}
    if found.finished:
        return _in_order_of_code(homes, starts, begins), None
    if not begins:  # nothing was found in the time: the dearest first, each in the best place that is left
        begins = _dearest_first(homes, starts, after, wanting)
    each_best = sum(max(options.values(), default=0) for options in starts)
    return _in_order_of_code(homes, starts, begins), each_best if found.most is None else min(each_best, math.floor(found.most))


def _dearest_first(
    homes: Sequence[Home], starts: Sequence[Mapping[int, int]], after: Mapping[int, int], wanting: Sequence[int]
) -> dict[int, int]:
    begins: dict[int, int] = {}
    taken: set[int] = set()
    for number in sorted(wanting, key=lambda number: (-max(starts[number].values()), number)):
        can = [start for start in sorted(starts[number]) if not taken & set(_covered(homes[number], start, after))]
        if can:
            begins[number] = max(can, key=lambda start: starts[number][start])
            taken |= set(_covered(homes[number], begins[number], after))
    return begins


def _table(starts: Sequence[Mapping[int, int]], wanting: Sequence[int], places: int) -> npt.NDArray[np.int64]:
    """Homes x places, what a call that begins there gains; 0 where it may not."""
    table = np.zeros((len(wanting), places), dtype=np.int64)
    for row, number in enumerate(wanting):
        table[row, list(starts[number])] = list(starts[number].values())
    return table


def _in_order_of_code(homes: Sequence[Home], starts: Sequence[Mapping[int, int]], chosen: Mapping[int, int]) -> dict[int, int]:
    """Double calls that are alike in every place change places until the earlier code stands earlier."""
    alike: dict[tuple[tuple[int, int], ...], list[int]] = {}
    for number, home in enumerate(homes):
        if home.places == 2 and starts[number]:
            alike.setdefault(tuple(sorted(starts[number].items())), []).append(number)
    ordered: dict[int, int] = {}
    for group in alike.values():
        taken = sorted(chosen[number] for number in group if number in chosen)
        ordered |= dict(zip(group, taken, strict=False))
    return ordered
