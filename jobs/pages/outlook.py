"""When the collar is likely fitted, of many homes in one query: the newest stored forecasts. Pages never fit."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection

from django.db.models import Q

from utilities import said
from utilities.models import Forecast, Outcome
from utilities.said import Shown


def outlooks(job_ids: Collection[int]) -> dict[int, Shown]:
    """By job. Of a home with two meters the later one counts: there is backup when both collars are in."""
    open_request = Q(request__job__in=job_ids, request__outcome=Outcome.OPEN)
    not_asked = Q(request__isnull=True, job__in=job_ids)
    found: dict[int, Shown] = {}
    for forecast in Forecast.objects.filter(open_request | not_asked, newest=True).select_related("request"):
        job_id = forecast.request.job_id if forecast.request else forecast.job_id
        assert job_id is not None  # both filters ask for one
        shown = said.shown(forecast)
        kept = found.get(job_id)
        if kept is None or (shown.asked, _half(shown)) > (kept.asked, _half(kept)):
            found[job_id] = shown
    return found


def in_table(shown: Shown, percent: int, *, today: dt.date) -> str:
    """The day on which the chance reaches this share: "14 Mar 2027", "later than Nov 2028"."""
    return said.day_short(shown.at(percent), as_of=shown.as_of, today=today)


def _half(shown: Shown) -> dt.date:
    return shown.q50 or dt.date.max
