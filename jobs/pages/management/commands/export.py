"""Write a table to a file that a spreadsheet opens."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.core import csvout, words
from jobs.core.refusals import Refused
from jobs.pages.exports import kinds


class Command(BaseCommand):
    help = "Write one kind of table to a .csv or .xlsx file, as a filter NAME=VALUE narrows it."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("kind", choices=sorted(kinds()), help="what to write")
        parser.add_argument("--out", required=True, type=Path, help="file ending in .csv or .xlsx")
        parser.add_argument("filters", nargs="*", metavar="NAME=VALUE", help="as in the address of the list's page")

    def handle(self, *args: Any, kind: str, out: Path, filters: list[str], **options: Any) -> None:
        export = kinds()[kind]
        given = dict(self._filter(word, export.filters) for word in filters)
        if out.suffix not in {".csv", ".xlsx"}:
            raise CommandError(f"“{out.name}” should end in .csv or .xlsx.")
        if not out.absolute().parent.is_dir():
            raise CommandError(f"There is no folder {out.absolute().parent}.")
        try:
            rows = list(export.rows(given))
        except Refused as refusal:
            raise CommandError(str(refusal)) from refusal
        # Written whole beside it, then given its name: nobody reads half a file.
        draft = out.with_name(f".{out.name}.part")
        if out.suffix == ".csv":
            draft.write_bytes("".join(csvout.marked(csvout.write_csv(export.headings, rows))).encode())
        else:
            draft.write_bytes(csvout.write_xlsx(export.headings, rows, title=export.title))
        draft.replace(out)
        self.stdout.write(f"{words.count(len(rows), 'row').capitalize()} of {export.title.lower()} written to {out}.")

    def _filter(self, word: str, known: tuple[str, ...]) -> tuple[str, str]:
        name, equals, value = word.partition("=")
        if not equals or name not in known:
            wanted = f"wanted one of {words.listed(known, last='or')}, as NAME=VALUE" if known else "this kind takes none"
            raise CommandError(f"“{word}” is not a filter here: {wanted}.")
        return name, value
