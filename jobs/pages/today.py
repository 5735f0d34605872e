"""Today: who must act next, on what, since when; gathered from every app for the person who looks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from jobs.core import clock, due, words
from jobs.core.actors import actor
from jobs.core.attention import Attention, Figure, Row, Section
from jobs.core.models import User
from jobs.core.web import signed_in
from jobs.pages import frame, gather

NAMED = 3  # sections that the first sentence names
FIGURES = 3
FIGURES_FIRST = ("jobs.core", "billing")


@dataclass(frozen=True)
class Lead:
    """The first sentence: its fact in bold, and the rest."""

    fact: str
    rest: str


@dataclass(frozen=True)
class Listed:
    """A section as the page draws it: each cell beside its column's heading, which stacked rows repeat."""

    section: Section
    rows: tuple[tuple[Row, tuple[tuple[str, str], ...]], ...]

    @classmethod
    def of(cls, section: Section) -> Listed:
        # The first heading is the margin's, the second the title's, the last the act's.
        between = section.headings[2:-1]
        return cls(section, tuple((row, tuple(zip(between, row.cells, strict=True))) for row in section.rows))


@signed_in
@require_safe
def today(request: HttpRequest) -> HttpResponse:
    user = actor(request).user
    assert user is not None
    found = gathered(user)
    here = clock.now().astimezone(ZoneInfo(frame.company(request).zone))
    context = {
        "lead": lead(found.sections),
        "figures": found.figures,
        # What is empty closes to one line, below what is not.
        "sections": [Listed.of(section) for section in found.sections if section.rows],
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


def lead(sections: Sequence[Section]) -> Lead:
    """One sentence that could be said aloud, made from the sections' own counts."""
    full = [section for section in sections if section.count]
    total = sum(section.count for section in full)
    if not total:
        return Lead("Nothing needs you today.", "")
    named = [said(section) for section in full[:NAMED]]
    others = sum(section.count for section in full[NAMED:])
    if others:
        named.append("one more below" if others == 1 else f"{words.count(others, 'other')} below")
    fact = words.count(total, "thing")
    return Lead(f"{fact[:1].upper()}{fact[1:]} {'needs' if total == 1 else 'need'} you today:", f"{words.listed(named)}.")


def said(section: Section) -> str:
    """A section's count and title as part of a sentence: "five promises overdue", "one next act due", "six under “Overdue”"."""
    title = (section.title[:1].lower() + section.title[1:]).split(" ")
    place = next((place for place, word in enumerate(title[:2]) if _singular(word)), None)
    number = words.count(section.count, "thing").partition(" ")[0]
    if place is None:
        return f"{number} under “{section.title}”"
    if section.count == 1:
        title[place] = _singular(title[place])
    return " ".join([number, *title])


def _singular(noun: str) -> str:
    """The singular of a plural that words.plural makes, or nothing where the word is none: "ready"."""
    if not noun.endswith("s"):
        return ""
    hissed = noun[:-2].endswith(("ss", "x", "ch", "sh"))  # boxes, but not promises
    one = f"{noun[:-3]}y" if noun.endswith("ies") else noun[:-2] if hissed else noun[:-1]
    return one if one and words.plural(one) == noun else ""
