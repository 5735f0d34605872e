"""Forecast past days anew from what was known then, and find out how good that would have been."""

from __future__ import annotations

import datetime as dt
import time
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.core import clock, words
from utilities import replay, scoring
from utilities.models.scores import Source

_DAY = "a day, as 2026-06-07"


class Command(BaseCommand):
    help = (
        "Forecast the requests that were open on past days, from what was known then, and judge the dates by what happened. "
        "Days replayed before by the same method are skipped, so it can be stopped and begun again. Without days: the last year."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--from", dest="first", metavar="DAY", help=f"first as-of day: {_DAY}")
        parser.add_argument("--to", dest="last", metavar="DAY", help=f"last as-of day: {_DAY}")
        parser.add_argument("--every", type=int, default=replay.EVERY, metavar="DAYS", help="days from one as-of day to the next")
        parser.add_argument("--anew", action="store_true", help="replay the days that stand already too")

    def handle(self, *args: Any, first: str | None, last: str | None, every: int, anew: bool, **options: Any) -> None:
        today = clock.office_today()
        days = self._days(first, last, every, today)
        begun, worked = time.monotonic(), 0
        for number, day in enumerate(days, start=1):
            run = replay.replay_day(day, anew=anew)
            worked += run is not None
            told = "stands already" if run is None else f"{words.count(run.forecasts.count(), 'open request')} forecast"
            self.stdout.write(f"{day}: {told} ({number} of {len(days)}{self._left(begun, worked, len(days) - number)})")
            self.stdout.flush()
        scoring.rescore(today=today)
        self._say()

    def _left(self, begun: float, worked: int, to_come: int) -> str:
        if not worked or not to_come:
            return ""
        return f", {words.count(max(1, round((time.monotonic() - begun) / worked * to_come)), 'second')} left"

    def _days(self, first: str | None, last: str | None, every: int, today: dt.date) -> list[dt.date]:
        if every < 1:
            raise CommandError("--every counts days: give 1 or more.")
        begin, end = (_day(text) if text else None for text in (first, last))
        usual = replay.last_year(today=today, every=every, count=-(-replay.DAYS * replay.EVERY // every))
        if begin is None and end is None:
            return usual
        end = end or usual[-1]
        begin = begin or end - dt.timedelta(days=every * (len(usual) - 1))
        if begin > end:
            raise CommandError(f"--from {begin} comes after --to {end}. Give the earlier day first.")
        if end >= today:
            raise CommandError(f"--to {end} is not over yet. Give a day before {today}.")
        return replay.between(begin, end, every=every)

    def _say(self) -> None:
        table = scoring.table(Source.REPLAYED)
        whole = table.whole if table else scoring.NOTHING
        if not table or not whole.n:
            self.stdout.write(
                f"Nothing can be judged yet: a forecast is judged once it has been followed for {scoring.FOLLOWED_FROM} days."
            )
            return
        ours = whole.ours
        self.stdout.write(f"{words.count(whole.n, 'forecast').capitalize()} of {words.count(whole.homes, 'request')} judged.")
        self.stdout.write(
            f"Of {words.number(int(ours.passed[1]))} whose 80 % day has passed {words.percent(ours.coverage[1])} were fitted by it."
            if ours.passed[1]
            else "No 80 % day has passed yet."
        )
        self.stdout.write(
            f"Mean error of the whole forecast (CRPS): {ours.mean_crps:.1f} days; Kaplan-Meier per utility "
            f"{whole.kaplan_meier.mean_crps:.1f}, mean of completed waits {whole.spreadsheet.mean_crps:.1f}."
        )


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError as fault:
        raise CommandError(f"“{text}” is not {_DAY}.") from fault
