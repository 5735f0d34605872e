"""How good the forecasts were: stored forecasts against what became of the requests, worked out by a task and stored for the pages.

scoring.rescore(today=today)                     # all utilities and months, both sources
table = scoring.table(Source.SAID, utility)      # None until it was worked out
table.whole.ours.coverage, table.whole.ours.skill(table.whole.spreadsheet)
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Self

import numpy as np
from django.db import transaction
from django.db.models import F

from jobs.core import clock
from jobs.core.acts import one_at_a_time
from utilities import forecasts, history, leadtimes, services
from utilities.history import Waits
from utilities.leadtimes import Calendars, OpenRequests, Quantiles, kaplan_meier, scores
from utilities.leadtimes.history import Floats, Rows, ended
from utilities.leadtimes.scores import SCORED_DAYS, Judged, Said, Totals, Truth
from utilities.models import Forecast, ForecastRun, Score, Utility
from utilities.models.scores import Source
from utilities.said import MILLION
from utilities.workdays import date_of, day_number

FOLLOWED_FROM: Final = 28  # days; what was said later has shown next to nothing yet
LOOKED_BACK: Final = 730  # days
SUNDAY: Final = 7  # of which a Monday's run knows all
LEADS: Final = (("0 to 30", 0), ("31 to 90", 31), ("91 or more", 91))  # days waited when it was said
WHOLE, MONTH, LEAD = "all", "month", "lead"
_AT_ONCE = 2_000  # forecasts; their curves take 3 kB each


@dataclass(frozen=True)
class Part:
    """The same forecasts by three forecasters. homes: requests they are about; one may be forecast on many days."""

    homes: int
    ours: Totals
    spreadsheet: Totals
    kaplan_meier: Totals

    @property
    def n(self) -> int:
        return self.ours.n

    def as_json(self) -> dict[str, Any]:
        return {"homes": self.homes} | {name: getattr(self, name).as_json() for name in FORECASTERS}

    @classmethod
    def from_json(cls, told: Mapping[str, Any]) -> Self:
        return cls(homes=told["homes"], **{name: Totals.from_json(told[name]) for name in FORECASTERS})


FORECASTERS: Final = ("ours", "spreadsheet", "kaplan_meier")
NOTHING: Final = Part(0, Totals.nothing(), Totals.nothing(), Totals.nothing())


@dataclass(frozen=True)
class Table:
    """days: as-of days of the forecasts, first to last. left_out: of requests that, as is known by now, were not open on their as-of day.

    parts: "all", "month 2026-11" of the as-of day, "lead 0 to 30" days waited then.
    """

    first_on: dt.date | None
    last_on: dt.date | None
    days: int
    left_out: int
    known_to: dt.date
    parts: Mapping[str, Part]

    @property
    def whole(self) -> Part:
        return self.parts.get(WHOLE, NOTHING)

    def months(self) -> list[tuple[str, Part]]:
        """ "2026-11" and its part, newest first."""
        told = [(key.partition(" ")[2], part) for key, part in self.parts.items() if key.startswith(MONTH)]
        return sorted(told, reverse=True)

    def leads(self) -> list[tuple[str, Part]]:
        return [(name, self.parts[f"{LEAD} {name}"]) for name, _ in LEADS if f"{LEAD} {name}" in self.parts]

    def as_json(self) -> dict[str, Any]:
        return {
            "first_on": self.first_on.isoformat() if self.first_on else None,
            "last_on": self.last_on.isoformat() if self.last_on else None,
            "days": self.days,
            "left_out": self.left_out,
            "parts": {key: part.as_json() for key, part in sorted(self.parts.items())},
        }

    @classmethod
    def from_json(cls, told: Mapping[str, Any], *, known_to: dt.date) -> Self:
        first, last = (dt.date.fromisoformat(day) if day else None for day in (told["first_on"], told["last_on"]))
        parts = {key: Part.from_json(part) for key, part in told["parts"].items()}
        return cls(first, last, told["days"], told["left_out"], known_to, parts)


def table(source: Source, utility: Utility | None = None) -> Table | None:
    """As stored; None until it was worked out. A utility of which nothing can be judged yet has a table without parts."""
    found = Score.objects.filter(source=source, utility=utility).first()
    if found is not None:
        return Table.from_json(found.tables, known_to=found.known_to)
    whole = Score.objects.filter(source=source, utility__isnull=True).first()
    return None if whole is None else Table(None, None, 0, 0, whole.known_to, {})


def stored(utility: Utility | None) -> list[tuple[Source, Utility | None, Table]]:
    """All tables of both sources, or those of one utility; all together come first."""
    rows = Score.objects.select_related("utility").order_by("source", F("utility__name").asc(nulls_first=True))
    if utility is not None:
        rows = rows.filter(utility=utility)
    return [(Source(row.source), row.utility, Table.from_json(row.tables, known_to=row.known_to)) for row in rows]


def by_utility(source: Source) -> list[tuple[Utility, Part]]:
    """The whole of each utility of which something is judged."""
    rows = (
        Score.objects.filter(source=source, utility__isnull=False)
        .order_by("utility__name")
        .values_list("utility_id", f"tables__parts__{WHOLE}")
    )
    known = Utility.objects.in_bulk([pk for pk, _ in rows])
    return [(known[pk], Part.from_json(whole)) for pk, whole in rows if whole is not None]


def judged_runs(source: Source) -> list[int]:
    """Runs behind the scores as they stand."""
    whole = Score.objects.filter(source=source, utility__isnull=True).first()
    return [] if whole is None else [run for _, runs in _runs(source, whole.known_to) for run in runs]


def rescore(*, today: dt.date) -> int:
    """Work out and store all scores, of what happened up to yesterday. Answers how many forecasts were judged. May run twice."""
    known_to = today - dt.timedelta(days=1)
    waits = history.read()
    calendars = _calendars(waits, day_number(known_to))
    rows, judged = [], 0
    for source in Source:
        sums = _Sums()
        for as_of, runs in _runs(source, known_to):
            _judge_day(sums, waits, calendars, as_of=as_of, runs=runs, known_to=day_number(known_to))
        judged += sums.count()
        rows += [
            Score(source=source, utility=utility, known_to=known_to, made_at=clock.now(), tables=sums.table(place, known_to).as_json())
            for place, utility in [(None, None), *enumerate(waits.utilities)]
            if place is None or place in sums.utilities()
        ]
    with transaction.atomic():
        one_at_a_time("scores")
        Score.objects.all().delete()
        Score.objects.bulk_create(rows)
    return judged


def overtaken(*, today: dt.date) -> bool:
    """Whether a day has passed since the scores were worked out."""
    return not Score.objects.filter(known_to__gte=today - dt.timedelta(days=1)).exists()


def _runs(source: Source, known_to: dt.date) -> Iterator[tuple[dt.date, list[int]]]:
    """As-of days, followed long enough, with their runs, the one that counts last."""
    first, last = known_to - dt.timedelta(days=LOOKED_BACK), known_to - dt.timedelta(days=FOLLOWED_FROM)
    found = ForecastRun.objects.filter(as_of__range=(first, last)).order_by("as_of", "pk")
    if source == Source.REPLAYED:
        found = found.filter(rule="replayed", method=forecasts.METHOD)
    else:
        found = found.filter(rule="nightly", as_of__iso_week_day=SUNDAY)
    days: defaultdict[dt.date, list[int]] = defaultdict(list)
    for pk, as_of in found.values_list("pk", "as_of"):
        days[as_of].append(pk)
    yield from days.items()


def _calendars(waits: Waits, known_to: int) -> Calendars:
    """Of each utility from its first request to the horizon of today."""
    first, _ = leadtimes.span(waits.history, known_to - LOOKED_BACK)
    last = date_of(known_to + leadtimes.HORIZON)
    return Calendars.of([services.calendar_of(utility).worked_between(date_of(first), last) for utility in waits.utilities], first)


@dataclass
class _Sums:
    """Sums by utility (None: together) and part, while as-of days are gone through."""

    totals: defaultdict[tuple[int | None, str], list[Totals]] = field(
        default_factory=lambda: defaultdict(lambda: [Totals.nothing() for _ in FORECASTERS])
    )
    homes: defaultdict[tuple[int | None, str], set[int]] = field(default_factory=lambda: defaultdict(set))
    days: defaultdict[int | None, set[dt.date]] = field(default_factory=lambda: defaultdict(set))
    left_out: defaultdict[int | None, int] = field(default_factory=lambda: defaultdict(int))

    def add(self, judged: tuple[Judged, ...], rows: Rows, utility: Rows, lead: Rows, as_of: dt.date) -> None:
        """judged: by each of FORECASTERS, of the same rows; utility, lead: (n,) of each."""
        for place in [None, *np.unique(utility).tolist()]:
            mine = np.ones(rows.size, dtype=bool) if place is None else utility == place
            self.days[place].add(as_of)
            parts = {WHOLE: mine, f"{MONTH} {as_of:%Y-%m}": mine}
            parts |= {f"{LEAD} {name}": mine & (lead == number) for number, (name, _) in enumerate(LEADS)}
            for key, chosen in parts.items():
                if chosen.any():
                    self.homes[place, key].update(rows[chosen].tolist())
                    told = self.totals[place, key]
                    told[:] = [total + by.total(chosen) for total, by in zip(told, judged, strict=True)]

    def count(self) -> int:
        return sum(told[0].n for (place, key), told in self.totals.items() if place is None and key == WHOLE)

    def utilities(self) -> set[int]:
        return {place for place, _ in self.totals if place is not None}

    def table(self, place: int | None, known_to: dt.date) -> Table:
        parts = {key: Part(len(self.homes[at, key]), *told) for (at, key), told in self.totals.items() if at == place}
        days = sorted(self.days.get(place, ()))
        return Table(min(days, default=None), max(days, default=None), len(days), self.left_out.get(place, 0), known_to, parts)


def _judge_day(sums: _Sums, waits: Waits, calendars: Calendars, *, as_of: dt.date, runs: list[int], known_to: int) -> None:
    day, past = day_number(as_of), waits.history
    # Those sent on the day after are forecast with the night's, as if sent; their wait had not begun.
    kept = {row: told for row, told in _kept(waits, runs).items() if past.filed[row] <= day}
    was_open = kept.keys() - set(np.flatnonzero(ended(past, day)).tolist())
    for row in kept.keys() - was_open:
        for place in (None, int(past.utility[row])):
            sums.left_out[place] += 1
    rows = np.array(sorted(was_open), dtype=np.intp)
    if not rows.size:
        return
    horizon = min(SCORED_DAYS, known_to - day)
    became = Truth.of(past, rows, as_of=day, known_to=known_to)
    left = scores.lasting(became, horizon)
    ours = Quantiles.kept(
        [kept[row][0] for row in rows.tolist()], day, calendars, past.utility[rows], [kept[row][1] for row in rows.tolist()]
    )
    plain = kaplan_meier.forecast(kaplan_meier.fit(past, calendars, day), OpenRequests.of(past, rows))
    named = scores.spreadsheet(past, rows, day)
    waited = np.searchsorted([since for _, since in LEADS], day - past.filed[rows], side="right") - 1
    for first in range(0, rows.size, _AT_ONCE):
        some = np.arange(first, min(first + _AT_ONCE, rows.size))
        truth = became.rows(some)
        weight: Floats = scores.weights(truth, left)
        said = (Said.of(_some(ours, some), horizon), Said.certain(named[some], horizon), Said.of(_some(plain, some), horizon))
        judged = tuple(scores.judge(one, truth, weight) for one in said)
        sums.add(judged, rows[some], past.utility[rows[some]].astype(np.intp), waited[some], as_of)


def _kept(waits: Waits, runs: list[int]) -> dict[int, tuple[bytes, float]]:
    """Of each row of the history its stored forecast: offsets, chance of never. Of two runs of the day the later counts."""
    place = {pk: row for row, pk in enumerate(waits.request)}
    told = {}
    found = Forecast.objects.filter(run__in=runs, request__isnull=False).order_by("run_id")
    for request, offsets, p_never in found.values_list("request_id", "offsets", "p_never_millionths"):
        if request in place:
            told[place[request]] = (bytes(offsets), p_never / MILLION)
    return told


def _some(forecasts: Quantiles, rows: Rows) -> Quantiles:
    return Quantiles(forecasts.as_of, forecasts.calendars, forecasts.utility[rows], forecasts.q[rows], forecasts.p_never[rows])
