"""Forecast and outcome, request by request: the first forecast of each that is judged, beside what came of it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.urls import reverse

from jobs.core import words
from jobs.core.charts import outcomes
from jobs.core.charts.marks import Chart
from utilities import leadtimes, said, scoring
from utilities.leadtimes import BEYOND
from utilities.models import FitRequest, Forecast, Outcome, Utility
from utilities.models.requests import FitRequestQuerySet
from utilities.models.scores import Source

MOST: Final = 30  # shown; the figures above them count all


@dataclass(frozen=True)
class Home:
    """One request: what was said of it and when, and what came of it."""

    request: FitRequest
    said_on: dt.date
    half: str
    nine: str
    became: str
    days: int  # since the request was sent, to its end or so far
    chart: Chart


@dataclass(frozen=True)
class Homes:
    head: Chart
    rows: Sequence[Home]
    outside: int  # fitted before the day of one in ten or after that of nine in ten
    fitted: int

    @property
    def sentence(self) -> str:
        if not self.fitted:
            return "None of these is fitted yet."
        fell = f"{words.count(self.outside, 'request').capitalize()} of {words.number(self.fitted)} fitted fell outside the range"
        return f"{fell}; how often that should be cannot be told from the fitted ones alone, the figures above count the open ones too."


def homes(source: Source, utility: Utility, *, seen: FitRequestQuerySet, today: dt.date) -> Homes | None:
    """seen: the requests that the person may open. Of the forecasts made last first; None where nothing can be judged."""
    rows = _forecasts(source, utility, seen)
    if not rows:
        return None
    told = [(row, _said(row)) for row in rows]
    axis = outcomes.axis(one for _, one in told)
    lines = [_home(row, one, outcomes.row(axis, one, name=f"outcome-{row.pk}"), today=today) for row, one in told]
    fitted = [one for _, one in told if one.seen is not None]
    return Homes(outcomes.head(axis, name="outcome-head"), lines, sum(one.outside for one in fitted), len(fitted))


def _forecasts(source: Source, utility: Utility, seen: FitRequestQuerySet) -> list[Forecast]:
    found = Forecast.objects.filter(run__in=scoring.judged_runs(source), utility=utility, request__in=seen)
    first: dict[int, int] = {}
    for pk, request in found.order_by("-as_of", "-pk").values_list("pk", "request_id"):
        first[request] = pk  # the oldest is left standing
    rows = Forecast.objects.filter(pk__in=first.values()).select_related("request").order_by("-as_of", "-filed_on", "-pk")
    return [row for row in rows[: 2 * MOST] if row.request is not None and _was_open(row, row.request)][:MOST]


def _was_open(row: Forecast, request: FitRequest) -> bool:
    return request.filed_on <= row.as_of and (request.ended_on is None or request.ended_on > row.as_of)


def _said(row: Forecast) -> outcomes.Said:
    request = row.request
    assert request is not None
    offsets = leadtimes.unpack(row.offsets).tolist()
    begun = (row.as_of - request.filed_on).days
    first, half, last = (None if offsets[percent - 1] == BEYOND else begun + offsets[percent - 1] for percent in (10, 50, 90))
    fitted = (request.ended_on - request.filed_on).days if request.outcome == Outcome.FITTED and request.ended_on else None
    title = f"Request {request.code}: " + (f"fitted after {words.count(fitted, 'day')}" if fitted is not None else "not fitted")
    return outcomes.Said(first, half, last, fitted, href=reverse("request", kwargs={"code": request.code}), title=title)


def _home(row: Forecast, one: outcomes.Said, chart: Chart, *, today: dt.date) -> Home:
    request = row.request
    assert request is not None
    half, nine = (None if days is None else request.filed_on + dt.timedelta(days=days) for days in (one.half, one.last))
    end = request.ended_on
    if end is None:
        became = "waits"
    elif request.outcome == Outcome.FITTED:
        after = request.fitted_after
        became = f"fitted {words.bracket_short(after, end, today=today) if after else words.day_short(end, today=today)}"
    else:
        became = f"ended without fitting {words.day_short(end, today=today)}"
    return Home(
        request=request,
        said_on=row.as_of,
        half=said.day_short(half, as_of=row.as_of, today=today),
        nine=said.day_short(nine, as_of=row.as_of, today=today),
        became=became,
        days=((end or today) - request.filed_on).days,
        chart=chart,
    )
