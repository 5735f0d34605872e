"""Write a table to a file that a spreadsheet opens, or all of one job to a ZIP file."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.core import codes, csvout, words
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.pages import jobarchive
from jobs.pages.exports import kinds

WHOLE_JOB = "job"


class Command(BaseCommand):
    help = "Write one kind of table to a .csv or .xlsx file, as a filter NAME=VALUE narrows it; or all of one job: export job job=CODE."

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        # The usual way of parsing takes no filter after --out, because KIND before it has used up the filters, of which none stood there.
        parser.parse_args = parser.parse_intermixed_args  # type: ignore[method-assign]
        return parser

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("kind", choices=[*sorted(kinds()), WHOLE_JOB], help="what to write")
        parser.add_argument("--out", required=True, type=Path, help="file ending in .csv or .xlsx; of a whole job in .zip")
        parser.add_argument("--columns", default="", help="only these columns, in this order, with commas between them")
        parser.add_argument("filters", nargs="*", metavar="NAME=VALUE", help="as in the address of the list's page")

    def handle(self, *args: Any, kind: str, out: Path, columns: str, filters: list[str], **options: Any) -> None:
        endings = {".zip"} if kind == WHOLE_JOB else {".csv", ".xlsx"}
        if out.suffix not in endings:
            raise CommandError(f"“{out.name}” should end in {words.listed(sorted(endings), last='or')}.")
        if not out.absolute().parent.is_dir():
            raise CommandError(f"There is no folder {out.absolute().parent}.")
        # Written whole beside it, then given its name: nobody reads half a file.
        draft = out.with_name(f".{out.name}.part")
        try:
            told = self._job(draft, filters) if kind == WHOLE_JOB else self._table(draft, kind, out.suffix, columns, filters)
            draft.replace(out)
        except (Refused, ValueError) as refusal:
            raise CommandError(str(refusal)) from refusal
        finally:
            draft.unlink(missing_ok=True)
        self.stdout.write(f"{told} written to {out}.")

    def _table(self, draft: Path, kind: str, ending: str, columns: str, filters: list[str]) -> str:
        export = kinds()[kind]
        given = dict(_filter(word, export.filters) for word in filters)
        counted = _Counted(export.rows(given))
        wanted = [column.strip() for column in columns.split(",") if column.strip()]
        headings, rows = csvout.chosen(export.headings, counted, wanted)
        if ending == ".csv":
            with draft.open("w", encoding="utf-8", newline="") as file:
                file.writelines(csvout.marked(csvout.write_csv(headings, rows)))
        else:
            with csvout.xlsx_file(headings, rows, title=export.title) as book, draft.open("wb") as file:
                shutil.copyfileobj(book, file)
        return f"{words.count(counted.rows, 'row').capitalize()} of {export.title.lower()}"

    def _job(self, draft: Path, filters: list[str]) -> str:
        given = dict(_filter(word, ("job",)) for word in filters)
        job = Job.objects.filter(code=codes.normal(given.get("job", ""))).select_related("site").first()
        if job is None:
            raise CommandError("Say which job: job=CODE, with the code of one on record.")
        with jobarchive.archive(job, user=None) as file, draft.open("wb") as copy:
            shutil.copyfileobj(file, copy)
            size = os.fstat(copy.fileno()).st_size
        return f"All of job {job.code}, {max(1, size // 1000):,} kB,"


class _Counted:
    """Rows that are counted as they pass."""

    def __init__(self, rows: Iterable[Sequence[object]]) -> None:
        self._of, self.rows = rows, 0

    def __iter__(self) -> Iterator[Sequence[object]]:
        for row in self._of:
            self.rows += 1
            yield row


def _filter(word: str, known: tuple[str, ...]) -> tuple[str, str]:
    name, equals, value = word.partition("=")
    if not equals or name not in known:
        wanted = f"wanted one of {words.listed(known, last='or')}, as NAME=VALUE" if known else "this kind takes none"
        raise CommandError(f"“{word}” is not a filter here: {wanted}.")
    return name, value
