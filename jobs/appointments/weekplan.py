"""Homes to times: the plan of calls that gains most, exactly. Pure.

A home in a place is worth its day's delay times the days it gains there times the chance that somebody is at home. Each home gets at most
one place, each place one home; a call through a relay service takes two neighbouring places. With single calls alone this is the
assignment problem (Kuhn 1955, Naval Research Logistics Quarterly 2, 83-97), solved by scipy's `linear_sum_assignment`. With double calls it
is an integer program, solved by `milp` (HiGHS) to gap 0: only the double calls need integer variables, for once they stand the rest is an
assignment again, whose relaxation has whole solutions (Birkhoff 1946, von Neumann 1953).

Ties are broken by job code: among plans of the same worth the home whose code comes first stands in the earlier place.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

MILLION = 1_000_000
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

    @property
    def gained_minor(self) -> int:
        return sum(call.gained_minor for call in self.calls)


def follower(places: Sequence[Place]) -> dict[int, int]:
    """For each place the one of the same verifier that begins as it ends."""
    begins = {(place.verifier, place.starts_at): number for number, place in enumerate(places)}
    found = ((number, begins.get((place.verifier, place.ends_at))) for number, place in enumerate(places))
    return {number: after for number, after in found if after is not None}


def best_plan(homes: Sequence[Home], *, places: Sequence[Place]) -> Plan:
    """The best of all plans of these homes. A call that gains nothing is not planned.

    places: in order (Place sorts by time, then verifier), each once. Raises ValueError where they are not, where a home names a place that
    is not there or two homes share a code, and where the sums leave the whole numbers that a float holds.
    """
    ordered = sorted(homes, key=lambda home: home.code)
    _refuse_nonsense(ordered, places)
    after = follower(places)
    starts = [_starts(home, after) for home in ordered]
    chosen: dict[int, int] = {}  # home to the place in which its call begins
    if any(home.places == 2 and options for home, options in zip(ordered, starts, strict=True)):
        chosen = _double_calls(ordered, starts, after, places=len(places))
    taken = {place for home, start in chosen.items() for place in _covered(ordered[home], start, after)}
    chosen |= _singles(ordered, starts, taken, places=len(places))
    calls = (Planned(ordered[home], start, starts[home][start]) for home, start in chosen.items())
    left = tuple(home for number, home in enumerate(ordered) if number not in chosen)
    return Plan(tuple(sorted(calls, key=lambda call: call.place)), left)


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


def _double_calls(homes: Sequence[Home], starts: Sequence[Mapping[int, int]], after: Mapping[int, int], *, places: int) -> dict[int, int]:
    """Where the double calls begin in a best plan of all homes."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import coo_array

    pairs = [(number, place, gained) for number, options in enumerate(starts) for place, gained in sorted(options.items())]
    rows, columns = [], []
    for column, (number, place, _) in enumerate(pairs):
        for row in (number, *(len(homes) + covered for covered in _covered(homes[number], place, after))):
            rows.append(row)
            columns.append(column)
    most_once = coo_array((np.ones(len(rows)), (rows, columns)), shape=(len(homes) + places, len(pairs))).tocsc()
    found = milp(
        -np.array([gained for _, _, gained in pairs], dtype=np.float64),
        constraints=LinearConstraint(most_once, ub=1.0),
        bounds=Bounds(0, 1),
        integrality=np.array([homes[number].places == 2 for number, _, _ in pairs], dtype=np.int64),
        options={"mip_rel_gap": 0.0},
    )
    if found.status != 0:  # anything but "optimal"
        raise ValueError(f"The plan could not be worked out: {found.message}")
    chosen = {number: place for value, (number, place, _) in zip(found.x, pairs, strict=True) if homes[number].places == 2 and value > 0.5}
    return _in_order_of_code(homes, starts, chosen)


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
