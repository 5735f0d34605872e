"""A file seen through its kind: its table, its columns, what is open, and every row checked as the records are now. Writes nothing.

The database side of reading; `jobs.core.sheets` is the pure frame, `jobs.core.importing` keeps and applies. Each kind is a small class in
its app's `imports.py`, registered when the app is ready.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from jobs.core import files, sheets, words
from jobs.core.actors import Actor
from jobs.core.models import ImportRun, StoredFile
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.sheets import CheckedRow, Choices, ChoicesRefused, Kind, Matching, Preview, RowError, Sheet, SheetRefused, hints
from jobs.core.sheets.choices import RESERVED
from jobs.core.sheets.days import ORDERS, Order
from jobs.core.sheets.parsers import plain

_REMEMBERED = 40  # imports of the kind that are looked through for what was chosen before

_kinds: dict[str, Kind] = {}


def register(kind: Kind) -> None:
    """Once under its name, however often the app is made ready."""
    columns, questions = ({one.name for one in some} for some in (kind.columns, kind.questions))
    names = columns & questions | (columns | questions) & set(RESERVED)
    assert not names, f"columns or questions of {kind.name} have a name that another has: {names}"
    _kinds[kind.name] = kind


def kinds_for(by: Actor) -> list[Kind]:
    """The kinds that this person may bring in."""
    return [kind for _, kind in sorted(_kinds.items()) if by.may(kind.right)]


def kind_named(name: str) -> Kind:
    if name not in _kinds:
        raise Refused(f"There is no kind of import named {name}; wanted one of: {', '.join(sorted(_kinds))}.", field="kind")
    return _kinds[name]


@dataclass(frozen=True)
class Looked:
    """A file seen through its kind. While `problems` stand, no row has been checked; nor where only the table was asked for."""

    kind: Kind
    sheet: Sheet
    matching: Matching
    choices: Choices
    problems: tuple[str, ...]
    orders: Mapping[str, Order] = field(default_factory=dict)
    notes: tuple[str, ...] = ()  # sentences about what was found, left out or may be lost
    days: tuple[hints.DayQuestion, ...] = ()
    proposals: tuple[hints.Proposal, ...] = ()
    unknown: tuple[hints.Unknown, ...] = ()
    remembered: frozenset[str] = frozenset()  # columns matched as somebody chose before
    rows: tuple[CheckedRow, ...] = ()
    preview: Preview | None = None

    @property
    def good(self) -> list[CheckedRow]:
        return [row for row in self.rows if row.good]

    @property
    def wrong(self) -> list[CheckedRow]:
        return [row for row in self.rows if not row.good]

    @property
    def errors(self) -> list[RowError]:
        return [error for row in self.rows for error in row.errors]

    def checked(
        self, rows: Sequence[sheets.SheetRow] | None = None, *, cells_read: Callable[[], object] = lambda: None
    ) -> list[CheckedRow]:
        """All rows of the sheet, or these of them, checked as the records are now."""

        def check_all(read: Sequence[CheckedRow]) -> Iterable[sheets.Objection]:
            cells_read()
            return self.kind.check_all(read)

        table = self.sheet if rows is None else dataclasses.replace(self.sheet, rows=tuple(rows))
        return sheets.check(
            table,
            self.matching,
            self.kind.columns,
            check_all=check_all,
            answers=self.choices.answers,
            orders=self.orders,
            values=self.choices.values,
        )


# The steps of checking a file, and how many tenths of the work are done once each is. Measured on lists of 2,500 homes: a tenth is
# reading the file, a fifth its cells, a third each row beside the others and the records, the rest what applying would do.
OPENED, CELLS, ROWS = 1, 3, 6


def look(run: ImportRun, *, by: Actor, told: Callable[[int], object] = lambda tenths: None) -> Looked:
    """Check every row of the file as the records are now. `told`: called after each step."""
    looked = opened(run, by=by)
    told(OPENED)
    return _with_rows(looked, told)


def look_at(kind: str, *, name: str, data: bytes, columns: Mapping[str, Any], by: Actor) -> Looked:
    """The same for a file that is not kept."""
    return _with_rows(opened_file(kind, name=name, data=data, columns=columns, by=by), lambda tenths: None)


def opened(run: ImportRun, *, by: Actor) -> Looked:
    """The table, its columns and what is open, without checking the rows."""
    data = files.read(StoredFile.objects.get(sha256=run.sha256))
    return opened_file(run.kind, name=run.name, data=data, columns=run.columns, by=by)


def opened_file(kind: str, *, name: str, data: bytes, columns: Mapping[str, Any], by: Actor) -> Looked:
    asked(kind, by)
    known = kind_named(kind)
    chosen = choices_of(kind, columns)
    memory = _Memory.of(kind)
    sheet = read(known, name=name, data=data, chosen=chosen, memory=memory)
    given = dict(chosen.columns)
    remembered = memory.columns_of(sheet, known) if not given else {}
    matching = sheets.match(sheet.headings, known.columns, given | remembered)
    names = {column.name: tuple(column.known()) for column in known.columns if column.known is not None}
    chosen = dataclasses.replace(chosen, values=memory.values_of(names, chosen.values))
    orders, days = hints.orders(sheet, matching, known.columns, chosen.orders)
    problems = (
        *matching.sentences(),
        *_unanswered(known, chosen.answers),
        *_undecided(days),
        *_beyond_rights(known, matching, by),
    )
    return Looked(
        kind=known,
        sheet=sheet,
        matching=matching,
        choices=chosen,
        problems=problems,
        orders=orders,
        notes=(*sheet.notes, *hints.losses(sheet, matching, known.columns)),
        days=tuple(days),
        proposals=tuple(hints.proposals(sheet, matching, known.columns, names)) if not given else (),
        unknown=tuple(hints.unknown_names(sheet, matching, known.columns, names, chosen.values)),
        remembered=frozenset(remembered),
    )


def _with_rows(looked: Looked, told: Callable[[int], object]) -> Looked:
    if looked.problems:
        return looked
    rows = tuple(looked.checked(cells_read=lambda: told(CELLS)))
    told(ROWS)
    return dataclasses.replace(looked, rows=rows, preview=looked.kind.preview([row for row in rows if row.good]))


def read(kind: Kind, *, name: str, data: bytes, chosen: Choices, memory: _Memory | None = None) -> Sheet:
    calls = {call for column in kind.columns for call in column.calls()}
    calls |= {plain(heading) for heading in chosen.columns.values() if heading}
    calls |= set(memory.columns) if memory else set()
    try:
        return sheets.read(name, data, calls=calls, place=chosen.place)
    except SheetRefused as refusal:
        raise Refused(str(refusal), field="file") from refusal


def choices_of(kind_name: str, told: Mapping[str, Any]) -> Choices:
    kind = kind_named(kind_name)
    try:
        return sheets.choices(
            told, columns=[column.name for column in kind.columns], questions=[question.name for question in kind.questions]
        )
    except ChoicesRefused as refusal:
        raise Refused(str(refusal), field="columns") from refusal


def asked(kind: str, by: Actor) -> None:
    right = kind_named(kind).right
    if not by.may(right):
        raise NotAllowed(f"{by.name} may not bring in {kind}; it needs the right “{right}”.")


@dataclass(frozen=True)
class _Memory:
    """What people chose in earlier imports of the kind, the newest first: by heading its column, by column what a name meant."""

    columns: Mapping[str, str]
    values: Mapping[str, Mapping[str, str]]

    @classmethod
    def of(cls, kind: str) -> _Memory:
        columns: dict[str, str] = {}
        values: dict[str, dict[str, str]] = {}
        runs = ImportRun.objects.filter(kind=kind, started_at__isnull=False, taken_back_at__isnull=True).exclude(columns={})
        known = {column.name for column in kind_named(kind).columns}
        for told in runs.order_by("-pk").values_list("columns", flat=True)[:_REMEMBERED]:
            for name, heading in told.items():
                if name in known and isinstance(heading, str) and heading.strip():
                    columns.setdefault(plain(heading), name)
            for name, meant in told.get("values", {}).items():
                for written, name_meant in meant.items():
                    values.setdefault(name, {}).setdefault(written, name_meant)
        return cls(columns, values)

    def columns_of(self, sheet: Sheet, kind: Kind) -> dict[str, str]:
        """By column the heading that was chosen for it before and that names would not find by themselves."""
        by_name = sheets.match(sheet.headings, kind.columns)
        found: dict[str, str] = {}
        for heading in sheet.headings:
            name = self.columns.get(plain(heading)) if heading else None
            if name and name not in found and by_name.heading(name) != heading and sheet.headings.count(heading) == 1:
                found[name] = heading
        return found

    def values_of(self, names: Mapping[str, Sequence[str]], given: Mapping[str, Mapping[str, str]]) -> dict[str, dict[str, str]]:
        return {
            name: {written: meant for written, meant in self.values.get(name, {}).items() if meant in known} | dict(given.get(name, {}))
            for name, known in names.items()
        }


def _unanswered(kind: Kind, answers: Mapping[str, str]) -> Iterator[str]:
    for question in kind.questions:
        if answers.get(question.name) not in question.choices:
            ways = words.listed([f"“{choice}”" for choice in question.choices.values()], last="or")
            yield f"{question.words} An answer is wanted: {ways}."


def _undecided(days: Sequence[hints.DayQuestion]) -> Iterator[str]:
    for question in days:
        yield f"{question.words} An answer is wanted: {words.listed(list(ORDERS.values()), last='or')}."


def _beyond_rights(kind: Kind, matching: Matching, by: Actor) -> Sequence[str]:
    beyond = sorted(matching.places[c.name] for c in kind.columns if c.right and c.name in matching.places and not by.may(c.right))
    if not beyond:
        return ()
    named = words.listed([f"“{matching.headings[place]}”" for place in beyond])
    verb = "sets" if len(beyond) == 1 else "set"
    return (f"{named} {verb} amounts of money, which your role may not do: leave them out, or let someone who may bring the file in.",)
