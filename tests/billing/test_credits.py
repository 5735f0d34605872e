"""Credit notes: numbers of their own, what they free, and what becomes of what was paid."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from billing import credits, disputes, invoices, local, moneyback, payments, reconcile, reminders
from billing.models import CreditNote, Earning, Invoice, Payment
from billing.payments import Portion
from jobs.core import clock, files, homefacts
from jobs.core.refusals import Refused
from jobs.notices.models import Message
from tests.billing.made import TODAY, draft_of, planned_job, released
from tests.make import SYSTEM

pytestmark = pytest.mark.django_db
WHOLE = 2_498_766


def left(thing: Invoice | Payment) -> int:
    return type(thing)._default_manager.with_left().get(pk=thing.pk).left_minor


def paid(invoice: Invoice) -> Payment:
    parts = [Portion(invoice, invoice.amount_minor - 40_00), Portion(invoice, 40_00, "fee", "funding fee")]
    return payments.record_payment(
        invoice.payer, amount_minor=invoice.amount_minor - 40_00, received_on=TODAY, reference="w", parts=parts, by=SYSTEM
    )


def test_a_credit_in_part_lessens_the_invoice_and_leaves_its_paper_alone(farida):
    invoice = released(planned_job())
    invoice.refresh_from_db()
    before = (invoice.contents, invoice.pdf_id)

    note = credits.credit(invoice, amount_minor=100_000, reason="a smaller battery", by=farida)

    invoice.refresh_from_db()
    assert (note.number, left(invoice), invoice.bills) == (1, WHOLE - 100_000, invoice.milestone)
    assert (invoice.contents, invoice.pdf_id) == before
    assert (note.contents["total"], note.contents["later"]) == ("\u2212$1,000.00", "Of its $24,987.66, $23,987.66 remains.")
    assert files.read(note.pdf).startswith(b"%PDF-")
    assert Message.objects.get(kind="credit_note").state == "released"
    assert list(reconcile.breaches()) == []


def test_credited_in_full_the_milestone_is_billed_anew_under_the_next_number(farida):
    job = planned_job()
    invoice = released(job)

    credits.credit(invoice, amount_minor=WHOLE, reason="wrong payer", by=farida)
    again = invoices.release(invoices.draft(invoice.milestone, by=farida), by=farida)

    assert (left(invoice), again.number, left(again)) == (0, 1002, WHOLE)
    assert list(reconcile.breaches()) == []
    with pytest.raises(Refused, match=r"\$0\.01 is more than the \$0\.00 of invoice 1001 that can still be credited"):
        credits.credit(invoice, amount_minor=1, reason="once more", by=farida)


def test_what_was_paid_on_a_credited_invoice_is_unapplied_and_can_be_refunded(farida):
    invoice = released(planned_job())
    payment = paid(invoice)

    credits.credit(invoice, amount_minor=WHOLE, reason="contract cancelled", by=farida)
    assert (left(invoice), left(payment)) == (0, WHOLE - 40_00)

    with pytest.raises(Refused, match=r"\$24,947\.66 of this payment is put to nothing, and \$24,987\.66 would be sent back"):
        moneyback.refund(invoice.payer, payment=payment, amount_minor=WHOLE, on=TODAY, reference="", reason="cancelled", by=farida)
    moneyback.refund(invoice.payer, payment=payment, amount_minor=WHOLE - 40_00, on=TODAY, reference="", reason="cancelled", by=farida)

    assert left(payment) == 0
    assert list(reconcile.breaches()) == []


def test_a_credit_above_the_invoice_or_of_a_draft_or_without_a_reason_is_refused(farida):
    job = planned_job()
    with pytest.raises(Refused, match="A draft is not credited"):
        credits.credit(draft_of(job), amount_minor=1, reason="x", by=farida)
    invoice = released(job)

    with pytest.raises(Refused, match=r"\$24,987\.67 is more than the \$24,987\.66 of invoice 1001"):
        credits.credit(invoice, amount_minor=WHOLE + 1, reason="x", by=farida)
    with pytest.raises(Refused, match="Say why it is credited"):
        credits.credit(invoice, amount_minor=1, reason=" ", by=farida)
    assert not CreditNote.objects.exists()


def test_a_fact_that_fell_after_the_invoice_asks_and_the_full_credit_answers_and_unearns(farida, dana):
    job = planned_job()
    invoice = released(job)
    fact = job.facts.standing().of_kind("commissioned").get()
    homefacts.correct(fact, reason="it was another home", withdraw=True, by=dana)
    milestone = invoice.milestone
    milestone.refresh_from_db()
    assert "no longer on record" in milestone.question
    assert left(invoice) == WHOLE, "the invoice is not changed by itself"

    credits.credit(invoice, amount_minor=WHOLE, reason="not commissioned", by=farida)

    milestone.refresh_from_db()
    assert (milestone.question, milestone.earned_on) == ("", None)
    assert "credited in full" in milestone.answer
    assert sum(Earning.objects.values_list("amount_minor", flat=True)) == 0
    assert list(reconcile.breaches()) == []


def test_a_returned_payment_opens_what_it_had_settled_and_cannot_be_returned_twice(farida):
    invoice = released(planned_job())
    payment = paid(invoice)

    moneyback.record_returned(invoice.payer, payment=payment, on=TODAY, reason="no funds", by=farida)

    assert (left(invoice), left(payment)) == (WHOLE, 0)
    assert list(reconcile.breaches()) == []
    with pytest.raises(Refused, match=r"went back on 18 November 2026 already"):
        moneyback.record_returned(invoice.payer, payment=payment, on=TODAY, reason="no funds", by=farida)


def test_a_payment_taken_off_can_be_put_to_the_right_invoice(farida):
    one = released(planned_job())
    payment = paid(one)

    moneyback.take_off(one.payer, payment=payment, reason="meant for another home", by=farida)

    assert (left(one), left(payment)) == (WHOLE, WHOLE - 40_00)
    with pytest.raises(Refused, match="nothing to take off"):
        moneyback.take_off(one.payer, payment=payment, reason="again", by=farida)


def test_the_tax_of_the_homes_state_is_a_line_of_its_own_and_credits_mirror_it(dana, farida):
    tax: dict[str, Any] = {"words": "Colorado sales tax", "rounding": "half-even", "source": "a notice, invented", "valid_from": TODAY}
    local.set_tax_rate("CO", rate_millionths=29_000, **tax, by=dana)
    job = planned_job()
    # 24,987.66 x 2.9 % = 724.64214.
    invoice = released(job)
    assert (invoice.net_minor, invoice.tax_minor, invoice.amount_minor) == (WHOLE, 72_464, WHOLE + 72_464)
    assert [line["amount"] for line in invoice.contents["lines"]] == ["$24,987.66", "$724.64"]

    half = credits.credit(invoice, amount_minor=1_285_615, reason="half", by=farida)
    rest = credits.credit(invoice, amount_minor=invoice.amount_minor - 1_285_615, reason="the rest", by=farida)

    assert (half.tax_minor, half.tax_minor + rest.tax_minor) == (36_232, 72_464)
    assert list(reconcile.breaches()) == []


def test_a_tax_that_began_after_the_draft_was_read_is_told_before_release(dana, farida):
    draft = draft_of(planned_job())
    tax: dict[str, Any] = {"words": "Sales tax", "rounding": "half-up", "source": "a notice, invented", "valid_from": TODAY}
    local.set_tax_rate("CO", rate_millionths=29_000, **tax, by=dana)

    with pytest.raises(Refused, match=r"comes to \$25,712\.30 now, not to the \$24,987\.66 you read"):
        invoices.release(draft, seen_minor=WHOLE, by=farida)
    assert invoices.release(draft, seen_minor=WHOLE + 72_464, by=farida).number == 1001


def test_a_disputed_invoice_still_ages_and_nobody_is_reminded_of_it(farida):
    with clock.pretend(clock.now() - dt.timedelta(days=60)):
        invoice = released(planned_job())
    disputes.dispute(invoice, reason="the lamp was included", by=farida)

    assert Invoice.objects.open().disputed().get() == invoice
    with pytest.raises(Refused, match="is disputed"):
        reminders.remind(invoice, by=farida)
    disputes.settle_dispute(invoice, outcome="a credit of $100", by=farida)
    assert reminders.remind(invoice, by=farida)
