"""Each thing that must hold, broken on purpose, is told."""

from __future__ import annotations

import pytest

from billing import milestones, payments, reconcile
from billing.milestones import Opening
from billing.models import Allocation, Earning, Invoice, Milestone, Series
from billing.payments import Portion
from jobs.core import files
from jobs.core.models import Contract
from jobs.core.states import S
from tests.billing.made import IMPORT, TODAY, draft_of, lender, plan, planned_job, released
from tests.make import DAY_ONE, SYSTEM, make_job

pytestmark = pytest.mark.django_db


@pytest.fixture
def invoice() -> Invoice:
    invoice = released(planned_job())
    payments.record_payment(invoice.payer, amount_minor=500, received_on=TODAY, reference="1", parts=[Portion(invoice, 500)], by=SYSTEM)
    job = make_job(S.AWAITING_UTILITY)
    plan(job, by=IMPORT)
    milestones.bring_in_opening(job, [Opening(1, DAY_ONE, "A-17", 2_498_766, 2_000_000)], by=IMPORT)
    assert list(reconcile.breaches()) == []
    return invoice


def told() -> str:
    return " ".join(reconcile.breaches())


def test_shares_and_amounts_that_do_not_add_up(invoice):
    Milestone.objects.filter(job=invoice.job, position=2).update(share_millionths=1, amount_minor=1)

    assert f"Job {invoice.job.code}: its shares add up to 800001 millionths." in told()
    assert "its milestones add up to 2498767 minor units, its contract is 3123457" in told()


def test_a_contract_without_milestones(invoice):
    Contract.objects.create(job=make_job(), amount_minor=5)

    assert "has a contract and no milestones" in told()


def test_a_milestone_that_its_facts_do_not_earn():
    job = planned_job(S.IN_BUILD)
    Milestone.objects.filter(job=job, position=1).update(earned_on=DAY_ONE, recorded_on=TODAY)

    assert "First milestone is earned on 2026-05-04, its facts say None" in told()
    assert "the reports say 0 was earned for First milestone" in told()


def test_an_earning_that_went_missing(invoice):
    Earning.objects.filter(milestone=invoice.milestone).delete()

    assert "the reports say 0 was earned for First milestone, it is 2498766" in told()


def test_an_invoice_that_does_not_match_its_milestone(invoice):
    Invoice.objects.filter(pk=invoice.pk).update(amount_minor=1_000)

    assert "Invoice 1001 does not match its milestone in job, amount or payer" in told()


def test_a_paper_that_was_changed_on_disk(invoice):
    assert invoice.pdf is not None
    files.path_of(invoice.pdf.sha256).write_bytes(b"%PDF- another")

    assert "Invoice 1001: its paper on disk is missing or is not the one that was released" in told()


def test_a_gap_in_the_numbers_and_a_number_beyond(invoice):
    Series.objects.update(next=1004)
    assert "Invoice numbers are missing: 1002, 1003." in told()

    Series.objects.update(first=1002, next=1002)
    assert "Invoice numbers are outside the run: 1001." in told()


def test_more_put_to_an_invoice_than_it_asks_for_and_more_than_came_in(invoice):
    payment = payments.record_payment(invoice.payer, amount_minor=1, received_on=TODAY, reference="2", parts=[], by=SYSTEM)
    Allocation.objects.create(payment=payment, invoice=invoice, amount_minor=2_498_766, at=invoice.released_at, by_name="x")

    assert "Invoice 1001: $5.00 more is put to it than it asks for." in told()
    assert "$24,987.65 more is put to debts or sent back than came in." in told()


def test_money_put_to_a_draft_or_to_somebody_elses_debt(invoice):
    draft = draft_of(planned_job())
    payment = payments.record_payment(lender(), amount_minor=100, received_on=TODAY, reference="2", parts=[], by=SYSTEM)
    Allocation.objects.create(payment=payment, invoice=draft, amount_minor=100, at=invoice.released_at, by_name="x")

    assert "has money put to it" in told()
    assert "is put to somebody else's debt" in told()


def test_an_opening_balance_paid_too_much(invoice):
    opening = Milestone.objects.openings().get()
    payment = payments.record_payment(opening.payer, amount_minor=500_000, received_on=TODAY, reference="2", parts=[], by=SYSTEM)
    Allocation.objects.create(payment=payment, milestone=opening, amount_minor=500_000, at=invoice.released_at, by_name="x")

    assert "the opening balance of First milestone is paid $12.34 too much" in told()


def test_a_paper_over_another_amount(invoice):
    Invoice.objects.filter(pk=invoice.pk).update(contents=invoice.contents | {"total": "$1.00"})

    assert f"Invoice {invoice.number} is over $24,987.66, its paper says $1.00." in told()


def test_an_earning_of_a_milestone_that_is_gone(invoice):
    Earning.objects.filter(milestone=invoice.milestone).update(milestone=None)

    assert "the reports say 2498766 was earned for First milestone, which is no milestone any more" in told()
