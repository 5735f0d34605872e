"""Forecasts by themselves: each night, and soon after history changed. Any task may run twice."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from celery import shared_task
from django.db import IntegrityError
from django.db.models import Exists, F, Max, OuterRef, Q

from jobs.core import clock, rules
from jobs.core.models import ImportRun
from utilities import forecasts, replay, scoring
from utilities.models import Contact, FitRequest, Forecast, ForecastRun, Utility

NIGHT_FROM = 2  # o'clock in the office
# An import moves history many times a minute; its last rows are followed, or the hourly sweep if it was killed.
_IMPORT_STILL = dt.timedelta(seconds=90)
_MOVES_HISTORY = ("jobs", "requests")  # kinds of import
ONE_DAY = dt.timedelta(days=1)


@shared_task
def nightly() -> str:
    """On the first tick after two in the morning of the office all forecasts; on any other those that history has overtaken."""
    now = clock.now().astimezone(ZoneInfo(rules.text("office_zone")))
    night = now.date()
    if now.hour < NIGHT_FROM or ForecastRun.objects.filter(night_of=night).exists():
        return refresh_stale()
    try:
        # The day before is over; today is not, and would count as a day on which nothing was fitted.
        run = forecasts.refresh(as_of=night - ONE_DAY, rule="nightly", night_of=night)
    except IntegrityError:
        return "done by another worker"
    forecasts.prune(today=night)
    return f"{run.rows} rows of history, as of {run.as_of}"


@shared_task
def refresh_stale() -> str:
    """The forecasts of the utilities whose history, promises or calendar changed since their newest ones were begun."""
    if _import_running():
        return "an import is running"
    overtaken = stale()
    if not overtaken:
        return "nothing has changed"
    forecasts.refresh(as_of=clock.office_today() - ONE_DAY, rule="history changed", utilities=overtaken)
    return f"{len(overtaken)} utilities"


def stale() -> list[int]:
    newest = Forecast.objects.filter(utility=OuterRef("pk"), newest=True, request__isnull=True, job__isnull=True)
    moved = FitRequest.objects.filter(utility=OuterRef("pk"), changed_at__gte=OuterRef("begun"))
    # What was promised today is not known at the end of yesterday: it counts from tonight's run on.
    said = Contact.objects.filter(promised_by__isnull=False, on__lt=clock.office_today())
    promised = said.filter(utility=OuterRef("pk"), fact__recorded_at__gte=OuterRef("begun"))
    rows = Utility.objects.annotate(begun=newest.values("run__begun_at")[:1])
    # Rows of an import that was taken back are gone, and with them whose they were: all that were forecast before it are stale.
    back = ImportRun.objects.filter(kind__in=_MOVES_HISTORY).aggregate(last=Max("taken_back_at"))["last"]
    overtaken = Q(begun__lte=back) if back else Q()
    overtaken |= Q(begun__isnull=True) | Q(calendar_at__gte=F("begun")) | Exists(moved) | Exists(promised)
    return list(rows.filter(overtaken).values_list("pk", flat=True))


def _import_running() -> bool:
    runs = ImportRun.objects.filter(kind__in=_MOVES_HISTORY, started_at__isnull=False, finished_at__isnull=True, dropped_at__isnull=True)
    return any(clock.now() - dt.datetime.fromisoformat(run.counts["at"]) < _IMPORT_STILL for run in runs)


@shared_task
def score() -> str:
    """Once the night's forecasts stand, how good those of the past were; and whatever replay stands still goes on."""
    replay.wake_the_still()
    now = clock.now().astimezone(ZoneInfo(rules.text("office_zone")))
    if now.hour < NIGHT_FROM or not scoring.overtaken(today=now.date()):
        return "nothing has changed"
    return f"{scoring.rescore(today=now.date())} forecasts judged"


@shared_task
def go_on_replaying(replay_id: int) -> str:
    return replay.go_on(replay_id)
