"""What needs a person, as each app reports it and Today shows it: plain ruled lists."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from jobs.core import words

Kind = Literal["", "day", "num", "expected"]  # of a column: days stay whole, figures stand at the right, what is expected in italic


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
    job_id: int | None = None  # of the home, where its unbilled money is to stand beside it


@dataclass(frozen=True)
class Section:
    """A ruled list. `nothing` is said when it has no rows.

    `says` gives its part of the first sentence for a count: "five promises are overdue". `homes` are those it counts, all of them, so that
    the sentence counts a home once that stands in several lists. `part`: an "opening" section has a sentence of its own before the rest
    (calls of the day); an "overview" gathers what other sections name, and is said only where none of them has anything.
    """

    name: str
    title: str
    headings: tuple[str, ...]
    rows: Sequence[Row]
    nothing: str
    note: str = ""
    all_url: str = ""
    total: int | None = None  # of all rows, when only the first are given
    order: int = 50  # place on the page, small first
    kinds: tuple[Kind, ...] = ()  # one for each cell of a row; none given: all plain
    says: Callable[[int], str] | None = None
    homes: frozenset[int] | None = None
    part: Literal["", "opening", "overview"] = ""
    unbilled: bool = False  # the homes' unbilled money is to stand beside them, for those who see amounts

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


def says(one: str, many: str) -> Callable[[int], str]:
    """How a count is said, with the verb: says("promise is overdue", "promises are overdue")(5) is "five promises are overdue"."""
    return lambda count: f"{in_words(count)} {one if count == 1 else many}"


def in_words(count: int) -> str:
    """ "five", "1,204"."""
    return words.count(count, "thing").partition(" ")[0]
