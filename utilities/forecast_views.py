"""The forecast sheet of a utility, as a PDF."""

from __future__ import annotations

import datetime as dt
import uuid

from django.http import HttpRequest, HttpResponseBase
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from jobs.core import clock, rules, words
from jobs.core.actors import member
from jobs.core.charts import ranges as range_rows
from jobs.core.web import download, right
from utilities import drawn, outlooks, promised, services, shown
from utilities.forecastsheet import PITCH, RANGE, WIDE, Plain, Request, forecast_sheet
from utilities.models import FitRequest, Outlook, Utility
from utilities.models.requests import FitRequestQuerySet
from utilities.views import seen_utility

MOST = 200  # open requests on paper


@right("core.see_utilities")
@require_safe
def utility_forecast(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    found = seen_utility(request, uid)
    paper = plain_of(found, seen=FitRequest.objects.seen_by(member(request)).waits().filter(utility=found))
    return download(forecast_sheet(paper), f"forecast-{slugify(found.name)}.pdf", "application/pdf")


def plain_of(utility: Utility, *, seen: FitRequestQuerySet) -> Plain:
    """The sheet as of the newest run. seen: the waits of this utility that the person may open."""
    today, here = clock.office_today(), clock.today_in(utility.zone)
    outlook = Outlook.objects.filter(utility=utility).first()
    pace = shown.paces([utility]).get(utility.pk)
    as_of = pace.likely.as_of if pace else today
    still = seen.open()
    count = still.count()
    lines = shown.soonest(still, today=today, most=MOST)
    ranges = drawn.ranges(lines, today=here, width=RANGE)
    waits = drawn.waits(utility, outlook, seen=seen, today=here, width=WIDE)
    weeks = drawn.weeks(utility, seen=seen, today=here, pitch=PITCH)
    named = promised.promises(seen, today=here)
    why = pace.likely.why if pace else None
    alarm = outlooks.alarm_of(utility)
    left = f"Its pace has left its past: {alarm.how_much} since {words.day(alarm.since)} ({alarm.told_by})." if alarm else ""
    front = why.front_words(as_of=as_of, weekdays=len(utility.worked_weekdays)) if why else ""
    return Plain(
        company=str(rules.several("company_name")["company_name"]),
        utility=utility.name,
        as_of=words.day(as_of),
        cells=(
            ("Kind", utility.get_kind_display()),
            ("Limit for the visit", _limit(utility)),
            ("Open requests", words.number(count)),
            ("Forecasts as of", words.day_short(as_of, today=dt.date.min)),
        ),
        sentence=_sentence(count, pace),
        why=" ".join(part for part in (why.whole if why else "", front, left) if part),
        waits=waits.chart if waits else None,
        shares=waits.rows if waits else (),
        waits_note=f"{waits.counts_words} {waits.lately_words}" if waits else "",
        weeks=weeks.chart if weeks else None,
        week_rows=tuple((words.day_short(row.monday, today=today), row.words, row.range) for row in weeks.rows) if weeks else (),
        range_head=ranges.head if ranges.rows else None,
        requests=tuple(
            Request(
                sent=words.day_short(line.request.filed_on, today=today),
                home=f"{line.person}, {line.home}" if line.person else line.home,
                code=line.request.code,
                half=line.half or "tonight",
                nine=line.nine or "tonight",
                drawn=ranges.rows.get(line.request.pk),
            )
            for line in lines
        ),
        requests_note=f"The {words.number(MOST)} with the soonest half day, of {words.number(count)}." if count > MOST else "",
        promises=named.chart(utility, width=WIDE) if named.due else None,
        promises_sentence=named.sentence,
        caption=range_rows.CAPTION,
    )


def _sentence(count: int, pace: shown.Pace | None) -> str:
    waiting = (
        f"{words.count(count, 'request').capitalize()} {'waits' if count == 1 else 'wait'} here." if count else "No request waits here."
    )
    if pace is None:
        return f"{waiting} How long requests wait here is worked out tonight."
    days = f" ({pace.calendar_words})" if pace.calendar_words else ""
    return f"{waiting} Expected of a new one: {pace.sentence}, in business days of the utility{days}."


def _limit(utility: Utility) -> str:
    limit = services.visit_limit(utility)
    return f"To {limit.sentence}" if limit else "None published"
