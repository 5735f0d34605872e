"""Homes that will likely be ready for their call within two weeks, from the stored forecasts. Pages never fit."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from billing import figures
from jobs.appointments import readiness, worklists
from jobs.appointments.models import Tentative
from jobs.appointments.worth import Worth
from jobs.core import clock
from jobs.core.models import Job
from jobs.core.models.holds import Stops
from jobs.core.models.job import JobQuerySet
from jobs.core.states import S
from utilities import said
from utilities.models import Forecast, Outcome
from utilities.said import Shown

WITHIN = 14


@dataclass(frozen=True)
class Likely:
    job: Job
    chance: float  # that the collar is in by the day
    shown: Shown
    worth: Worth
    kept: Tentative | None

    @property
    def final_waits(self) -> bool:
        return any(part.words.startswith("final milestone") for part in self.worth.parts)


def by_when() -> dt.date:
    return clock.office_today() + dt.timedelta(days=WITHIN)


def likely(jobs: JobQuerySet) -> list[Likely]:
    """Homes that wait for their collar and more likely than not have it within two weeks; the dearest day of delay first, ties by code.

    That the chance is one half or more is the same as that half of such requests are fitted by then, a day that is stored. A home that is
    never offered a call, or whose calls are on hold, is left out.
    """
    day = by_when()
    near = Forecast.objects.filter(newest=True, request__outcome=Outcome.OPEN, half_on__lte=day)
    waiting = near.filter(request__job__in=jobs.in_state(S.AWAITING_UTILITY)).values_list("request__job", flat=True)
    told = {job: row for job, row in said.of_homes(set(waiting)).items() if row.half_on is not None and row.half_on <= day}
    found = list(worklists.with_parts(jobs.filter(pk__in=list(told)), clock.office_today()))
    finals, priced, today = figures.final_milestones_minor(found), worklists.rates(), clock.office_today()
    contracts = figures.contracts_minor(found)
    kept = {row.job_id: row for row in Tentative.objects.standing().filter(job__in=found).select_related("verifier")}
    rows = [
        Likely(
            job=job,
            chance=said.chance_of(told[job.pk], day),
            shown=said.shown(told[job.pk]),
            worth=worklists.worth_of(job, finals[job.pk], contract_minor=contracts[job.pk], since=None, today=today, priced=priced),
            kept=kept.get(job.pk),
        )
        for job in found
        if not _never_called(job)
    ]
    return sorted(rows, key=lambda row: (-row.worth.total_minor, row.job.code))


def _never_called(job: Job) -> bool:
    home = worklists.home_of(job, "")
    return bool(readiness.site_visit_reason(home.medical)) or Stops.CALLS in home.stopped
