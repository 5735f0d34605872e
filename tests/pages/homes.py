"""Homes as several apps know them: served by a utility, asked for, forecast, with a plan of payment."""

from __future__ import annotations

import datetime as dt
from typing import Any

from billing import milestones
from jobs.core.models import Job
from jobs.core.states import S
from tests.make import SENT, SYSTEM, make_job
from utilities import requests, versions
from utilities.leadtimes.quantiles import pack
from utilities.models import FitRequest, Forecast, ForecastRun, Service, Utility
from utilities.terms import Terms

AS_OF = dt.date(2026, 11, 17)


def a_utility(name: str = "Ottermere Municipal Light", **fields: Any) -> Utility:
    terms = {name: fields.pop(name) for name in list(fields) if name in Terms.__dataclass_fields__}
    told = {"zone": "America/Denver", "emergency_phone": "+13035550199", **fields}
    utility, made = Utility.objects.get_or_create(name=name, defaults=told)
    if made and terms:
        versions.record_version(utility, terms=Terms(**terms), valid_from=dt.date(2020, 1, 1), by=SYSTEM)
    return utility


def served(job: Job, utility: Utility | None = None, *, meter: str = "") -> Service:
    return Service.objects.create(job=job, utility=utility or a_utility(), meter_number=meter)


def asked(*, utility: Utility | None = None, meter: str = "", reference: str = "", **fields: Any) -> FitRequest:
    """A home whose request is sent, with the utility's own records."""
    job = make_job(S.GRID_TIED, **fields)
    return requests.record_sent(served(job, utility, meter=meter), on=SENT, reference=reference, by=SYSTEM)


def job_of(request: FitRequest) -> Job:
    assert request.job is not None
    return Job.objects.get(pk=request.job.pk)


def forecast_for(request: FitRequest, *, half_in: int, ninety_in: int = 165, thin: bool = False) -> Forecast:
    """A stored forecast whose half and nine in ten lie this many days after 17 November."""
    run = ForecastRun.objects.create(as_of=AS_OF, rule="tests", begun_at=dt.datetime(2026, 11, 18, tzinfo=dt.UTC), method="tests")
    days = [half_in if percent <= 50 else ninety_in if percent <= 90 else 65_535 for percent in range(1, 100)]
    return Forecast.objects.create(
        run=run,
        utility=request.utility,
        request=request,
        as_of=AS_OF,
        filed_on=request.filed_on,
        offsets=pack(days),
        p_never_millionths=40_000,
        why={"own": 31, "borrowed": 0, "pooled": False, "thin": thin},
    )


def plan(job: Job, *, contract_minor: int = 4_800_000) -> None:
    milestones.set_plan(job, contract_minor=contract_minor, signed_on=None, parts=milestones.DEFAULT_PARTS, by=SYSTEM)
