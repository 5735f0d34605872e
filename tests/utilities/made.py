"""Utilities, services and requests for tests, by the owning acts."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import Any

from jobs.core import clock
from jobs.core.models import Job
from jobs.core.states import S
from tests.make import SENT, SYSTEM, make_job
from utilities import meters, profile, requests
from utilities.models import District, FitRequest, Outcome, Service, Utility
from utilities.terms import Terms

EVER = dt.date(2020, 1, 1)
_count = itertools.count(1)


def make_utility(name: str = "", **fields: Any) -> Utility:
    """A utility in Denver's zone that works Monday to Friday, with an emergency line."""
    terms = {name: fields.pop(name) for name in list(fields) if name in Terms.__dataclass_fields__}
    told = {"zone": "America/Denver", "emergency_phone": "+13035550111", **fields}
    return profile.add_utility(
        profile.Profile(name=name or f"Ottermere Municipal Light {next(_count)}", **told),
        terms=Terms(**terms) if terms else None,
        valid_from=EVER,
        by=SYSTEM,
    )


def make_service(job: Job | None = None, *, utility: Utility | None = None, district: District | None = None, **fields: Any) -> Service:
    """A home that is grid-tied complete, connected to a utility."""
    return meters.connect_service(
        job or make_job(S.GRID_TIED),
        utility=utility or make_utility(),
        district=district,
        meter_number=fields.pop("meter_number", f"55 806 {next(_count):03d}"),
        by=SYSTEM,
        **fields,
    )


def make_request(service: Service | None = None, *, on: dt.date = SENT, **fields: Any) -> FitRequest:
    """An open request of a home."""
    return requests.record_sent(service or make_service(), on=on, route=fields.pop("route", "portal"), by=SYSTEM, **fields)


def make_past(
    utility: Utility, *, filed_on: dt.date, waited: int | None, outcome: str = "", district: District | None = None
) -> FitRequest:
    """A row of history without a job: fitted after so many calendar days, or open (waited None)."""
    ended_on = filed_on + dt.timedelta(days=waited) if waited is not None else None
    outcome = outcome or (Outcome.OPEN if ended_on is None else Outcome.FITTED)
    return FitRequest.objects.create(
        code=requests.fresh_code(),
        utility=utility,
        district=district,
        filed_on=filed_on,
        outcome=outcome,
        ended_on=ended_on,
        fitted_by=ended_on if outcome == Outcome.FITTED else None,
        own_reference=f"H{next(_count)}",
        recorded_at=clock.now(),
        recorded_by_name="tests",
        changed_at=clock.now(),
    )


def job_of(request: FitRequest) -> Job:
    assert request.job is not None
    return request.job


def service_of(request: FitRequest) -> Service:
    assert request.service is not None
    return request.service
