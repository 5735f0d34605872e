"""Plans, invoices and payers for the tests of money."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Sequence
from typing import Any

from billing import invoices, milestones, payers
from billing.milestones import Part
from billing.models import Invoice, Milestone, Payer
from jobs.core import actors
from jobs.core.actors import Actor
from jobs.core.models import Job
from jobs.core.states import S
from tests.make import SYSTEM, make_job

SIGNED = dt.date(2026, 4, 1)
TODAY = dt.date(2026, 11, 18)
CONTRACT = 3_123_457  # $31,234.57
IMPORT = actors.command("import", source="import")
_count = itertools.count(1)


def plan(
    job: Job,
    *,
    contract_minor: int = CONTRACT,
    parts: Sequence[Part] = milestones.DEFAULT_PARTS,
    payer: Payer | None = None,
    by: Actor = SYSTEM,
) -> list[Milestone]:
    milestones.set_plan(job, contract_minor=contract_minor, signed_on=SIGNED, parts=parts, payer=payer, by=by)
    return list(Milestone.objects.filter(job=job).order_by("position"))


def planned_job(state: S = S.GRID_TIED, *, contract_minor: int = CONTRACT, payer: Payer | None = None, **fields: Any) -> Job:
    job = make_job(state, **fields)
    plan(job, contract_minor=contract_minor, payer=payer)
    return job


def draft_of(job: Job, position: int = 1) -> Invoice:
    return Invoice.objects.get(milestone__job=job, milestone__position=position)


def released(job: Job, position: int = 1, *, by: Actor = SYSTEM) -> Invoice:
    return invoices.release(draft_of(job, position), by=by)


def lender(*, terms_days: int | None = None, email: str = "desk@sunlit.example") -> Payer:
    return payers.add_payer(f"Sunlit Trust {next(_count)}", kind="lender", email=email, terms_days=terms_days, by=SYSTEM)
