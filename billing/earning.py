"""What follows from each fact: milestones earned, drafts made, and what no longer stands taken back or asked about."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from billing import local
from billing.models import Earning, Invoice, Milestone
from billing.triggers import earned_on, ever_reached, missing, words_of
from jobs.core import clock, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.followups import Settled
from jobs.core.models import Job
from jobs.core.states import Facts, S


def earn(settled: Settled) -> None:
    """The follow-up: runs in the transaction of every fact, under the job's lock, so that nothing is earned twice."""
    bring_up_to_date(settled.job, settled.facts, by=settled.by)


@dataclass(frozen=True)
class _Proof:
    facts: Facts
    reached: Mapping[S, dt.date]

    def day(self, milestone: Milestone) -> dt.date | None:
        day = earned_on(milestone.triggers, self.facts, self.reached)
        cancelled = self.facts.latest(k.CANCELLED)
        # A cancelled contract earns nothing more; what was complete before may still be learned late.
        return None if day and cancelled and day > cancelled.day else day

    def payer_day(self, milestone: Milestone) -> dt.date | None:
        return earned_on(milestone.payer_triggers, self.facts, self.reached)


def proof_of(job: Job, facts: Facts) -> _Proof:
    return _Proof(facts, ever_reached(facts, job.home_kind))


def bring_up_to_date(job: Job, facts: Facts, *, by: Actor) -> None:
    """Bring the job's milestones to what its facts say. The caller holds the job's lock."""
    milestones = list(job.milestones.all())
    if not milestones:
        return
    proof = proof_of(job, facts)
    invoices = {invoice.bills_id: invoice for invoice in Invoice.objects.filter(job=job, bills__isnull=False)}
    for milestone in milestones:
        _payer(milestone, proof)
        if milestone.opening:
            continue
        invoice, day = invoices.get(milestone.pk), proof.day(milestone)
        if invoice is not None and invoice.released:
            _ask(milestone, invoice, day, proof)
        elif milestone.earned_on is None and day is not None:
            _earned(milestone, day, by=by)
        elif milestone.earned_on is not None and day is None:
            take_back(milestone, because="what earned it was withdrawn", by=by)
        elif milestone.earned_on != day:
            milestone.earned_on = day
            milestone.save(update_fields=["earned_on"])


def _earned(milestone: Milestone, day: dt.date, *, by: Actor) -> None:
    milestone.earned_on, milestone.recorded_on = day, clock.office_today()
    milestone.save(update_fields=["earned_on", "recorded_on"])
    _enter(milestone, milestone.amount_minor, day, by=by)
    # What an import earns is proposed to finance in the list of milestones earned and not invoiced.
    if not by.quiet:
        draft_for(milestone)


def draft_for(milestone: Milestone) -> Invoice | None:
    """A draft for an earned milestone. Nothing is asked for a part of no amount."""
    if milestone.amount_minor == 0:
        return None
    invoice = Invoice(job=milestone.job, milestone=milestone, bills=milestone, payer_id=milestone.payer_id, drafted_at=clock.now())
    figure(invoice)
    invoice.save()
    return invoice


def figure(invoice: Invoice) -> None:
    """What a draft asks for, with the tax of the home's state as it is today. The milestone's amount is before tax."""
    net = invoice.milestone.amount_minor
    tax = local.tax_on(net, region=invoice.job.site.region, on=clock.office_today())
    invoice.amount_minor, invoice.tax_minor = net + tax.minor, tax.minor
    invoice.tax_millionths, invoice.tax_words, invoice.tax_rounding = tax.rate_millionths, tax.words, tax.rounding


def changed(milestone: Milestone, amount_minor: int, *, because: str, by: Actor) -> None:
    """The amount of a milestone that is not invoiced changes, and with it its draft and what the reports say was earned."""
    before, milestone.amount_minor = milestone.amount_minor, amount_minor
    milestone.save(update_fields=["amount_minor", "retained_minor"])
    if milestone.earned_on is None or amount_minor == before:
        return
    _enter(milestone, amount_minor - before, milestone.earned_on, because=because, by=by)
    drafts = Invoice.objects.drafts().filter(milestone=milestone)
    draft = drafts.first()
    if amount_minor == 0:
        drafts.delete()
    elif draft is not None:
        draft.milestone = milestone
        figure(draft)
        draft.save(update_fields=["amount_minor", "tax_minor", "tax_millionths", "tax_words", "tax_rounding"])
    elif before == 0 and not by.quiet:
        draft_for(milestone)


def take_back(milestone: Milestone, *, because: str, by: Actor) -> None:
    """It is not earned any more: its draft is dropped, and the report of this period says so. Not for what is invoiced."""
    assert milestone.earned_on is not None
    Invoice.objects.drafts().filter(milestone=milestone).delete()
    _enter(milestone, -milestone.amount_minor, milestone.earned_on, because=because, by=by)
    milestone.earned_on = milestone.recorded_on = None
    milestone.save(update_fields=["earned_on", "recorded_on"])


def _enter(milestone: Milestone, amount_minor: int, day: dt.date, *, by: Actor, because: str = "") -> None:
    Earning.objects.create(
        job_id=milestone.job_id,
        milestone=milestone,
        name=milestone.name,
        payer_id=milestone.payer_id,
        amount_minor=amount_minor,
        earned_on=day,
        recorded_on=clock.office_today(),
        recorded_at=clock.now(),
        by=by.name,
        because=because,
    )


def _payer(milestone: Milestone, proof: _Proof) -> None:
    day = proof.payer_day(milestone)
    if milestone.payer_met_on != day:
        milestone.payer_met_on = day
        milestone.save(update_fields=["payer_met_on"])


def _ask(milestone: Milestone, invoice: Invoice, day: dt.date | None, proof: _Proof) -> None:
    """A released invoice never changes; where the facts have changed, finance is asked."""
    question = question_of(milestone, invoice, day, proof)
    if question == milestone.answered:
        question = ""
    if question != milestone.question:
        milestone.question = question
        milestone.question_on = clock.office_today() if question else None
        milestone.save(update_fields=["question", "question_on"])


def question_of(milestone: Milestone, invoice: Invoice, day: dt.date | None, proof: _Proof) -> str:
    assert milestone.earned_on is not None
    if day is None:
        gone = missing(milestone.triggers, proof.facts, proof.reached)
        why = f"no longer on record: {words_of(gone)}" if gone else "the contract was cancelled before it was earned"
        return f"Invoice {invoice.number} is released, and what earned it has changed: {why}. Decide what becomes of it."
    if day != milestone.earned_on:
        return (
            f"Invoice {invoice.number} says that it was earned on {words.day(milestone.earned_on)}; "
            f"the facts now say {words.day(day)}. Decide what becomes of it."
        )
    return ""
