"""What needs a person, as each app reports it and Today shows it: plain ruled lists."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Row:
    """One line of Today. `margin`: the day, time or code by which it is found; `url`: what the next act opens."""

    margin: str
    title: str
    url: str
    cells: tuple[str, ...] = ()
    next_act: str = ""
    under: str = ""  # second line below the title
    late: str = ""  # "4 days late"


@dataclass(frozen=True)
class Section:
    """A ruled list. `sentence` is said in the lead when there are rows, as "Five promises are overdue"; `nothing` when there are none."""

    name: str
    title: str
    headings: tuple[str, ...]
    rows: Sequence[Row]
    nothing: str
    note: str = ""
    all_url: str = ""
    total: int | None = None  # of all rows, when only the first are given
    order: int = 50  # place on the page, small first

    @property
    def count(self) -> int:
        return len(self.rows) if self.total is None else self.total


@dataclass(frozen=True)
class Figure:
    """A number at the top of Today; it opens the rows it counts."""

    label: str
    value: str
    url: str
    note: str = ""


@dataclass(frozen=True)
class Attention:
    """What one app has to say to one person today."""

    sections: tuple[Section, ...] = ()
    figures: tuple[Figure, ...] = field(default=())


def late(due_on: dt.date, today: dt.date) -> str:
    days = (today - due_on).days
    if days <= 0:
        return ""
    return "1 day late" if days == 1 else f"{days} days late"
