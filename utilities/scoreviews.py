"""The page on how good the forecasts were, its file, and the button that has the last year replayed."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRefresh

from jobs.core import clock, lists, words
from jobs.core.actors import actor, member
from jobs.core.charts import outcomes
from jobs.core.refusals import Refused
from jobs.core.web import recorded, right
from utilities import replay, scorehomes, scoreshown, scoring
from utilities.models import FitRequest, Replay, Utility
from utilities.models.scores import Source
from utilities.scoreshown import Line
from utilities.scoring import Table


@right("core.see_utilities")
@require_safe
def scores(request: HttpRequest) -> HttpResponseBase:
    return _page(request)


@right("core.see_utilities")
@require_safe
def scores_export(request: HttpRequest, ending: str) -> HttpResponseBase:
    """All figures of the page, of both sources, as a file: of every utility, or of the one that the page shows."""
    rows = scoreshown.file_rows(scoring.stored(_utility(request)))
    return lists.table_file("forecasts-judged", ending, scoreshown.HEADINGS, rows, given=request.GET)


@right("core.edit_utilities")
@require_POST
def scores_replay(request: HttpRequest) -> HttpResponseBase:
    """Begin, or wake what stands still."""
    running = replay.running()
    if running is not None and replay.stands_still(running):
        replay.wake(running)
        return recorded(request, "The replay goes on where it was left.", "scores")
    try:
        replay.begin(None, today=clock.office_today(), by=actor(request))
    except Refused as refusal:
        return _page(request, refused=str(refusal), status=422)
    return recorded(request, "The last year is being replayed.", "scores")


@right("core.see_utilities")
@require_safe
def scores_progress(request: HttpRequest) -> HttpResponseBase:
    """The part of the page that is asked for anew while a replay runs; once it is done, the whole page."""
    running = replay.running()
    if running is None:
        return HttpResponseClientRefresh()
    return render(request, "utilities/_scores_progress.html", _progress(running))


def _page(request: HttpRequest, *, refused: str = "", status: int = 200) -> HttpResponse:
    utility = _utility(request)
    tables = {source: scoring.table(source, utility) for source in Source}
    source = _chosen(request, tables)
    table, today = tables[source], clock.office_today()
    context: dict[str, Any] = {
        "utility": utility,
        "source": source,
        "sources": [(other, _count(found)) for other, found in tables.items()],
        "table": table,
        "refused": refused,
        "running": replay.running(),
        "followed_from": scoring.FOLLOWED_FROM,
        "utility_query": f"utility={utility.uid}" if utility else "",
    }
    if running := context["running"]:
        context |= _progress(running)
    if table is not None:
        whole = table.whole
        context |= {
            "lead": scoreshown.lead(table),
            "against": scoreshown.against(table),
            "few": scoreshown.few(table),
            "measures": scoreshown.measures(whole),
            "stated": scoreshown.stated(whole),
            "stated_chart": scoreshown.stated_chart(whole),
            "spreadsheet_seen": scoreshown.share(whole.spreadsheet.coverage[0]),
            "bars": [(name, scoreshown.share(value)) for name, value in scoreshown.bars(whole)],
            "pit_chart": scoreshown.pit_chart(whole),
            "parts": _parts(source, utility, table),
        }
    if utility is not None and table is not None and table.whole.n:
        seen = FitRequest.objects.seen_by(member(request))
        context["homes"] = scorehomes.homes(source, utility, seen=seen, today=today)
        context["outcome_caption"] = outcomes.CAPTION
    return render(request, "utilities/scores.html", context, status=status)


def _utility(request: HttpRequest) -> Utility | None:
    text = request.GET.get("utility", "")
    if not text:
        return None
    try:
        uid = uuid.UUID(text)
    except ValueError as fault:
        raise Http404("There is no such utility.") from fault
    return get_object_or_404(Utility.objects.seen_by(member(request)), uid=uid)


def _chosen(request: HttpRequest, tables: Mapping[Source, Table | None]) -> Source:
    """The source asked for; unasked what was said, or, while nothing of it can be judged, what is replayed."""
    asked = request.GET.get("of", "")
    if asked in Source.values:
        return Source(asked)
    return Source.REPLAYED if _count(tables[Source.REPLAYED]) and not _count(tables[Source.SAID]) else Source.SAID


def _count(table: Table | None) -> int:
    return table.whole.n if table else 0


def _parts(source: Source, utility: Utility | None, table: Table) -> list[tuple[str, str, str, list[Line]]]:
    """Heading, what the margin holds, a note, and the lines of each way to look at the whole."""
    told = [
        ("By days waited", "Waited", "calendar days waited when it was said", [Line(name, None, part) for name, part in table.leads()]),
        ("By month", "Month", "in which it was said", [Line(_month(key), None, part) for key, part in table.months()]),
    ]
    if utility is None:
        lines = [Line(found.name, found, part) for found, part in scoring.by_utility(source)]
        told.insert(0, ("By utility", "Forecasts", "", lines))
    return told


def _month(key: str) -> str:
    year, month = key.split("-")
    return words.day(clock.office_today().replace(year=int(year), month=int(month), day=1)).partition(" ")[2]


def _progress(running: Replay) -> dict[str, Any]:
    done, of = running.days_done, len(running.days)
    sentence = f"{words.number(done)} of {words.count(of, 'day')} forecast anew"
    if done:
        left = (running.moved_at - running.begun_at) / done * (of - done)
        minutes = round(left.total_seconds() / 60)
        sentence += f", {'about ' + words.count(minutes, 'minute') if minutes else 'less than a minute'} left"
    told = f"{sentence}. You may leave this page; the result will stand on it."
    return {"tenths": done * 10 // max(of, 1), "progress": told, "still": replay.stands_still(running)}
