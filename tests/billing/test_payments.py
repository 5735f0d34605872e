"""Payments: partial, over, for several invoices, with a fee; and what is refused."""

from __future__ import annotations

import datetime as dt

import pytest

from billing import milestones, payments, reconcile
from billing.milestones import Opening
from billing.models import Allocation, Invoice, Milestone, Payment
from billing.payments import Portion
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.states import S
from tests.billing.made import IMPORT, TODAY, draft_of, lender, plan, planned_job, released
from tests.make import DAY_ONE, SYSTEM, make_job

pytestmark = pytest.mark.django_db


def pay(payer, amount_minor, parts, *, reference="wire 1", by=SYSTEM, received_on=TODAY):
    return payments.record_payment(payer, amount_minor=amount_minor, received_on=received_on, reference=reference, parts=parts, by=by)


def left(thing: Payment | Invoice | Milestone) -> int:
    return type(thing)._default_manager.with_left().get(pk=thing.pk).left_minor


def test_a_part_payment_leaves_the_rest_open(farida):
    invoice = released(planned_job())

    payment = pay(invoice.payer, 1_000_000, [Portion(invoice, 1_000_000)], by=farida)

    assert left(invoice) == 1_498_766
    assert left(payment) == 0
    assert Invoice.objects.open().get() == invoice
    assert Invoice.objects.part_paid().get() == invoice


def test_what_is_paid_in_full_is_open_no_longer():
    invoice = released(planned_job())

    pay(invoice.payer, 2_498_766, [Portion(invoice, 2_498_766)])

    assert left(invoice) == 0
    assert not Invoice.objects.open().exists()
    assert Invoice.objects.paid().get() == invoice


def test_what_came_beyond_the_invoice_stays_unapplied_until_it_is_put_to_another(farida):
    trust = lender()
    one, other = released(planned_job(payer=trust)), released(planned_job(payer=trust))

    payment = pay(trust, 3_000_000, [Portion(one, 2_498_766)])
    assert left(payment) == 501_234
    assert Payment.objects.unapplied().get() == payment

    payments.apply_rest(trust, payment=payment, parts=[Portion(other, 501_234)], by=farida)

    assert left(payment) == 0
    assert left(other) == 2_498_766 - 501_234
    assert not Payment.objects.unapplied().exists()
    assert list(reconcile.breaches()) == []


def test_one_payment_settles_several_invoices_with_the_lenders_fee_beside():
    trust = lender()
    one, other = released(planned_job(payer=trust)), released(planned_job(payer=trust))
    fee = 25_000

    payment = pay(
        trust, 2 * 2_498_766 - fee, [Portion(one, 2_498_766), Portion(other, 2_498_766 - fee), Portion(other, fee, "fee", "funding fee")]
    )

    assert (left(one), left(other), left(payment)) == (0, 0, 0)
    assert list(reconcile.breaches()) == []


def test_a_write_off_needs_its_reason_and_no_money(farida):
    invoice = released(planned_job())

    with pytest.raises(Refused, match="give the reason for the write-off"):
        payments.write_off(invoice.payer, debt=invoice, amount_minor=100, reason=" ", by=farida)
    payments.write_off(invoice.payer, debt=invoice, amount_minor=100, reason="rounding of the lender", by=farida)

    assert left(invoice) == 2_498_666
    assert Allocation.objects.get().payment is None


def test_an_opening_balance_is_paid_like_an_invoice():
    job = make_job(S.AWAITING_UTILITY)
    first, _ = plan(job, by=IMPORT)
    milestones.bring_in_opening(job, [Opening(1, DAY_ONE, "A-17", 2_498_766, 2_000_000)], by=IMPORT)
    first.refresh_from_db()

    pay(first.payer, 498_766, [Portion(first, 498_766)])

    assert left(first) == 0
    assert not Milestone.objects.open().exists()
    assert list(reconcile.breaches()) == []


def test_the_longest_due_stands_first_among_what_a_payer_owes():
    trust = lender(terms_days=10)
    invoice = released(planned_job(payer=trust))
    old = planned_job(S.IN_BUILD, payer=trust)
    milestones.bring_in_opening(old, [Opening(1, DAY_ONE, "A-17", 100_000, 0)], by=IMPORT)

    assert [payments.name_of(debt) for debt in payments.open_debts(trust)] == ["Opening balance A-17", f"Invoice {invoice.number}"]


@pytest.mark.parametrize(
    ("amount", "parts", "sentence"),
    [
        (3_000_000, [2_498_767], r"Invoice 1001 has \$24,987\.66 open, and \$24,987\.67 would be put to it: \$0\.01 too much"),
        (100, [101], r"The parts add up to \$1\.01, which is \$0\.01 more than the \$1\.00 of this payment"),
        (100, [60, 60], r"The parts add up to \$1\.20, which is \$0\.20 more"),
        (3_000_000, [1_500_000, 1_000_000], r"Invoice 1001 has \$24,987\.66 open, and \$25,000\.00 would be put to it"),
        (0, [], "must be more than zero"),
        (100, [0], "Invoice 1001: an amount of more than zero is wanted"),
        (100, [-5], "Invoice 1001: an amount of more than zero is wanted"),
    ],
)
def test_sums_that_do_not_match_are_refused_and_nothing_is_half_posted(amount, parts, sentence):
    invoice = released(planned_job())

    with pytest.raises(Refused, match=sentence):
        pay(invoice.payer, amount, [Portion(invoice, part) for part in parts])

    assert not Payment.objects.exists()
    assert not Allocation.objects.exists()


def test_a_payment_of_next_year_is_refused():
    invoice = released(planned_job())

    with pytest.raises(Refused, match="18 November 2027 has not come yet"):
        pay(invoice.payer, 100, [], received_on=dt.date(2027, 11, 18))


def test_a_debt_of_somebody_else_or_a_draft_takes_no_money():
    trust, job = lender(), planned_job()
    other = released(planned_job())

    with pytest.raises(Refused, match=f"is not billed to {trust.name} but to Guadalupe Hernández"):
        pay(trust, 100, [Portion(other, 100)])
    draft = draft_of(job)
    with pytest.raises(Refused, match="is not released yet"):
        pay(draft.payer, 100, [Portion(draft, 100)])
    milestone = Milestone.objects.get(job=job, position=2)
    with pytest.raises(Refused, match="is not an opening balance"):
        pay(milestone.payer, 100, [Portion(milestone, 100)])


def test_the_same_payment_is_on_record_once_and_a_second_has_its_own_reference():
    payer = released(planned_job()).payer
    pay(payer, 100, [], reference="wire  1")

    with pytest.raises(Refused, match=r"\$1\.00 of Guadalupe Hernández on 18 November 2026 with the reference wire 1 is already on record"):
        pay(payer, 100, [], reference="wire 1 ")
    pay(payer, 100, [], reference="wire 2")

    assert Payment.objects.count() == 2


def test_only_finance_records_payments(dana):
    payer = released(planned_job()).payer

    with pytest.raises(NotAllowed):
        pay(payer, 100, [], by=dana)
