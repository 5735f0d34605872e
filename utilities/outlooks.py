"""The outlook of each utility: its wait curve, the fittings to come by week, whether its pace left its past. Stored with each run.

write(worked_out(...), run)            # by forecasts.refresh alone
alarm_of(utility), weeks_together()    # what pages read: they never fit
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypedDict

import numpy as np

from jobs.core import words
from utilities import history, leadtimes, waitcurve
from utilities.leadtimes import alarm, brackets, lasting, sums
from utilities.leadtimes.ages import Waits, waits_seen
from utilities.leadtimes.history import Rows
from utilities.leadtimes.why import OWN_FROM
from utilities.models import ForecastRun, Outlook, Utility
from utilities.workdays import date_of, day_number

ALARM_SHOWN = dt.timedelta(days=56)  # on Today, since it was found; on the utility's page it stays
MOST_ODDS = 1_000  # said
ONE_WEEK = dt.timedelta(days=7)
ONE_DAY = dt.timedelta(days=1)
WEEKS = 1 + sums.WEEKS  # what is left of this one, and thirteen whole ones


class Week(TypedDict):
    """Fittings expected in the week that begins on this Monday. low, high: not less, not more than, nine times in ten each."""

    week: dt.date
    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class PaceChange:
    """An alarm as pages say it: from `since` to `found_on` `fitted` fittings came where `expected` were, week by week.

    pace: as a part of the pace before, drawn a little towards 1. evidence: against the pace before, as odds.
    """

    utility: Utility
    found_on: dt.date
    since: dt.date
    fitted: float
    expected: float
    pace: float
    evidence: float

    @property
    def how_much(self) -> str:
        """ "about 2.5 times slower", "about 1.8 times faster"."""
        return f"about {1 / self.pace:.1f} times slower" if self.pace < 1 else f"about {self.pace:.1f} times faster"

    @property
    def told_by(self) -> str:
        """ "6 fittings where 15 were expected; odds of 60 to 1 against its pace before"."""
        came, expected, odds = (words.number(round(number)) for number in (self.fitted, self.expected, min(self.evidence, MOST_ODDS)))
        more = "more than " if self.evidence > MOST_ODDS else ""
        came = f"{came} {'fitting' if came == '1' else 'fittings'}"
        return f"{came} where {expected} were expected; odds of {more}{odds} to 1 against its pace before"


FALSE_ALARMS = f"false alarms: at most {round(100 * alarm.ALPHA)} in 100 utility-years; a small utility cannot alarm quickly"


def alarm_of(utility: Utility) -> PaceChange | None:
    """The newest alarm of a utility, however old."""
    kept = Outlook.objects.filter(utility=utility).values_list("alarm", flat=True).first()
    return _pace_change(utility, kept) if kept else None


def alarms(*, today: dt.date) -> list[PaceChange]:
    """Those found lately, the newest change first."""
    rows = Outlook.objects.filter(alarm__isnull=False).select_related("utility").only("alarm", "utility")
    told = [_pace_change(row.utility, row.alarm) for row in rows if row.alarm]
    return sorted(
        (each for each in told if each.found_on > today - ALARM_SHOWN), key=lambda each: (each.since, each.utility.name), reverse=True
    )


def _pace_change(utility: Utility, kept: dict[str, Any]) -> PaceChange:
    found_on, since = (dt.date.fromisoformat(kept[name]) for name in ("found_on", "since"))
    return PaceChange(utility, found_on, since, *(kept[name] for name in ("fitted", "expected", "pace", "evidence")))


def weeks_together(utilities: Collection[Utility] | None = None) -> list[Week]:
    """The weeks to come over all utilities or some, from what is stored. A week that not all of them cover yet is left out."""
    kept = Outlook.objects.only("weeks").order_by("pk")
    rows = [row for row in (kept if utilities is None else kept.filter(utility__in=utilities)) if row.weeks]
    each = [{week["week"]: (week["mean"], week["variance"]) for week in row.weeks} for row in rows]
    shared = sorted(set.intersection(*(set(one) for one in each))) if each else []
    if not shared:
        return []
    if len(rows) == 1:
        (only,) = rows
        return [
            Week(week=dt.date.fromisoformat(week["week"]), mean=week["mean"], low=week["low"], high=week["high"]) for week in only.weeks
        ]
    parts = np.array([[one[week] for week in shared] for one in each])
    told = sums.together(parts[..., 0], parts[..., 1])
    return [
        Week(week=dt.date.fromisoformat(week), mean=float(told.mean[place]), low=float(told.low[place]), high=float(told.high[place]))
        for place, week in enumerate(shared)
    ]


def spread_together() -> list[tuple[dt.date, float, float]]:
    """Each week to come that all utilities cover, with mean and variance of the fittings in it; utilities vary each on their own."""
    rows = [row for row in Outlook.objects.only("weeks").order_by("pk") if row.weeks]
    each = [{week["week"]: (week["mean"], week["variance"]) for week in row.weeks} for row in rows]
    shared = sorted(set.intersection(*(set(one) for one in each))) if each else []
    return [(dt.date.fromisoformat(week), sum(one[week][0] for one in each), sum(one[week][1] for one in each)) for week in shared]


# What a run works out and stores.


def worked_out(
    waits: history.Waits,
    fitted: leadtimes.Fitted,
    wanted: leadtimes.OpenRequests,
    told: leadtimes.Forecasts,
    *,
    requests: Rows,
    covered: Sequence[int],
) -> list[Outlook]:
    """One row for each covered utility (primary keys), not saved yet. requests: rows of `wanted` that are open requests."""
    as_of = fitted.as_of
    # The week that the next day is in: of one that has begun, what is left of it.
    monday = _week_of(date_of(as_of) + ONE_DAY)
    ending = lasting.ending_hazard(waits.history, fitted.calendars, as_of)
    weeks = sums.weeks(fitted, wanted, told, first=day_number(monday), count=WEEKS, rows=requests, ending=ending)
    known = Outlook.objects.in_bulk(covered, field_name="utility_id")
    rows_of = _rows_by_utility(waits)
    watches = _watches(waits, fitted, {pk: row.watch for pk, row in known.items()}, covered=covered)
    found = []
    for pk in covered:
        place = waits.place[pk]
        row = known.get(pk) or Outlook(utility=waits.utilities[place])
        row.as_of = date_of(as_of)
        row.curve = _curve(waits.history.rows(rows_of[place]), as_of).as_json()
        row.weeks = [
            {
                "week": (monday + number * ONE_WEEK).isoformat(),
                "mean": round(float(weeks.mean[place, number]), 4),
                "variance": round(float(weeks.variance[place, number]), 4),
                "low": float(weeks.low[place, number]),
                "high": float(weeks.high[place, number]),
            }
            for number in range(WEEKS)
        ]
        watch, rang = watches.get(pk, (None, None))
        row.watch = watch.as_json() if watch else None
        row.alarm = rang or row.alarm
        found.append(row)
    return found


def write(rows: Iterable[Outlook], run: ForecastRun) -> None:
    """In the transaction of the run. What a later day has told already stays."""
    kept = {utility: (pk, as_of) for utility, pk, as_of in Outlook.objects.values_list("utility_id", "pk", "as_of")}
    for row in rows:
        # Another run may have made the row since this one began.
        row.pk, told_for = kept.get(row.utility_id, (None, run.as_of))
        if told_for <= run.as_of:
            row.run = run
            row.save()


def _week_of(day: dt.date) -> dt.date:
    return day - dt.timedelta(days=day.weekday())


def _rows_by_utility(waits: history.Waits) -> list[Rows]:
    order = np.argsort(waits.history.utility, kind="stable")
    return np.split(order, np.searchsorted(waits.history.utility[order], np.arange(1, len(waits.utilities))))


def _curve(rows: leadtimes.History, as_of: int) -> waitcurve.WaitCurve:
    return waitcurve.wait_curve(
        filed=rows.filed, known_from=rows.known_from, ended=rows.by, outcome=rows.outcome, after=rows.after, as_of=as_of
    )


# The drift alarm: what is frozen at the turn of the year, or after an alarm, is held against the weeks since.


def _watches(
    waits: history.Waits, fitted: leadtimes.Fitted, kept: dict[int, dict[str, Any] | None], *, covered: Sequence[int]
) -> dict[int, tuple[alarm.Watch, dict[str, Any] | None]]:
    """By primary key: the watch to be stored, and the alarm that this run found. Without enough history there is no watch."""
    as_of = fitted.as_of
    seen = _by_utility(_shared_out(waits.history, fitted), len(waits.utilities))
    watches = {pk: alarm.Watch.from_json(watch) for pk, watch in kept.items() if watch} | _frozen_anew(waits, fitted, kept, covered=covered)
    told: dict[int, tuple[alarm.Watch, dict[str, Any] | None]] = {}
    for pk, watch in watches.items():
        place = waits.place[pk]
        weeks = min(max((as_of - watch.since) // 7, 0), alarm.WEEKS)
        counts = alarm.weekly(seen[place], fitted.calendars, np.array(watch.hazard), utility=place, since=watch.since, weeks=weeks)
        finding = alarm.found(watch, *counts)
        if finding.rang:
            told[pk] = alarm.frozen(fitted, seen[place], place, after_alarm=True), _as_json(finding, found_on=as_of)
        else:
            told[pk] = watch, None
    return told


def _as_json(finding: alarm.Finding, *, found_on: int) -> dict[str, Any]:
    return {
        "found_on": date_of(found_on).isoformat(),
        "since": date_of(finding.since + 1).isoformat(),
        "fitted": round(finding.fitted, 2),
        "expected": round(finding.expected, 2),
        "pace": round(finding.pace, 4),
        "evidence": round(min(finding.evidence, 1e9), 2),
    }


def _frozen_anew(
    waits: history.Waits, fitted: leadtimes.Fitted, kept: dict[int, dict[str, Any] | None], *, covered: Sequence[int]
) -> dict[int, alarm.Watch]:
    """Watches of those that have none of this year: as of the turn of the year if enough was known then, else as of now."""
    year = _turn_of_year(fitted.as_of)
    lacking = [pk for pk in covered if (kept.get(pk) or {"since": year - 1})["since"] < year]
    by_then = _fitted_by(waits.history, year, len(waits.utilities))
    early = [pk for pk in lacking if by_then[waits.place[pk]] >= OWN_FROM]
    late = [pk for pk in lacking if pk not in early and fitted.own_fittings[waits.place[pk]] >= OWN_FROM]
    found: dict[int, alarm.Watch] = {}
    for chosen, day in ((early, year), (late, fitted.as_of)):
        if not chosen:
            continue
        then = fitted if day == fitted.as_of else leadtimes.fit(waits.history, fitted.calendars, day)
        seen = _by_utility(_shared_out(waits.history, then), len(waits.utilities))
        found |= {pk: alarm.frozen(then, seen[waits.place[pk]], waits.place[pk]) for pk in chosen}
    return found


def _turn_of_year(as_of: int) -> int:
    """The last 31 December up to the as-of day."""
    day = date_of(as_of)
    return day_number(dt.date(day.year if (day.month, day.day) == (12, 31) else day.year - 1, 12, 31))


def _fitted_by(rows: leadtimes.History, day: int, utilities: int) -> Rows:
    """(utilities,) fittings known and watched by a day."""
    counted = (rows.outcome == leadtimes.FITTED) & (rows.by <= day) & (rows.known_from <= rows.by)
    return np.bincount(rows.utility[counted], minlength=utilities)


def _shared_out(rows: leadtimes.History, fitted: leadtimes.Fitted) -> Waits:
    return brackets.shared_out(waits_seen(rows, fitted.calendars, fitted.as_of), fitted.hazard)


def _by_utility(waits: Waits, utilities: int) -> list[Waits]:
    order = np.argsort(waits.utility, kind="stable")
    parts = np.split(order, np.searchsorted(waits.utility[order], np.arange(1, utilities)))
    return [waits.rows(part) for part in parts]
