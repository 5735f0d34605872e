from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from billing import bank, disputes, invoices, milestones, payments, waivers
from billing.models import BankLine, Invoice, Milestone, Payment
from billing.payments import Portion
from jobs.core import actors, clock
from jobs.core.actors import Actor
from jobs.core.models import Job
from jobs.core.states import S as State
from jobs.notices.models import Message
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


def _paid(by: Actor) -> tuple[Invoice, Payment]:
    invoice = released()
    whole = invoice.amount_minor
    payment = payments.record_payment(
        invoice.payer, amount_minor=whole, received_on=TODAY, reference="wire 77", parts=[Portion(invoice, whole)], by=SYSTEM
    )
    return invoice, payment


def _credit(by: Actor) -> tuple[Any, dict[str, Any]]:
    # Paid before, so that money is taken off it too; credited in full, so that the milestone is set free.
    invoice, _ = _paid(by)
    return invoice, {"amount_minor": invoice.amount_minor, "reason": "billed to the wrong payer"}


def _disputed(by: Actor) -> tuple[Any, dict[str, Any]]:
    invoice = released()
    disputes.dispute(invoice, reason="not what was agreed", by=SYSTEM)
    return invoice, {"outcome": "credited in part"}


def _sent(by: Actor) -> tuple[Any, dict[str, Any]]:
    invoice = released()
    Message.objects.filter(job=invoice.job).update(state="withdrawn", reason="the address was wrong")
    return invoice, {}


def _cleared(by: Actor) -> tuple[Any, dict[str, Any]]:
    waivers.set_wording("unconditional_progress", text="Paid {amount}.", source="counsel", by=SYSTEM)
    return _paid(by)[0], {"cleared_on": TODAY}


def _unapplied(by: Actor) -> tuple[Any, dict[str, Any]]:
    payer = released().payer
    payment = payments.record_payment(payer, amount_minor=500, received_on=TODAY, reference="wire 77", parts=[], by=SYSTEM)
    return payer, {"payment": payment, "amount_minor": 500, "on": TODAY, "reference": "", "reason": "paid twice"}


def _back(words: dict[str, Any]) -> Callable[[Actor], tuple[Any, dict[str, Any]]]:
    def make(by: Actor) -> tuple[Any, dict[str, Any]]:
        _, payment = _paid(by)
        return payment.payer, {"payment": payment, **words}

    return make


def _line() -> BankLine:
    line: dict[str, Any] = {"payer_text": "HERNANDEZ G", "received_on": TODAY, "amount_minor": 100_000, "reference": "ACH 1", "nth": 1}
    bank.keep(**line, invoices="", by=SYSTEM)
    return BankLine.objects.get(**line)


def _confirm(by: Actor) -> tuple[Any, dict[str, Any]]:
    invoice = released()
    return _line(), {"payer": invoice.payer, "parts": [Portion(invoice, 100_000)]}


def _wanted(by: Actor) -> tuple[Any, dict[str, Any]]:
    job = make_job(State.GRID_TIED)
    parts = [replace(milestones.DEFAULT_PARTS[0], wants=("Letter",)), milestones.DEFAULT_PARTS[1]]
    milestones.set_plan(job, contract_minor=CONTRACT, signed_on=dt.date(2026, 4, 1), parts=parts, by=SYSTEM)
    return job, {"words": "Letter", "upload": ("letter.pdf", b"%PDF-1.4 a letter")}


def _changed(by: Actor) -> tuple[Any, dict[str, Any]]:
    return planned(), {"amount_minor": -100_000, "agreed_on": TODAY, "words": "a smaller battery"}


def _ended(by: Actor) -> tuple[Any, dict[str, Any]]:
    return planned(), {"kind": "backup_dropped", "agreed_on": TODAY, "words": "the owner wants no backup"}


PLAN: dict[str, Any] = {"contract_minor": CONTRACT, "signed_on": dt.date(2026, 4, 1), "parts": milestones.DEFAULT_PARTS}
CAP: dict[str, Any] = {"most_minor": 50_000, "source": "a statute", "read_on": TODAY, "valid_from": TODAY}
TAX: dict[str, Any] = {"words": "Sales tax", "rate_millionths": 29_000, "rounding": "half-up", "source": "a notice", "valid_from": TODAY}
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
    "billing.credits.credit": Example(roles(F), _credit),
    "billing.disputes.dispute": Example(roles(F), lambda by: (released(), {"reason": "not what was agreed"})),
    "billing.disputes.settle_dispute": Example(roles(F), _disputed),
    "billing.invoices.send_again": Example(roles(F), _sent),
    "billing.waivers.give_unconditional": Example(roles(F), _cleared),
    "billing.waivers.set_wording": Example(roles(M), lambda by: ("conditional_final", {"text": "{amount}", "source": "counsel"}), BOTH),
    "billing.moneyback.refund": Example(roles(F), _unapplied),
    "billing.moneyback.record_returned": Example(roles(F), _back({"on": TODAY, "reason": "no funds"})),
    "billing.moneyback.take_off": Example(roles(F), _back({"reason": "meant for another home"})),
    "billing.bank.confirm": Example(roles(F), _confirm),
    "billing.bank.set_aside": Example(roles(F), lambda by: (_line(), {"reason": "a refund of our own insurer"})),
    "billing.wanted.give_paper": Example(roles(F), _wanted),
    "billing.changes.change_order": Example(roles(F), _changed, BOTH),
    "billing.changes.close": Example(roles(F), _ended),
    "billing.local.set_deposit_cap": Example(roles(M), lambda by: ("CO", dict(CAP)), BOTH),
    "billing.local.set_tax_rate": Example(roles(M), lambda by: ("CO", dict(TAX)), BOTH),
    "billing.payments.write_off": Example(roles(F), _write_off),
}
