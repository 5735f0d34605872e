"""A file brought in: kept, looked at, applied in chunks, dropped. The database side of the pure frame in `jobs.core.sheets`.

    run = prepare("jobs", name="jobs.csv", data=data, columns={}, by=by)    # the bytes are kept; nothing else is written
    looked = look(run, by=by)                                             # every row checked, and what applying would do
    run = apply(run, good_rows_only=False, by=by)                         # or, killed half way, the same call again

Each kind is a small class in its app's `imports.py`, registered when the app is ready.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from django.db import DataError, IntegrityError, OperationalError, transaction

from jobs.core import clock, files, sheets, words
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.models import ImportRun, StoredFile
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.sheets import CheckedRow, Kind, Matching, Preview, RowError, Sheet, SheetRefused

CHUNK = 50  # rows in one transaction: killed at any moment, at most these are done again
_TRIES = 3

log = logging.getLogger(__name__)

_kinds: dict[str, Kind] = {}


def register(kind: Kind) -> None:
    """Once under its name, however often the app is made ready."""
    names = {column.name for column in kind.columns} & {question.name for question in kind.questions}
    assert not names, f"a question and a column of {kind.name} have the same name: {names}"
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
    """A file seen through its kind. While `problems` stand, no row has been checked."""

    kind: Kind
    sheet: Sheet
    matching: Matching
    problems: tuple[str, ...]
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


def importer(by: Actor) -> Actor:
    """The same person, by import: what they record this way owes nobody a message and drafts no invoice."""
    return dataclasses.replace(by, source="import")


@act(right="core.see_jobs")
def prepare(kind: str, *, name: str, data: bytes, columns: Mapping[str, str], by: Actor) -> ImportRun:
    """Keep a file to be looked at. `columns`: column name to heading where a name does not match, and question to answer."""
    _asked(kind, by)
    sheet = _read(name, data)
    _known_names(kind, columns)
    return ImportRun.objects.create(
        kind=kind,
        name=sheet.name[-160:],
        sha256=files.store(data).sha256,
        columns=dict(columns),
        rows_total=len(sheet.rows),
        by=by.user,
        by_name=by.name,
    )


@act(right="core.see_jobs", on=ImportRun)
def match_columns(run: ImportRun, *, columns: Mapping[str, str], by: Actor) -> ImportRun:
    """Say by hand which heading is which column; a blank heading leaves a column out."""
    _asked(run.kind, by)
    if run.started_at or run.dropped_at:
        raise Refused("This import has been begun or dropped; its columns stay as they are. Bring the file in again.")
    _known_names(run.kind, columns)
    run.columns = dict(columns)
    run.save(update_fields=["columns"])
    return run


def look(run: ImportRun, *, by: Actor) -> Looked:
    """Check every row of the file as the records are now. Writes nothing."""
    data = files.read(StoredFile.objects.get(sha256=run.sha256))
    return look_at(run.kind, name=run.name, data=data, columns=run.columns, by=by)


def look_at(kind: str, *, name: str, data: bytes, columns: Mapping[str, str], by: Actor) -> Looked:
    """The same for a file that is not kept."""
    _asked(kind, by)
    _known_names(kind, columns)
    known = kind_named(kind)
    sheet = _read(name, data)
    answers, given = _split(known, columns)
    matching = sheets.match(sheet.headings, known.columns, given)
    problems = (*matching.sentences(), *_unanswered(known, answers), *_beyond_rights(known, matching, by))
    if problems:
        return Looked(known, sheet, matching, problems)
    rows = tuple(sheets.check(sheet, matching, known.columns, check_all=known.check_all, answers=answers))
    return Looked(known, sheet, matching, (), rows, known.preview([row for row in rows if row.good]))


@act(right="core.see_jobs", on=ImportRun)
def start(run: ImportRun, *, good_rows_only: bool, by: Actor, looked: Looked | None = None) -> ImportRun:
    """Decide to apply. All, which is refused while one row is wrong; or the good rows."""
    _asked(run.kind, by)
    if run.dropped_at:
        raise Refused("This import was dropped; bring the file in again.")
    if run.started_at:
        raise Refused("This import has been begun already; its progress is on its page.")
    looked = looked or look(run, by=by)
    if looked.problems:
        raise Refused(" ".join(looked.problems))
    wrong = len(looked.wrong)
    if wrong and not good_rows_only:
        raise Refused(
            f"{words.count(wrong, 'row').capitalize()} of {words.number(len(looked.rows))} need correcting: mend them and bring the "
            "file in again, or apply the good rows only."
        )
    if not looked.good:
        raise Refused("No row of this file can be applied: mend the rows and bring the file in again.")
    run.started_at = clock.now()
    run.good_rows_only = good_rows_only
    run.rows_total = len(looked.rows)
    run.counts = {"new": 0, "changed": 0, "unchanged": 0, "refused": [], "at": clock.now().isoformat()}
    run.by, run.by_name = by.user, by.name  # whoever applies it is who says these facts
    run.save(update_fields=["started_at", "good_rows_only", "rows_total", "counts", "by", "by_name"])
    return run


@act(right="core.see_jobs", on=ImportRun)
def apply_chunk(run: ImportRun, *, by: Actor, looked: Looked | None = None) -> ImportRun:
    """The next rows of a begun import, and how far it has come, in one transaction."""
    _asked(run.kind, by)
    if run.dropped_at:
        raise Refused("This import was stopped; what it had applied stands.")
    if run.started_at is None or run.finished_at:
        raise Refused("This import has not been begun, or has been applied already.")
    # Two imports that write the same homes in another order would each hold what the other wants.
    one_at_a_time("import")
    looked = looked or look(run, by=by)
    rows = looked.rows[run.rows_done : run.rows_done + CHUNK]
    looked.kind.hold([row for row in rows if row.good])
    for row in rows:
        _apply_row(run, looked, row, by=importer(by))
    run.rows_done += len(rows)
    run.counts["at"] = clock.now().isoformat()
    if run.rows_done >= run.rows_total:
        run.finished_at = clock.now()
    run.save(update_fields=["rows_done", "counts", "finished_at"])
    return run


def _apply_row(run: ImportRun, looked: Looked, row: CheckedRow, *, by: Actor) -> None:
    """One row whole or not at all. What it meets only now, such as a record made since the file was looked at, is listed."""
    errors = row.errors
    if not errors:
        try:
            with transaction.atomic():
                done = looked.kind.apply_row(row, by)
        except Refused as refusal:
            errors = (_at(row, looked.matching, refusal.field or "", str(refusal)),)
        except (IntegrityError, DataError) as fault:
            log.warning("row %s of import %s: %s", row.number, run.pk, fault)
            errors = (
                RowError(row.number, "", "", "The records changed while this row was applied, or a value has no room: send the row again."),
            )
        else:
            run.counts[done] += 1
    run.counts["refused"] += [list(dataclasses.astuple(error)) for error in errors]


def _at(row: CheckedRow, matching: Matching, column: str, wanted: str) -> RowError:
    written = sheets.cell_text(row.row.cells[matching.places[column]]) if column in matching.places else ""
    return RowError(row.number, matching.heading(column), written, wanted)


def apply(
    run: ImportRun,
    *,
    by: Actor,
    good_rows_only: bool = False,
    until: dt.datetime | None = None,
    after_chunk: Callable[[ImportRun], object] | None = None,
) -> ImportRun:
    """Apply the file, or go on where it was left. `until`: begin no chunk after this instant; call again to go on."""
    if run.finished_at:
        return run
    looked = look(run, by=by)
    if run.started_at is None:
        run = start(run, good_rows_only=good_rows_only, by=by, looked=looked)
    if looked.problems:
        raise Refused(" ".join(looked.problems))
    while run.finished_at is None and (until is None or clock.now() < until):
        run = _chunk(run, looked, by=by)
        if after_chunk:
            after_chunk(run)
    return run


def _chunk(run: ImportRun, looked: Looked, *, by: Actor) -> ImportRun:
    for tried in range(1, _TRIES + 1):
        try:
            return apply_chunk(run, by=by, looked=looked)
        except OperationalError:
            # A person's act and this chunk each held what the other wanted, and the database ended ours; nothing of it stands.
            if tried == _TRIES:
                raise
    raise AssertionError("unreachable")


@act(right="core.see_jobs", on=ImportRun)
def drop(run: ImportRun, *, by: Actor) -> ImportRun:
    """Drop an import: nothing of it is written; or, once begun, nothing more."""
    _asked(run.kind, by)
    if run.finished_at:
        raise Refused("This import has been applied already; what is wrong in it is corrected on the jobs' pages.")
    if run.dropped_at:
        raise Refused("This import has been dropped already.")
    run.dropped_at = clock.now()
    run.save(update_fields=["dropped_at"])
    return run


def rows_to_mend(run: ImportRun, looked: Looked) -> list[CheckedRow]:
    """The rows that are wrong, and those that were refused only when they were applied."""
    refused: dict[int, list[RowError]] = {}
    for number, *rest in run.counts.get("refused", []):
        refused.setdefault(number, []).append(RowError(number, *rest))
    if run.started_at:
        return [dataclasses.replace(row, errors=tuple(refused[row.number])) for row in looked.rows if row.number in refused]
    return looked.wrong


def left_half_done(kind: str, *, data: bytes, columns: Mapping[str, str], by: Actor) -> ImportRun | None:
    """A begun import of the same file by the same actor, to be gone on with."""
    begun = ImportRun.objects.filter(started_at__isnull=False, finished_at__isnull=True, dropped_at__isnull=True)
    same = begun.filter(kind=kind, sha256=hashlib.sha256(data).hexdigest(), by=by.user, by_name=by.name)
    return next((run for run in same if run.columns == dict(columns)), None)


def standing_still(*, since: dt.timedelta) -> list[int]:
    """Numbers of the begun imports on which nobody seems to work: their worker was killed, or its message was lost."""
    open_runs = ImportRun.objects.filter(started_at__isnull=False, finished_at__isnull=True, dropped_at__isnull=True)
    return [run.pk for run in open_runs if clock.now() - dt.datetime.fromisoformat(run.counts["at"]) > since]


def _asked(kind: str, by: Actor) -> None:
    right = kind_named(kind).right
    if not by.may(right):
        raise NotAllowed(f"{by.name} may not bring in {kind}; it needs the right “{right}”.")


def _read(name: str, data: bytes) -> Sheet:
    try:
        return sheets.read(name, data)
    except SheetRefused as refusal:
        raise Refused(str(refusal), field="file") from refusal


def _split(kind: Kind, given: Mapping[str, str]) -> tuple[dict[str, str], dict[str, str]]:
    """Answers to the kind's questions, and columns; a person's map holds both."""
    asked = {question.name for question in kind.questions}
    return {n: v for n, v in given.items() if n in asked}, {n: v for n, v in given.items() if n not in asked}


def _known_names(kind_name: str, given: Mapping[str, str]) -> None:
    kind = kind_named(kind_name)
    known = {column.name for column in kind.columns} | {question.name for question in kind.questions}
    if unknown := set(given) - known:
        raise Refused(f"The map names {', '.join(sorted(unknown))}; {', '.join(sorted(known))} are the columns.", field="columns")


def _unanswered(kind: Kind, answers: Mapping[str, str]) -> list[str]:
    return [
        f"{question.words} An answer is wanted: {words.listed([f'“{choice}”' for choice in question.choices.values()], last='or')}."
        for question in kind.questions
        if answers.get(question.name) not in question.choices
    ]


def _beyond_rights(kind: Kind, matching: Matching, by: Actor) -> Sequence[str]:
    beyond = sorted(matching.places[c.name] for c in kind.columns if c.right and c.name in matching.places and not by.may(c.right))
    if not beyond:
        return ()
    named = words.listed([f"“{matching.headings[place]}”" for place in beyond])
    verb = "sets" if len(beyond) == 1 else "set"
    return (f"{named} {verb} amounts of money, which your role may not do: leave them out, or let someone who may bring the file in.",)
