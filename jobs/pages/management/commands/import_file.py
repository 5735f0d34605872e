"""Bring in a file of one kind: shown first, written only with --apply."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.core import actors, importing, words
from jobs.core.importing import Looked
from jobs.core.models import ImportRun
from jobs.core.refusals import Refused
from jobs.core.sheets import CheckedRow, SheetRefused, errors_file, errors_workbook, refuse_too_large


class Command(BaseCommand):
    help = "Check every row of a file, print what applying would do and what is wrong; with --apply write it. Exit status 1 on any error."

    def add_arguments(self, parser: CommandParser) -> None:
        by = actors.command("import_file")
        parser.add_argument("kind", choices=[kind.name for kind in importing.kinds_for(by)], help="what the rows are")
        parser.add_argument("file", type=Path, help=".csv or .xlsx")
        parser.add_argument(
            "--columns", type=Path, help="JSON: column name to heading, question to answer, and what else a page would ask (README)"
        )
        parser.add_argument("--errors", type=Path, help="write the rows to correct to this .csv or .xlsx, to mend and bring in again")
        parser.add_argument("--apply", action="store_true", help="write; without it nothing is written")
        parser.add_argument("--good-rows", action="store_true", help="with --apply: leave out the rows that are wrong")
        parser.add_argument("--take-back", action="store_true", help="with --apply: undo the newest import of this very file")
        parser.add_argument("--json", action="store_true", help="for a program")

    def handle(self, *args: Any, kind: str, file: Path, **options: Any) -> None:
        if options["good_rows"] and not options["apply"]:
            raise CommandError("--good-rows says what --apply writes: give both.")
        if options["errors"] and options["errors"].suffix not in {".csv", ".xlsx"}:
            raise CommandError(f"“{options['errors'].name}” should end in .csv or .xlsx.")
        by = actors.command("import_file")
        columns = _map(options["columns"])
        try:
            refuse_too_large(file.name, file.stat().st_size)
            data = file.read_bytes()
        except OSError as fault:
            raise CommandError(f"{file} cannot be read: {fault.strerror}.") from fault
        except SheetRefused as refusal:
            raise CommandError(str(refusal)) from refusal
        if options["take_back"]:
            self._take_back(kind, data, apply=options["apply"])
            return
        try:
            looked = importing.look_at(kind, name=file.name, data=data, columns=columns, by=by)
            told = _told(looked)
            self._say(told, options)
            run = None
            if options["apply"]:
                if looked.problems or (looked.wrong and not options["good_rows"]):
                    self._end(looked.wrong, looked, told, options, why="Nothing was written.")
                run = importing.left_half_done(kind, data=data, columns=columns, by=by)
                run = run or importing.prepare(kind, name=file.name, data=data, columns=columns, by=by)
                run = importing.apply(
                    run, good_rows_only=options["good_rows"], by=by, after_chunk=None if options["json"] else self._progress
                )
        except Refused as refusal:
            raise CommandError(str(refusal)) from refusal
        wrong = importing.rows_to_mend(run, looked) if run else looked.wrong
        if run:
            told |= {"applied": {name: run.counts[name] for name in ("new", "changed", "unchanged")} | {"refused": len(wrong)}}
        self._end(wrong, looked, told, options, why=_result(run, wrong))

    def _take_back(self, kind: str, data: bytes, *, apply: bool) -> None:
        """Undo the newest import of this file that stands, whoever made it."""
        done = ImportRun.objects.filter(kind=kind, sha256=hashlib.sha256(data).hexdigest(), rows_done__gt=0, taken_back_at__isnull=True)
        run = done.order_by("-pk").first()
        if run is None:
            raise CommandError("No import of this file stands.")
        told = f"{run.name}, {words.count(run.rows_done, 'row')} applied by {run.by_name}"
        if not apply:
            self.stdout.write(f"{told}: would be taken back. Nothing was written: --apply writes.")
            return
        try:
            importing.take_back(run, by=actors.command("import_file"))
        except Refused as refusal:
            raise CommandError(str(refusal)) from refusal
        self.stdout.write(f"{told}: taken back.")

    def _progress(self, run: ImportRun) -> None:
        self.stdout.write(f"{words.number(run.rows_done)} of {words.number(run.rows_total)} rows done")
        self.stdout.flush()

    def _say(self, told: dict[str, Any], options: dict[str, Any]) -> None:
        if options["json"]:
            return
        for note in told["notes"]:
            self.stdout.write(note)
        for name in told["names"]:
            near = f"; near it: {words.listed(name['near'], last='or')}" if name["near"] else ""
            settled = f" is taken as “{name['settled']}”" if name["settled"] else " is not on record"
            self.stdout.write(f"“{name['written']}” in “{name['heading']}”, {words.count(name['rows'], 'row')},{settled}{near}.")
        for proposed in told["proposed"]:
            self.stdout.write(
                f"“{proposed['heading']}” may be {proposed['column']}: {proposed['why']}. It is not used until --columns says so."
            )
        for problem in told["problems"]:
            self.stdout.write(problem)
        if preview := told["preview"]:
            self.stdout.write(f"{told['ready']} of {told['rows']} rows are ready, {told['to_correct']} to correct.")
            self.stdout.write(f"{preview['new']} new, {preview['changed']} changed, {preview['unchanged']} unchanged.")
            for sentence in preview["words"]:
                self.stdout.write(f"{sentence.rstrip('.')}.")

    def _end(self, wrong: list[CheckedRow], looked: Looked, told: dict[str, Any], options: dict[str, Any], *, why: str) -> None:
        errors = [error for row in wrong for error in row.errors]
        told["errors"] = [dataclasses.asdict(error) for error in errors]
        if out := options["errors"]:
            # Always, so that the file of an earlier try is not taken for this one's.
            out.write_bytes(errors_workbook(looked.sheet, wrong) if out.suffix == ".xlsx" else _bytes(errors_file(looked.sheet, wrong)))
        if options["json"]:
            self.stdout.write(json.dumps(told, ensure_ascii=False))
        else:
            for error in errors:
                value = f" (“{error.value}”)" if error.value else ""
                self.stdout.write(f"Row {error.row}, {error.column or 'the whole row'}{value}: {error.wanted}")
            self.stdout.write(why)
        if wrong or looked.problems:
            sys.exit(1)


def _map(path: Path | None) -> dict[str, Any]:
    if path is None:
        return {}
    try:
        told = json.loads(path.read_bytes())
    except (OSError, ValueError) as fault:
        raise CommandError(f"{path} cannot be read as JSON: {fault}") from fault
    if not isinstance(told, dict):
        raise CommandError(f'{path} should hold one object of texts, such as {{"owner": "Customer name"}}.')
    return told


def _told(looked: Looked) -> dict[str, Any]:
    return {
        "kind": looked.kind.name,
        "problems": list(looked.problems),
        "notes": list(looked.notes),
        "names": [dataclasses.asdict(name) for name in looked.unknown],
        "proposed": [{"heading": looked.sheet.headings[one.place], "column": one.column, "why": one.why} for one in looked.proposals],
        "rows": len(looked.sheet.rows),
        "ready": len(looked.good),
        "to_correct": len(looked.wrong),
        "preview": dataclasses.asdict(looked.preview) if looked.preview else None,
    }


def _result(run: ImportRun | None, wrong: list[CheckedRow]) -> str:
    if run is None:
        return "Nothing was written: --apply writes."
    counts = run.counts
    done = f"Applied: {counts['new']} new, {counts['changed']} changed, {counts['unchanged']} unchanged"
    return f"{done}; {words.count(len(wrong), 'row')} left out." if wrong else f"{done}."


def _bytes(text: str) -> bytes:
    return f"\ufeff{text}".encode()
