"""Forecast the open requests of a file; no database is read or written."""

from __future__ import annotations

import dataclasses
import json
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.core import words
from utilities.historyfile import LAST_AS_OF, Day, FaultyFile, HistoryFile, as_date, read_calendars, read_history, write_forecasts
from utilities.workdays import FIRST_DAY

ONLY_FINISHED = (
    "No request of the list is open on these days, so there is nothing to forecast. "
    "A list of finished waits only cannot be used for rates: it has no time at risk."
)


class Command(BaseCommand):
    help = "When will the open requests of a file be fitted? Writes, for each as-of day, 99 dates a request. Nothing is kept."
    # The checks ask the database and the other apps, which this command does not need: it starts at once.
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "history", type=Path, help="CSV: request_id, utility, district, filed_on, known_from, outcome, outcome_on (days as 2026-06-03)"
        )
        parser.add_argument("--as-of", action="append", required=True, metavar="DAY", help="what was known at the end of this day; repeat")
        parser.add_argument("--out", type=Path, required=True, help="CSV to write: request_id, as_of, q01 ... q99, p_never, own_weight")
        parser.add_argument("--closures", type=Path, help="CSV: utility (* for every one), day and, if wanted, kind (closed or open)")
        parser.add_argument("--json", action="store_true", help="for a program")

    def handle(self, *args: Any, history: Path, out: Path, closures: Path | None, **options: Any) -> None:
        as_of = [_day(text) for text in dict.fromkeys(options["as_of"])]
        _check_out(out, [history, *([closures] if closures else [])])
        try:
            read = read_history(history)
            calendars = read_calendars(read, as_of, closures)
            days = write_forecasts(read, calendars, as_of=as_of, out=out)
        except FaultyFile as fault:
            raise CommandError(f"{fault}\nNothing was written.") from fault
        except OSError as fault:
            raise CommandError(f"{fault.filename or history}: {fault.strerror}. Nothing was written.") from fault
        self._say(read, days, out, as_json=options["json"])

    def _say(self, read: HistoryFile, days: list[Day], out: Path, *, as_json: bool) -> None:
        warning = ONLY_FINISHED if len(read.history) and not any(day.open for day in days) else ""
        if as_json:
            told = {
                "rows": len(read.history),
                "utilities": len(read.utilities),
                "dropped": read.dropped,
                "days": [{**dataclasses.asdict(day), "as_of": day.as_of.isoformat()} for day in days],
                "warning": warning,
            }
            self.stdout.write(json.dumps(told))
            return
        self.stdout.write(f"{_begins(words.count(len(read.history), 'request'))} of {words.count(len(read.utilities), 'utility')} read.")
        if read.dropped:
            they = "it" if read.dropped == 1 else "they"
            self.stdout.write(f"{_begins(words.count(read.dropped, 'row'))} left out: ended before the day on which {they} became known.")
        for day in days:
            beyond = f"; for {words.number(day.blank)} the even chance lies beyond the horizon" if day.blank else ""
            self.stdout.write(f"{day.as_of}: {words.number(day.open)} open, {words.number(day.fitted)} fitted before{beyond}.")
        if warning:
            self.stderr.write(warning)
        self.stdout.write(f"Forecasts written to {out}.")


def _begins(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def _day(text: str) -> date:
    day = as_date(text)
    if day is None:
        raise CommandError(f"--as-of “{text}” is not a day. Write it as 2026-06-03.")
    if not FIRST_DAY <= day <= LAST_AS_OF:
        raise CommandError(f"--as-of {text} is outside the calendars. Give a day from {FIRST_DAY} to {LAST_AS_OF}.")
    return day


def _check_out(out: Path, read: list[Path]) -> None:
    if out.is_dir() or (out.exists() and not out.is_file()):
        raise CommandError(f"{out} is not a file that can be written. Give the name of a file.")
    if not out.absolute().parent.is_dir():
        raise CommandError(f"There is no folder {out.absolute().parent}.")
    if any(out.exists() and path.exists() and out.samefile(path) for path in read):
        raise CommandError(f"{out} is read from. Write the forecasts to another file.")
