"""Today: who must act next, on what, since when; gathered from every app for the person who looks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from jobs.core import clock, due, money, words
from jobs.core.actors import actor
from jobs.core.attention import Attention, Figure, Kind, Row, Section
from jobs.core.models import User
from jobs.core.web import signed_in
from jobs.pages import frame, gather, joblist

NAMED = 3  # sections of homes that the first sentence names
NAMED_ALONE = 4  # other sections, where they are the whole lead; beside homes fewer
NAMED_BESIDE = 2
UNBILLED = "Unbilled"
FIGURES = 3
FIGURES_FIRST = ("jobs.core", "billing")


@dataclass(frozen=True)
class Said:
    """A sentence of the lead: its fact in bold, and the rest."""

    fact: str
    rest: str


@dataclass(frozen=True)
class Cell:
    heading: str
    words: str
    kind: Kind = ""


@dataclass(frozen=True)
class Listed:
    """A section as the page draws it: each cell beside its column's heading, which stacked rows repeat."""

    section: Section
    heads: tuple[Cell, ...]
    rows: tuple[tuple[Row, tuple[Cell, ...]], ...]

    @classmethod
    def of(cls, section: Section, unbilled: Mapping[int, int]) -> Listed:
        """`unbilled`: minor units by job, of sections beside whose homes it is to stand."""
        # The first heading is the margin's, the second the title's, the last the act's.
        between = section.headings[2:-1]
        kinds = section.kinds or tuple[Kind, ...]("" for _ in between)
        rows = [
            (row, tuple(Cell(*parts) for parts in zip(between, row.cells, kinds, strict=True)) + _money(row, section, unbilled))
            for row in section.rows
        ]
        heads = [Cell(heading, "", kind) for heading, kind in zip(between, kinds, strict=True)]
        heads += [Cell(UNBILLED, "", "num")] if section.unbilled and unbilled else []
        return cls(section, tuple(heads), tuple(rows))


def _money(row: Row, section: Section, unbilled: Mapping[int, int]) -> tuple[Cell, ...]:
    if not section.unbilled or not unbilled:
        return ()
    minor = unbilled.get(row.job_id or 0)
    return (Cell(UNBILLED, "" if minor is None else money.shown(minor), "num"),)


@signed_in
@require_safe
def today(request: HttpRequest) -> HttpResponse:
    user = actor(request).user
    assert user is not None
    found = gathered(user)
    here = clock.now().astimezone(ZoneInfo(frame.company(request).zone))
    unbilled = _unbilled(found.sections) if user.has_perm("core.see_money") else {}
    context = {
        "lead": lead(found.sections),
        "figures": found.figures,
        # What is empty closes to one line, below what is not.
        "sections": [Listed.of(section, unbilled) for section in found.sections if section.rows],
        "empty": [section for section in found.sections if not section.rows],
        "day": here.date(),
        "time": words.time_office(here),
    }
    return render(request, "pages/today.html", context)


def gathered(user: User) -> Attention:
    """What every app has to say to this person, in the order of the page."""
    parts = {"jobs.core": due.for_user(user)}
    parts |= {module.__package__ or "": module.for_user(user) for module in gather.modules("attention") if hasattr(module, "for_user")}
    sections = sorted((section for part in parts.values() for section in part.sections), key=lambda section: section.order)
    return Attention(tuple(sections), _figures({app: part.figures for app, part in parts.items()}))


def _figures(by_app: Mapping[str, Sequence[Figure]]) -> tuple[Figure, ...]:
    """Three at most: homes and money by turns, then what else there is."""
    ranked = [
        (app not in FIGURES_FIRST, rank, FIGURES_FIRST.index(app) if app in FIGURES_FIRST else place, figure)
        for place, (app, figures) in enumerate(by_app.items())
        for rank, figure in enumerate(figures)
    ]
    return tuple(figure for *_, figure in sorted(ranked, key=lambda each: each[:3])[:FIGURES])


def _unbilled(sections: Sequence[Section]) -> dict[int, int]:
    homes = [row.job_id for section in sections if section.unbilled for row in section.rows if row.job_id]
    return joblist.unbilled_by_job(homes) if homes else {}


def lead(sections: Sequence[Section]) -> list[Said]:
    """What a person could say aloud, from the sections' own counts; a home is counted once that stands in several of them.

    "Four calls are booked today, the first at 09:00. 22 homes need you today: five promises are overdue, three ..."
    """
    full = [section for section in sections if section.count and section.says]
    said = [_opening(section) for section in full if section.part == "opening"]
    named = [section for section in full if not section.part]
    of_homes = [section for section in named if section.homes is not None]
    if len(of_homes) > 1:
        said.append(_of_homes(of_homes))
        named = [section for section in named if section.homes is None]
    # Where nothing is named, what gathers the homes is said instead.
    named = named or ([] if said else full)
    if named:
        said.append(_of_things(named, most=NAMED_BESIDE if len(of_homes) > 1 else NAMED_ALONE))
    return said or [Said("Nothing needs you today.", "")]


def _opening(section: Section) -> Said:
    fact, comma, rest = _part(section).partition(",")
    return Said(_capital(fact) + (comma or "."), f"{rest.strip()}." if comma else "")


def _of_homes(sections: Sequence[Section]) -> Said:
    homes = [section.homes or frozenset() for section in sections]
    every, first = frozenset().union(*homes), frozenset().union(*homes[:NAMED])
    parts = words.listed([_part(section) for section in sections[:NAMED]])
    left = len(every - first)
    others = f"; {words.count(left, 'other home')} {'stands' if left == 1 else 'stand'} below" if left else ""
    return Said(f"{_capital(words.count(len(every), 'home'))} {'needs' if len(every) == 1 else 'need'} you today:", f"{parts}{others}.")


def _of_things(sections: Sequence[Section], *, most: int) -> Said:
    parts = [_part(section) for section in sections[:most]]
    if len(sections) > most:
        parts.append("more stands below")
    if len(parts) == 1:
        return Said(f"{_capital(parts[0])}.", "")
    comma = "," if len(parts) > 2 else ""
    return Said(f"{_capital(parts[0])}{comma}", f"{words.listed(parts[1:]) if comma else f'and {parts[1]}'}.")


def _part(section: Section) -> str:
    assert section.says is not None  # the caller asked
    return section.says(section.count)


def _capital(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]
