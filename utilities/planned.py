"""Homes whose request is not sent yet: on which day it most likely will be, or which fact is missing to say so."""

from __future__ import annotations

import datetime as dt
import statistics
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from django.db.models import Min, Q

from jobs.core import kinds as k
from jobs.core.models import Fact, Job
from jobs.core.states import S
from utilities import services
from utilities.models import FitRequest, Outcome, Service

NO_UTILITY = "which utility serves the home"
NO_INSTALL_DAY = "the planned install day"


@dataclass(frozen=True)
class Planned:
    """A home and the day on which its request is taken to be sent."""

    job: Job
    service: Service
    filed_on: dt.date


def missing(job: Job, service: Service | None) -> str | None:
    """What must be known before a home without a sent request can be forecast."""
    if service is None:
        return NO_UTILITY
    if job.state == S.IN_BUILD and job.install_on is None and job.request_planned_on is None:
        return NO_INSTALL_DAY
    return None


def not_asked(*, today: dt.date, utilities: Collection[int] | None = None) -> list[Planned]:
    """The homes that have a utility and no open request, with their planned days from `today` on."""
    waiting = Q(state__in=[S.GRID_TIED, S.AWAITING_UTILITY]) | Q(state=S.IN_BUILD)
    asked = FitRequest.objects.open().filter(job__isnull=False)
    jobs = {job.pk: job for job in Job.objects.filter(waiting).exclude(pk__in=asked.values("job"))}
    rows = Service.objects.filter(job__in=jobs).select_related("utility").prefetch_related("utility__closures").order_by("-pk")
    first_service = {service.job_id: service for service in rows}  # the earliest entered comes last and stays
    median = install_to_request_days()
    fitted = set(
        FitRequest.objects.filter(job__in=[pk for pk, job in jobs.items() if job.state == S.AWAITING_UTILITY], outcome=Outcome.FITTED)
        .exclude(pk__in=_removed())
        .values_list("job_id", flat=True)
    )
    found = []
    for pk, service in first_service.items():
        # A collar of the wrong serial is fitted all the same: that home waits for no visit.
        if missing(jobs[pk], service) is None and pk not in fitted and (utilities is None or service.utility_id in utilities):
            found.append(Planned(jobs[pk], service, filed_on(jobs[pk], service, today=today, median=median)))
    return found


def filed_on(job: Job, service: Service, *, today: dt.date, median: int) -> dt.date:
    """The planned day of sending; without one the next working day, in build counted from the planned install day."""
    if job.request_planned_on is not None and job.request_planned_on >= today:
        return job.request_planned_on
    ready = today
    if job.state == S.IN_BUILD and job.install_on is not None:
        ready = max(job.install_on + dt.timedelta(days=median), today)
    return services.calendar_of(service.utility).next_worked(ready)


def install_to_request_days() -> int:
    """The contractor's own median of the days from commissioning to the first sending; 0 while none is on record."""
    sent: Mapping[int, dt.date] = dict(
        FitRequest.objects.waits().filter(job__isnull=False).values_list("job").annotate(first=Min("filed_on"))
    )
    built = Fact.objects.standing().of_kind(k.COMMISSIONED).filter(job__in=sent).values_list("job").annotate(first=Min("day"))
    days = [(sent[pk] - day).days for pk, day in built if sent[pk] >= day]
    return round(statistics.median(days)) if days else 0


def _removed() -> list[int]:
    """Fitted requests whose collar was removed afterwards: those homes wait anew."""
    removed = dict(Fact.objects.standing().of_kind(k.COLLAR_REMOVED).order_by("day").values_list("job", "day"))
    rows = FitRequest.objects.filter(job__in=removed, outcome=Outcome.FITTED).values_list("pk", "job_id", "fitted_by")
    return [pk for pk, job_id, fitted_by in rows if job_id is not None and fitted_by is not None and removed[job_id] >= fitted_by]
