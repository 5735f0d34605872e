"""Nine hundred requests from the years before our books, and some of this year: rows of history without a job, for forecasts alone."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from random import Random

from jobs.core import clock, codes
from jobs.pages.demo.diary import Diary
from jobs.pages.demo.habits import Grid
from utilities import endings
from utilities.models import FitRequest, Outcome

OLDEST, NEWEST = 1650, 470  # days ago: between these they were sent
BROUGHT_IN = 440  # days ago: the day of the lists


def remember(grids: Sequence[Grid], diary: Diary, *, by: str) -> None:
    """As an import would have written them on that day; what became of the open ones since then was entered as it was learned."""
    taken: set[str] = set()
    for grid in grids:
        draw = Random(f"history of {grid.habit.name}")
        rows = list(_rows(grid, draw, diary))
        for number, row in enumerate(rows, start=1):
            row.code = _code(taken)
            row.utility, row.route = grid.utility, grid.habit.route
            row.own_reference = f"{grid.habit.name[:2].upper()}-{number:04d}"
            row.recorded_by_name = by
        FitRequest.objects.bulk_create(rows)


def remember_fitted(grids: Mapping[str, Grid], finished: Iterable[tuple[str, dt.date, dt.date]], *, by: str) -> None:
    """Requests of this year of whose homes we keep no job: utility, day sent, day fitted. None of a utility that is new to us."""
    taken, numbers = set(FitRequest.objects.values_list("code", flat=True)), Counter[str]()
    rows = []
    for name, filed, fitted in finished:
        habit, now = grids[name].habit, clock.now()
        if not habit.past:
            continue
        numbers[name] += 1
        rows.append(
            FitRequest(
                code=_code(taken),
                utility=grids[name].utility,
                route=habit.route,
                filed_on=filed,
                outcome=Outcome.FITTED,
                ended_on=fitted,
                fitted_by=fitted,
                own_reference=f"{habit.name[:2].upper()}-{habit.past + numbers[name]:04d}",
                recorded_by_name=by,
                recorded_at=now,
                changed_at=now,
            )
        )
    FitRequest.objects.bulk_create(rows)


def _code(taken: set[str]) -> str:
    while (code := codes.new_code(codes.source())) in taken:
        pass
    taken.add(code)
    return code


def _rows(grid: Grid, draw: Random, diary: Diary) -> Iterator[FitRequest]:
    listed = diary.ago(BROUGHT_IN)
    kept = 0
    while kept < grid.habit.past:
        open_only = kept < grid.habit.listed_open_only
        filed = grid.calendar.next_worked(diary.ago(draw.randrange(NEWEST, OLDEST if not open_only else NEWEST + 150)))
        row = _one(grid, filed, draw, diary)
        if open_only:
            # A list of those open on its day says nothing of requests that had ended before.
            if row.ended_on is None or row.ended_on <= listed:
                continue
            row.known_from = listed
        kept += 1
        yield row


def _one(grid: Grid, filed: dt.date, draw: Random, diary: Diary) -> FitRequest:
    fitted = grid.fitting_day(filed, draw, today=diary.today)
    row = FitRequest(filed_on=filed, district=grid.district(draw), outcome=Outcome.FITTED, recorded_at=clock.now(), changed_at=clock.now())
    given_up = grid.calendar.nth_after(filed, draw.randrange(8, 75)) if draw.randrange(100) < grid.habit.closes + 6 else None
    latest = diary.ago(30)
    if given_up is not None and given_up < fitted:
        row.outcome, row.ended_on = Outcome.CANCELLED, min(given_up, latest)
        row.end_reason = endings.ENDS["closed" if draw.randrange(100) < grid.habit.closes * 3 else "withdrawn"]
    elif fitted > latest:
        row.outcome, row.ended_on, row.end_reason = Outcome.CANCELLED, latest, endings.ENDS["withdrawn"]
    else:
        row.ended_on = row.fitted_by = fitted
        if draw.randrange(3) == 0:
            after = fitted - dt.timedelta(days=draw.randrange(2, 18))
            row.fitted_after = max(after, filed) if after < fitted and filed < fitted else None
    return row
