"""What a payer is sent besides invoices: the statement, and waivers of lien."""

from __future__ import annotations

import datetime as dt
import io
from typing import Any

import pypdf
import pytest

from billing import credits, invoices, moneyback, payments, statement, waivers
from billing.models import Waiver
from billing.payments import Portion
from billing.pdf.statement import statement as statement_pdf
from jobs.core import clock, files
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.notices.models import Message, MessageFile
from tests.billing.made import TODAY, lender, planned_job, released
from tests.make import SYSTEM

pytestmark = pytest.mark.django_db
WHOLE = 2_498_766


def pay(invoice, amount_minor, parts, reference="wire 1"):
    return payments.record_payment(invoice.payer, amount_minor=amount_minor, received_on=TODAY, reference=reference, parts=parts, by=SYSTEM)


def text_of(data: bytes) -> str:
    return " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages).replace("\n", " ")


def test_a_statement_adds_up_line_by_line_to_what_is_open_less_what_is_unapplied():
    # By hand: 24,987.66 + 24,987.66 - 1,000.00 credited - 25,100.00 paid - 87.66 fee + 100.00 refunded = 23,887.66.
    trust = lender()
    with clock.pretend(clock.now() - dt.timedelta(days=40)):
        one = released(planned_job(payer=trust))
    other = released(planned_job(payer=trust))
    credits.credit(other, amount_minor=100_000, reason="smaller battery", by=SYSTEM)
    payment = pay(one, 2_510_000, [Portion(one, 2_490_000), Portion(one, 8_766, "fee", "funding fee")])
    moneyback.refund(trust, payment=payment, amount_minor=10_000, on=TODAY, reference="", reason="too much came", by=SYSTEM)

    told = statement.of(trust, from_on=TODAY, to_on=TODAY)

    assert told.before_minor == WHOLE
    assert [entry.amount_minor for entry in told.entries] == [WHOLE, -100_000, -2_510_000, -8_766, 10_000]
    assert told.balance_minor == 2_388_766
    assert told.balance_minor == sum(row.left_minor for row in told.open_items) - told.unapplied_minor
    text = text_of(statement_pdf(statement.paper(told)))
    assert "$23,987.66 is open; nothing is past its day." in text
    assert "$100.00 that you have paid is not yet set against an invoice." in text
    assert "$23,887.66" in text


def wording(kind: str, text: str, region: str = "") -> None:
    waivers.set_wording(kind, text=text, region=region, source="drafted for this test", by=SYSTEM)


def test_a_conditional_waiver_goes_with_its_invoice_in_the_states_own_wording():
    wording("conditional_progress", "For {customer}: on receipt of {amount}.")
    wording("conditional_progress", "Colorado: on receipt of {amount} for {invoice}.", region="CO")
    wording("conditional_final", "The last {amount}.")
    job = planned_job(S.BACKUP_VERIFIED)

    first, last = released(job, 1), released(job, 2)

    assert "Colorado: on receipt of $24,987.66 for 1001." in text_of(files.read(first.waivers.get().pdf))
    assert last.waivers.get().kind == "conditional_final"
    message = Message.objects.get(job=job, about__invoice=str(first.uid))
    assert [file.name for file in MessageFile.objects.filter(message=message).order_by("pk")] == ["invoice-1001.pdf", "waiver-1001.pdf"]


def test_an_unconditional_waiver_is_given_only_once_all_is_paid_and_has_cleared(farida):
    wording("unconditional_progress", "Paid {amount}.")
    invoice = released(planned_job())
    with pytest.raises(Refused, match=r"\$24,987\.66 of invoice 1001 is still open"):
        waivers.give_unconditional(invoice, cleared_on=TODAY, by=farida)
    pay(invoice, WHOLE, [Portion(invoice, WHOLE)])
    with pytest.raises(Refused, match="it cannot have cleared before"):
        waivers.give_unconditional(invoice, cleared_on=TODAY - dt.timedelta(days=1), by=farida)
    with pytest.raises(Refused, match="has not come yet"):
        waivers.give_unconditional(invoice, cleared_on=TODAY + dt.timedelta(days=1), by=farida)

    waivers.give_unconditional(invoice, cleared_on=TODAY, by=farida)

    assert Waiver.objects.get().amount_minor == WHOLE
    with pytest.raises(Refused, match="was given already"):
        waivers.give_unconditional(invoice, cleared_on=TODAY, by=farida)


def test_an_unconditional_waiver_names_only_the_money_that_still_stands(farida):
    # By hand: 24,987.66 came, 87.66 of it was taken back by a credit note; 24,900.00 stands.
    wording("unconditional_progress", "Paid {amount}.")
    invoice = released(planned_job())
    pay(invoice, WHOLE, [Portion(invoice, WHOLE)])
    credits.credit(invoice, amount_minor=8_766, reason="a smaller breaker", by=SYSTEM)

    assert waivers.give_unconditional(invoice, cleared_on=TODAY, by=farida).amount_minor == 2_490_000


def test_the_balance_of_a_period_that_is_past_is_not_called_what_is_open():
    # By hand: nothing until 40 days ago, then two invoices of 24,987.66, the second today.
    trust, then = lender(), TODAY - dt.timedelta(days=40)
    with clock.pretend(clock.now() - dt.timedelta(days=40)):
        released(planned_job(payer=trust))
    released(planned_job(payer=trust))

    past = statement.of(trust, from_on=then, to_on=TODAY - dt.timedelta(days=1))

    assert past.balance_minor == WHOLE
    assert past.balance_under == "at the end of November 17, 2026"
    assert "at the end of November 17, 2026" in text_of(statement_pdf(statement.paper(past)))
    assert statement.of(trust, from_on=then, to_on=TODAY).balance_under.startswith("what is open")


@pytest.mark.parametrize("text", ["{amount.__class__}", "{amount!r}", "{amount:>9}", "{secret}", "{0}", "{", ""])
def test_a_wording_may_only_leave_open_what_is_known(dana, text):
    with pytest.raises(Refused):
        waivers.set_wording("conditional_final", text=text, source="counsel", by=dana)


def test_an_invoice_is_sent_again_only_after_the_first_has_gone(farida):
    invoice = released(planned_job())
    with pytest.raises(Refused, match="has not left yet"):
        invoices.send_again(invoice, by=farida)
    Message.objects.update(state="withdrawn")

    invoices.send_again(invoice, by=farida)

    assert [message.state for message in invoices.messages_of(invoice)] == ["withdrawn", "released"]


def test_a_remittance_for_several_invoices_that_does_not_come_out_even_is_explained(farida):
    trust = lender()
    one, other = released(planned_job(payer=trust)), released(planned_job(payer=trust))
    parts = [Portion(one, WHOLE), Portion(other, WHOLE - 500)]
    told: dict[str, Any] = {"amount_minor": 2 * WHOLE - 500, "received_on": TODAY, "reference": "r", "parts": parts}

    with pytest.raises(Refused, match=r"\$5\.00 of Invoice 1002 stays open after this remittance"):
        payments.record_payment(trust, **told, by=farida)
    payment = payments.record_payment(trust, **told, difference="bank charge", by=farida)

    assert payment.difference == "bank charge"
