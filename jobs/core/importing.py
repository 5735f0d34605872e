"""A file brought in: kept, applied in chunks, dropped, taken back. The database side of the pure frame in `jobs.core.sheets`.

run = prepare("jobs", name="jobs.csv", data=data, columns={}, by=by)    # the bytes are kept; nothing else is written
looked = look(run, by=by)                                             # every row checked, and what applying would do
run = apply(run, good_rows_only=False, by=by)                         # or, killed half way, the same call again
run = take_back(run, by=by)                                           # while nothing was built on it
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import hashlib
import logging
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from django.db import DataError, IntegrityError, OperationalError, transaction

from jobs.core import clock, files, journal, sheets, takingback, words
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.looking import Looked, _kinds, asked, choices_of, kind_named, kinds_for, look, look_at, opened, read, register
from jobs.core.models import ImportChunk, ImportRefusal, ImportRun
from jobs.core.refusals import Refused
from jobs.core.sheets import CheckedRow, Matching, RowError

__all__ = [
    "CHUNK", "Looked", "_kinds", "apply", "apply_chunk", "check_whole", "drop", "importer", "kind_named", "kinds_for", "left_half_done",
    "look", "look_at", "match_columns", "opened", "prepare", "refused", "register", "rows_to_mend", "standing_still", "start", "take_back",
]  # fmt: skip

CHUNK: Final = 50  # rows in one transaction: killed at any moment, at most these are done again
LARGE: Final = 2_000  # rows of a file that is checked in the background, for no page can wait so long
MOST_SHOWN: Final = 200  # errors on a page; the file holds all
_TRIES = 3

log = logging.getLogger(__name__)


def importer(by: Actor) -> Actor:
    """The same person, by import: what they record this way owes nobody a message and drafts no invoice."""
    return dataclasses.replace(by, source="import")


@act(right="core.see_jobs")
def prepare(kind: str, *, name: str, data: bytes, columns: Mapping[str, Any], by: Actor) -> ImportRun:
    """Keep a file to be looked at. `columns`: what is said of it by hand (`jobs.core.sheets.choices`)."""
    asked(kind, by)
    sheet = read(kind_named(kind), name=name, data=data, chosen=choices_of(kind, columns))
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
def match_columns(run: ImportRun, *, columns: Mapping[str, Any], by: Actor) -> ImportRun:
    """Say by hand which heading is which column, and what else of the file is not plain; a blank heading leaves a column out."""
    asked(run.kind, by)
    if run.started_at or run.dropped_at:
        raise Refused("This import has been begun or dropped; its columns stay as they are. Bring the file in again.")
    choices_of(run.kind, columns)
    run.columns = dict(columns)
    run.rows_total = len(opened(run, by=by).sheet.rows)  # another sheet, or another row of headings, has other rows
    run.checked, run.counts = {}, {}
    run.refusals.all().delete()
    run.save(update_fields=["columns", "rows_total", "checked", "counts"])
    return run


@act(right="core.see_jobs", on=ImportRun)
def check_whole(run: ImportRun, *, by: Actor, looked: Looked | None = None) -> ImportRun:
    """Check every row and keep what was found, for a file too long to be checked while a page waits."""
    asked(run.kind, by)
    if run.started_at or run.dropped_at:
        raise Refused("This import has been begun or dropped; its rows are checked as they are applied.")
    _keep_checked(run, looked or look(run, by=by))
    return run


def note_checking(run: ImportRun, *, tenths: int) -> None:
    """How far the checking of a long file has come, for its page; not where it was begun, dropped or matched anew meanwhile."""
    waiting = ImportRun.objects.filter(pk=run.pk, columns=run.columns, checked={}, started_at__isnull=True, dropped_at__isnull=True)
    waiting.update(counts={"checking": tenths, "at": clock.now().isoformat()})


def _keep_checked(run: ImportRun, looked: Looked) -> None:
    run.refusals.all().delete()
    _refuse(run, looked.errors)
    wrong = len(looked.wrong)
    run.rows_total = len(looked.sheet.rows)
    run.checked = {
        "at": clock.now().isoformat(),
        "problems": list(looked.problems),
        "good": len(looked.rows) - wrong,
        "wrong": wrong,
        "preview": dataclasses.asdict(looked.preview) if looked.preview else None,
    }
    run.save(update_fields=["rows_total", "checked"])


def _refuse(run: ImportRun, errors: Sequence[RowError]) -> None:
    ImportRefusal.objects.bulk_create(
        [ImportRefusal(run=run, row=error.row, column=error.column, value=error.value, wanted=error.wanted) for error in errors],
        batch_size=1_000,
    )


@act(right="core.see_jobs", on=ImportRun)
def start(run: ImportRun, *, good_rows_only: bool, by: Actor, looked: Looked | None = None) -> ImportRun:
    """Decide to apply. All, which is refused while one row is wrong; or the good rows."""
    asked(run.kind, by)
    if run.dropped_at:
        raise Refused("This import was dropped; bring the file in again.")
    if run.started_at:
        raise Refused("This import has been begun already; its progress is on its page.")
    if looked or not run.checked:
        looked = looked or look(run, by=by)
        if looked.problems:
            raise Refused(" ".join(looked.problems))
        _keep_checked(run, looked)
    if run.checked["problems"]:
        raise Refused(" ".join(run.checked["problems"]))
    if run.checked["wrong"] and not good_rows_only:
        raise Refused(
            f"{words.count(run.checked['wrong'], 'row').capitalize()} of {words.number(run.rows_total)} need correcting: mend them and "
            "bring the file in again, or apply the good rows only."
        )
    if not run.checked["good"]:
        raise Refused("No row of this file can be applied: mend the rows and bring the file in again.")
    run.started_at = clock.now()
    run.good_rows_only = good_rows_only
    run.counts = {"new": 0, "changed": 0, "unchanged": 0, "left_out": 0, "at": clock.now().isoformat()}
    run.by, run.by_name = by.user, by.name  # whoever applies it is who says these facts
    run.save(update_fields=["started_at", "good_rows_only", "counts", "by", "by_name"])
    return run


@act(right="core.see_jobs", on=ImportRun)
def apply_chunk(run: ImportRun, *, by: Actor, looked: Looked | None = None) -> ImportRun:
    """The next rows of a begun import, how far it has come, and what was written, in one transaction."""
    asked(run.kind, by)
    if run.dropped_at:
        raise Refused("This import was stopped; what it had applied stands.")
    if run.started_at is None or run.finished_at:
        raise Refused("This import has not been begun, or has been applied already.")
    # Two imports that write the same homes in another order would each hold what the other wants.
    one_at_a_time("import")
    looked = looked or opened(run, by=by)
    rows = looked.sheet.rows[run.rows_done : run.rows_done + CHUNK]
    # What the whole file showed to be wrong, such as a double, stays wrong; the others are checked as the records are by now.
    known = set(run.refusals.filter(row__in=[row.number for row in rows]).values_list("row", flat=True))
    checked = looked.checked([row for row in rows if row.number not in known])
    good = [row for row in checked if row.good]
    errors = [error for row in checked for error in row.errors]
    looked.kind.hold(good)
    with journal.kept() as written:
        done = _apply_together(looked.kind, good, by=importer(by))
        for what in done or ():
            run.counts[what] += 1
        for row in good if done is None else ():
            errors += _apply_row(run, looked.kind, looked.matching, row, by=importer(by))
    _refuse(run, errors)
    run.counts["left_out"] += len(known) + len({error.row for error in errors})
    if (entries := written.entries()) or written.beyond():
        ImportChunk.objects.create(run=run, first_row=rows[0].number, last_row=rows[-1].number, written=entries, beyond=written.beyond())
    run.rows_done += len(rows)
    run.counts["at"] = clock.now().isoformat()
    if run.rows_done >= run.rows_total:
        run.finished_at = clock.now()
    run.save(update_fields=["rows_done", "counts", "finished_at"])
    return run


def _apply_together(kind: sheets.Kind, rows: Sequence[CheckedRow], *, by: Actor) -> Sequence[sheets.Applied] | None:
    """All of them at once, where the kind can and nothing stands against it; None where they are to be applied one by one."""
    if not isinstance(kind, sheets.Together):
        return None
    try:
        with transaction.atomic():
            return kind.apply_together(rows, by)
    except (Refused, IntegrityError, DataError):
        return None  # one by one it is known which row it was


def _apply_row(run: ImportRun, kind: sheets.Kind, matching: Matching, row: CheckedRow, *, by: Actor) -> list[RowError]:
    """One row whole or not at all. What it meets only now, such as a record made since the file was looked at, is given back."""
    try:
        with transaction.atomic():
            done = kind.apply_row(row, by)
    except Refused as refusal:
        return [_at(row, matching, refusal.field or "", str(refusal))]
    except (IntegrityError, DataError) as fault:
        log.warning("row %s of import %s: %s", row.number, run.pk, fault)
        return [RowError(row.number, "", "", "The records changed while this row was applied, or a value has no room: send the row again.")]
    run.counts[done] += 1
    return []


def _at(row: CheckedRow, matching: Matching, column: str, wanted: str) -> RowError:
    written = sheets.cell_text(row.row.cells[matching.places[column]]) if column in matching.places else ""
    return RowError(row.number, matching.heading(column), written, wanted)


def apply(
    run: ImportRun,
    *,
    by: Actor,
    good_rows_only: bool = False,
    turn: dt.timedelta | None = None,
    after_chunk: Callable[[ImportRun], object] | None = None,
) -> ImportRun:
    """Apply the file, or go on where it was left. `turn`: begin no chunk after so long; call again to go on."""
    if run.finished_at:
        return run
    if run.started_at is None:
        run = start(run, good_rows_only=good_rows_only, by=by)
    looked = opened(run, by=by)
    if looked.problems:
        raise Refused(" ".join(looked.problems))
    # From here, for a long file takes long to open; and one chunk at least, for a turn that only opens it would come to no end.
    until = clock.now() + turn if turn else None
    while run.finished_at is None:
        run = _chunk(run, looked, by=by)
        if after_chunk:
            after_chunk(run)
        if until is not None and clock.now() >= until:
            break
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
    asked(run.kind, by)
    if run.finished_at:
        raise Refused("This import has been applied already; take it back, or correct what is wrong in it on the records' own pages.")
    if run.dropped_at:
        raise Refused("This import has been dropped already.")
    run.dropped_at = clock.now()
    run.save(update_fields=["dropped_at"])
    return run


@act(right="core.see_jobs", on=ImportRun)
def take_back(run: ImportRun, *, by: Actor) -> ImportRun:
    """Undo all that an import wrote, as if it had not been; refused where something was built on it."""
    asked(run.kind, by)
    if run.taken_back_at:
        raise Refused("This import has been taken back already.")
    if not (run.finished_at or run.dropped_at):
        raise Refused("This import is not applied or still being applied: drop it first.")
    if not run.rows_done:
        raise Refused("Nothing of this import was written; there is nothing to take back.")
    one_at_a_time("import")
    takingback.undo(run)
    run.taken_back_at, run.taken_back_by_name = clock.now(), by.name
    run.save(update_fields=["taken_back_at", "taken_back_by_name"])
    return run


def refused(run: ImportRun) -> list[RowError]:
    return [RowError(one.row, one.column, one.value, one.wanted) for one in run.refusals.all()]


def rows_to_mend(run: ImportRun, looked: Looked) -> list[CheckedRow]:
    """The rows that are wrong, and those that were refused only when they were applied."""
    if not (run.started_at or run.checked):
        return looked.wrong
    errors: dict[int, list[RowError]] = {}
    for error in refused(run):
        errors.setdefault(error.row, []).append(error)
    rows = [row for row in looked.sheet.rows if row.number in errors]
    return [CheckedRow(row, {}, tuple(errors[row.number])) for row in rows]


def left_half_done(kind: str, *, data: bytes, columns: Mapping[str, Any], by: Actor) -> ImportRun | None:
    """A begun import of the same file by the same actor, to be gone on with."""
    begun = ImportRun.objects.filter(started_at__isnull=False, finished_at__isnull=True, dropped_at__isnull=True)
    same = begun.filter(kind=kind, sha256=hashlib.sha256(data).hexdigest(), by=by.user, by_name=by.name)
    return next((run for run in same if run.columns == dict(columns)), None)


def standing_still(*, since: dt.timedelta) -> list[int]:
    """Numbers of the begun imports on which nobody seems to work: their worker was killed, or its message was lost."""
    open_runs = ImportRun.objects.filter(started_at__isnull=False, finished_at__isnull=True, dropped_at__isnull=True)
    return [run.pk for run in open_runs if clock.now() - dt.datetime.fromisoformat(run.counts["at"]) > since]


def unchecked(*, since: dt.timedelta) -> list[int]:
    """Numbers of the long files that were brought in and not checked: their worker was killed, or its message was lost."""
    waiting = ImportRun.objects.filter(
        rows_total__gt=LARGE, checked={}, started_at__isnull=True, dropped_at__isnull=True, created_at__lt=clock.now() - since
    )
    waiting = waiting.filter(created_at__gt=clock.now() - dt.timedelta(days=1))
    return [run.pk for run in waiting if not run.counts or clock.now() - dt.datetime.fromisoformat(run.counts["at"]) > since]
