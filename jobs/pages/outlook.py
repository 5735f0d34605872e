"""When the collar is likely fitted, of many homes in one query: the newest stored forecasts, read as days. Pages never fit."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from django.db.models import Q

from jobs.core import words
from utilities.leadtimes.quantiles import BEYOND, unpack
from utilities.models import Forecast, Outcome

MILLION = 1_000_000
HORIZON_YEARS = 2


@dataclass(frozen=True)
class Outlook:
    """One home's dates. `asked` is False where the request is not sent yet: then they hold if it is sent on `filed_on`."""

    as_of: dt.date
    filed_on: dt.date
    asked: bool
    days: tuple[dt.date | None, ...]  # 99 of them; None beyond the horizon
    p_never: float
    why: dict[str, Any]

    def at(self, percent: int) -> dt.date | None:
        """The first day on which the chance is at least `percent` in a hundred."""
        return self.days[percent - 1]

    def in_words(self, percent: int, *, today: dt.date) -> str:
        """For a table: "14 Mar 2027", or beyond the horizon "later than November 2028"."""
        day = self.at(percent)
        return words.day_short(day, today=today) if day else self.beyond

    def in_sentence(self, percent: int) -> str:
        """For a sentence: "14 March 2027", or beyond the horizon "later than November 2028"."""
        day = self.at(percent)
        return words.day(day) if day else self.beyond

    @property
    def beyond(self) -> str:
        end = self.as_of.replace(year=self.as_of.year + HORIZON_YEARS, day=1)
        return f"later than {words.day(end).partition(' ')[2]}"


def outlooks(job_ids: Collection[int]) -> dict[int, Outlook]:
    """By job. Of a home with two meters the later one counts: there is backup when both collars are in."""
    open_request = Q(request__job__in=job_ids, request__outcome=Outcome.OPEN)
    not_asked = Q(request__isnull=True, job__in=job_ids)
    found: dict[int, Outlook] = {}
    for forecast in Forecast.objects.filter(open_request | not_asked, newest=True).select_related("request"):
        job_id = forecast.request.job_id if forecast.request else forecast.job_id
        assert job_id is not None  # both filters ask for one
        read = _read(forecast)
        kept = found.get(job_id)
        if kept is None or (read.asked, read.at(50) or dt.date.max) > (kept.asked, kept.at(50) or dt.date.max):
            found[job_id] = read
    return found


def _read(forecast: Forecast) -> Outlook:
    return Outlook(
        as_of=forecast.as_of,
        filed_on=forecast.filed_on,
        asked=forecast.request_id is not None,
        days=tuple(
            None if offset == BEYOND else forecast.as_of + dt.timedelta(days=int(offset)) for offset in unpack(forecast.offsets).tolist()
        ),
        p_never=forecast.p_never_millionths / MILLION,
        why=dict(forecast.why),
    )
