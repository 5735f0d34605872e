from __future__ import annotations

import datetime as dt
from typing import Any

from billing import invoices, milestones, payments
from billing.models import Invoice, Milestone
from billing.payments import Portion
from jobs.core import actors, clock
from jobs.core.actors import Actor
from jobs.core.models import Job
from jobs.core.states import S as State
from tests.acts.examples import BOTH, Example, F, M, roles
from tests.make import SYSTEM, make_job

CONTRACT = 3_123_457
TODAY = dt.date(2026, 11, 18)
IMPORT = actors.command("import", source="import")


def planned(state: State = State.GRID_TIED, *, by: Actor = SYSTEM) -> Job:
    job = make_job(state)
    milestones.set_plan(job, contract_minor=CONTRACT, signed_on=dt.date(2026, 4, 1), parts=milestones.DEFAULT_PARTS, by=by)
    return job


def drafted() -> Invoice:
    return Invoice.objects.get(job=planned())


def released() -> Invoice:
    return invoices.release(drafted(), by=SYSTEM)


def _quietly_earned(by: Actor) -> tuple[Any, dict[str, Any]]:
    return Milestone.objects.get(job=planned(by=IMPORT), position=1), {}


def _payment(by: Actor) -> tuple[Any, dict[str, Any]]:
    invoice = released()
    parts = [Portion(invoice, 100_000), Portion(invoice, 4_000, "fee", "wire")]
    return invoice.payer, {"amount_minor": 150_000, "received_on": TODAY, "reference": "wire 77", "parts": parts}


def _rest(by: Actor) -> tuple[Any, dict[str, Any]]:
    invoice = released()
    payment = payments.record_payment(invoice.payer, amount_minor=150_000, received_on=TODAY, reference="wire 77", parts=[], by=SYSTEM)
    return invoice.payer, {"payment": payment, "parts": [Portion(invoice, 150_000)]}


def _write_off(by: Actor) -> tuple[Any, dict[str, Any]]:
    invoice = released()
    return invoice.payer, {"debt": invoice, "amount_minor": invoice.amount_minor, "reason": "settled with the lender"}


def _late(by: Actor) -> tuple[Any, dict[str, Any]]:
    with clock.pretend(clock.now() - dt.timedelta(days=60)):
        return released(), {}


def _question(by: Actor) -> tuple[Any, dict[str, Any]]:
    milestone = released().milestone
    milestone.question, milestone.question_on = "What earned it has changed.", TODAY
    milestone.save()
    return milestone, {"answer": "the invoice stands"}


PLAN: dict[str, Any] = {"contract_minor": CONTRACT, "signed_on": dt.date(2026, 4, 1), "parts": milestones.DEFAULT_PARTS}
LENDER: dict[str, Any] = {"kind": "lender", "email": "desk@sunlit.example", "terms_days": 45}

EXAMPLES: dict[str, Example] = {
    "billing.milestones.set_plan": Example(roles(M, F), lambda by: (make_job(State.GRID_TIED), dict(PLAN)), BOTH),
    "billing.payers.add_payer": Example(roles(M, F), lambda by: ("Sunlit Trust", dict(LENDER))),
    "billing.invoices.draft": Example(roles(F), _quietly_earned),
    "billing.invoices.release": Example(roles(F), lambda by: (drafted(), {})),
    "billing.questions.answer_question": Example(roles(F), _question),
    "billing.payments.record_payment": Example(roles(F), _payment),
    "billing.payments.apply_rest": Example(roles(F), _rest),
    "billing.reminders.remind": Example(roles(F), _late),
    "billing.payments.write_off": Example(roles(F), _write_off),
}
