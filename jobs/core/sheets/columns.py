"""The columns that a kind of import knows, and which heading of a sheet is which of them. Pure."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from jobs.core.sheets.cells import SheetRefused
from jobs.core.sheets.parsers import Parser, plain, text

_short_text = text()


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a kind. `name` is for programs, `label` and `aliases` are what a heading may say.

    `wanted` ends the sentence "... is wanted": "the day the request was sent, such as 3 Jun 2026". `right`: what a person must hold,
    beyond the kind's own right, to fill this column. `code`: figures by which something is known, of which every digit counts.
    `known`: the names of which a cell must be one, where it can be asked for; what is written otherwise is proposed.
    """

    name: str
    label: str
    aliases: tuple[str, ...] = ()
    required: bool = False
    parse: Parser = _short_text
    wanted: str = ""
    right: str = ""
    code: bool = False
    known: Callable[[], Iterable[str]] | None = None

    def calls(self) -> list[str]:
        """What a heading may say, the surest first, as `plain` writes it."""
        return list(dict.fromkeys(plain(call) for call in (self.label, self.name, *self.aliases)))

    def empty_sentence(self) -> str:
        return f"{self.label} is empty: {self.wanted or 'a value'} is wanted."


@dataclass(frozen=True, slots=True)
class Matching:
    """Which heading is which column.

    `places` gives for each column found its place in the sheet's rows, from 0. `problems` are sentences about a map or about headings
    that leave two ways open.
    """

    headings: tuple[str, ...]
    places: Mapping[str, int]
    missing: tuple[Column, ...]
    unused: tuple[str, ...]
    problems: tuple[str, ...]

    @property
    def complete(self) -> bool:
        return not self.missing and not self.problems

    def heading(self, name: str) -> str:
        """The heading of a column, or nothing where the sheet has none for it."""
        return self.headings[self.places[name]] if name in self.places else ""

    def sentences(self) -> list[str]:
        """What keeps the rows from being checked."""
        return [
            *self.problems,
            *(
                f"No column for {column.label} was found: a column of that name, or one matched to it, is wanted."
                for column in self.missing
            ),
        ]

    def refuse_if_incomplete(self) -> None:
        if not self.complete:
            raise SheetRefused(" ".join(self.sentences()))


def match(headings: Sequence[str], columns: Sequence[Column], given: Mapping[str, str] | None = None) -> Matching:
    """Headings to columns by name and alias, except where `given` ({column name: heading}) says so; a blank heading leaves a column out."""
    given = given or {}
    by_plain: dict[str, list[int]] = {}
    for place, heading in enumerate(headings):
        if heading:
            by_plain.setdefault(plain(heading), []).append(place)

    places, problems = _given(given, headings=headings, by_plain=by_plain, known={column.name: column for column in columns})
    taken = set(places.values())
    # By rank and not by column, so that a column's own label always goes before another column's alias.
    most = max((len(column.calls()) for column in columns), default=0)
    for rank in range(most):
        for column in columns:
            calls = column.calls()
            if column.name in places or column.name in given or rank >= len(calls):
                continue
            free = [place for place in by_plain.get(calls[rank], []) if place not in taken]
            if len(free) > 1:
                problems.append(_twice(headings[free[0]], label=column.label))
            if free:
                places[column.name] = free[0]
                taken.update(free)

    return Matching(
        headings=tuple(headings),
        places=places,
        missing=tuple(column for column in columns if column.required and column.name not in places),
        unused=tuple(heading for place, heading in enumerate(headings) if heading and place not in taken),
        problems=tuple(problems),
    )


def _given(
    given: Mapping[str, str], *, headings: Sequence[str], by_plain: Mapping[str, list[int]], known: Mapping[str, Column]
) -> tuple[dict[str, int], list[str]]:
    """Places and problems of a map that a person wrote."""
    places: dict[str, int] = {}
    problems: list[str] = []
    for name, heading in given.items():
        heading = heading.strip()
        if name not in known:
            problems.append(f"The map names a column {name}, which is not one: {', '.join(known)} are the columns.")
            continue
        if not heading:
            continue
        found = [place for place, other in enumerate(headings) if other == heading] or by_plain.get(plain(heading), [])
        if not found:
            problems.append(
                f'The map names "{heading}" for {known[name].label}, and the sheet has no such heading: one of its own is wanted.'
            )
        elif len(found) > 1:
            problems.append(_twice(headings[found[0]], label=known[name].label))
        elif found[0] in places.values():
            problems.append(f'The map gives the heading "{heading}" to two columns: one column for each heading is wanted.')
        else:
            places[name] = found[0]
    return places, problems


def _twice(heading: str, *, label: str) -> str:
    return f'The heading "{heading}" stands more than once and could be {label}: rename or delete all but one.'
