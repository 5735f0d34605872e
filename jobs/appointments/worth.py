"""What a day's delay of a home's call is worth, with its parts: the order in which homes are booked. Pure.

The final milestone divided by a rule's days; a share of the contract for each paper that expires soon; dollars for each week waited since
the collar.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Rates:
    """Each is a rule (jobs/core/rules.py); our own choice, no source."""

    milestone_days: int = 30  # a day is worth the final milestone divided by this
    week_minor: int = 2_000  # for each full week since the collar
    paper_percent: int = 1  # of the contract, for each paper that expires soon
    paper_days: int = 30


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


def worth_of_a_day(
    final_milestone_minor: int,
    *,
    energized_on: dt.date | None,
    today: dt.date,
    rates: Rates,
    contract_minor: int = 0,
    papers_end: Sequence[dt.date] = (),
) -> Worth:
    """The worth of a day's delay in minor units, half cents up; a part that is nothing is left out.

    papers_end: the last day of each paper of the home; those count whose day is within `rates.paper_days` ahead.
    """
    if final_milestone_minor < 0 or contract_minor < 0:
        raise ValueError("A milestone or a contract cannot be less than nothing.")
    papers = sum(0 <= (end - today).days <= rates.paper_days for end in papers_end)
    a_paper = (2 * contract_minor * rates.paper_percent + 100) // 200
    weeks = max(0, (today - energized_on).days // 7) if energized_on else 0
    milestone = (2 * final_milestone_minor + rates.milestone_days) // (2 * rates.milestone_days)
    parts = (
        Part(f"final milestone divided by {rates.milestone_days}", milestone),
        Part(
            f"{papers} {'paper' if papers == 1 else 'papers'} that expire{'s' if papers == 1 else ''} within {rates.paper_days} days",
            papers * a_paper,
        ),
        Part(f"{weeks} {'week' if weeks == 1 else 'weeks'} since the collar", weeks * rates.week_minor),
    )
    return Worth(tuple(part for part in parts if part.amount_minor))
