"""What a day's delay of a home's call is worth, with its parts: the order in which homes are booked. Pure.

Today's parts: the final milestone divided by a rule's days, and dollars for each week waited since the collar. The part for papers that
expire soon (1 % of the contract for each) comes with the papers themselves; it will be one more Part here.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True)
class Rates:
    """Each is a rule (jobs/core/rules.py); our own choice, no source."""

    milestone_days: int = 30  # a day is worth the final milestone divided by this
    week_minor: int = 2_000  # for each full week since the collar


@dataclass(frozen=True)
class Part:
    words: str
    amount_minor: int


@dataclass(frozen=True)
class Worth:
    parts: tuple[Part, ...]

    @property
    def total_minor(self) -> int:
        return sum(part.amount_minor for part in self.parts)


def worth_of_a_day(final_milestone_minor: int, *, energized_on: dt.date | None, today: dt.date, rates: Rates) -> Worth:
    """The worth of a day's delay in minor units, half cents up; a part that is nothing is left out."""
    if final_milestone_minor < 0:
        raise ValueError("A milestone cannot be less than nothing.")
    weeks = max(0, (today - energized_on).days // 7) if energized_on else 0
    milestone = (2 * final_milestone_minor + rates.milestone_days) // (2 * rates.milestone_days)
    parts = (
        Part(f"final milestone divided by {rates.milestone_days}", milestone),
        Part(f"{weeks} {'week' if weeks == 1 else 'weeks'} since the collar", weeks * rates.week_minor),
    )
    return Worth(tuple(part for part in parts if part.amount_minor))
