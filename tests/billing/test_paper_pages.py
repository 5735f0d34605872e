"""Pages of credit notes, lines of the bank, the plan's amounts, a payer's statement."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from billing import bank, credits, payments
from billing.models import BankLine, CreditNote, Invoice, Payment
from billing.payments import Portion
from jobs.core.states import S
from tests.billing.made import TODAY, draft_of, planned_job, released
from tests.make import SYSTEM, make_job

pytestmark = pytest.mark.django_db


def post(client, name, data, **kwargs):
    return client.post(reverse(name, kwargs=kwargs), data)


def page(client, name, query="", **kwargs) -> str:
    answer = client.get(reverse(name, kwargs=kwargs) + query)
    assert answer.status_code == 200
    return str(answer.content.decode())


@pytest.fixture
def finance(client, farida):
    client.force_login(farida.user)
    return client


def test_an_invoice_paid_and_credited_says_so_and_a_credit_above_it_keeps_what_was_typed(finance):
    invoice = released(planned_job())
    parts = [Portion(invoice, 100_000)]
    payments.record_payment(invoice.payer, amount_minor=100_000, received_on=TODAY, reference="wire 1", parts=parts, by=SYSTEM)

    refused = post(finance, "invoice_credit", {"amount_minor": "30,000.00", "reason": "a long reason"}, uid=invoice.uid)
    assert refused.status_code == 422
    assert "is more than the $24,987.66 of invoice 1001" in refused.content.decode()
    assert "a long reason" in refused.content.decode()
    done = post(finance, "invoice_credit", {"amount_minor": "24,987.66", "reason": "wrong payer"}, uid=invoice.uid)

    assert done.status_code == 302
    text = page(finance, "invoice", uid=invoice.uid)
    assert "Credited in full." in text
    assert "taken back" in text
    assert "Credit note 1" in page(finance, "credit_note", uid=CreditNote.objects.get().uid)
    assert "$1,000.00 is unapplied" in page(finance, "payment", uid=Payment.objects.get().uid)


def test_lines_that_come_out_even_are_confirmed_with_one_press_and_one_that_changed_is_not(finance):
    one, other = released(planned_job()), released(planned_job())
    for place, invoice in enumerate((one, other)):
        keep: dict[str, Any] = {"received_on": TODAY, "reference": f"ACH {place}", "invoices": str(invoice.number), "nth": 1}
        bank.keep(payer_text="SOMEBODY", amount_minor=invoice.amount_minor, by=SYSTEM, **keep)
    first, second = bank.matched(list(BankLine.objects.open()))
    assert "2 of them settle what they touch" in page(finance, "bank_lines")

    seen = {f"seen-{first.line.uid}": first.seen, f"seen-{second.line.uid}": "what it was"}
    answer = post(finance, "bank_lines", {"uids": [first.line.uid, second.line.uid], **seen})

    assert answer.status_code == 422
    assert "has changed since you read it" in answer.content.decode()
    assert Payment.objects.get().bank_line == first.line
    assert not Invoice.objects.open().filter(pk=one.pk).exists()


def test_a_plan_with_an_amount_a_deposit_and_a_retainage_is_typed_and_shown_again(finance):
    job = make_job(S.IN_BUILD)
    data = {
        "contract_minor": "31,234.57", "signed_on": "1 Apr 2026", "retainage": "5", "retainage_triggers": ["backup_verified"],
        "part1-name": "Deposit", "part1-amount_minor": "1,000.00", "part1-deposit": "on", "part1-triggers": ["contract_signed"],
        "part2-name": "Rest", "part2-share": "100", "part2-triggers": ["grid_tied"], "part2-wants": "Letter\nPhoto",
        "part2-payer_name": "Funding 1",
    }  # fmt: skip

    both = post(finance, "job_plan", data | {"part1-share": "10"}, code=job.code)
    assert both.status_code == 422
    assert "Either a share or an amount is wanted." in both.content.decode()
    assert post(finance, "job_plan", data, code=job.code).status_code == 302

    assert list(job.milestones.values_list("amount_minor", flat=True)) == [100_000, 2_872_284, 151_173]
    text = page(finance, "job_plan", code=job.code)
    assert "$1,511.73 kept back from it" in text
    assert "missing: Letter, Photo" in text
    assert "How the price adds up" in page(finance, "job_account", code=job.code)


def test_a_change_order_on_the_page_lowers_what_is_not_invoiced(finance):
    job = planned_job()
    released(job)
    data = {"way": "down", "amount_minor": "246.91", "agreed_on": "18 Nov 2026", "words": "one lamp less"}

    assert post(finance, "change_order", data | {"words": ""}, code=job.code).status_code == 422
    assert post(finance, "change_order", data, code=job.code).status_code == 302

    text = page(finance, "job_account", code=job.code)
    assert "one lamp less" in text
    assert "$30,987.66" in text


def test_the_statement_says_the_same_on_the_page_and_on_paper(finance):
    invoice = released(planned_job())
    credits.credit(invoice, amount_minor=100_000, reason="smaller battery", by=SYSTEM)

    text = page(finance, "payer", uid=invoice.payer.uid)
    paper = finance.get(reverse("statement_pdf", kwargs={"uid": invoice.payer.uid}) + "?from_on=1+Nov+2026&to_on=18+Nov+2026")

    assert "owes us $23,987.66." in text
    assert paper.content.startswith(b"%PDF-")
    wrong = finance.get(reverse("payer", kwargs={"uid": invoice.payer.uid}), {"from_on": "18 Nov 2026", "to_on": "1 Nov 2026"})
    assert wrong.status_code == 422


def test_what_was_read_is_what_is_released(finance):
    draft = draft_of(planned_job())

    answer = post(finance, "invoice_release", {f"seen-{draft.uid}": "1"}, uid=draft.uid)

    assert answer.status_code == 422
    assert "comes to $24,987.66 now, not to the $0.01 you read" in answer.content.decode()
    assert not Invoice.objects.released().exists()
