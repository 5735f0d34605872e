"""Payments from a bank's or lender's file."""

from __future__ import annotations

import pytest

from billing import milestones, payments, reconcile
from billing.milestones import Opening
from billing.models import Milestone, Payment
from jobs.core import importing
from jobs.core.importing import Looked
from jobs.core.models import ImportRun
from jobs.core.refusals import NotAllowed
from jobs.core.states import S
from tests.acts.snapshot import snapshot
from tests.billing.made import IMPORT, TODAY, lender, plan, planned_job, released
from tests.make import DAY_ONE, SYSTEM, make_job

pytestmark = pytest.mark.django_db

HEAD = "Payer,Received on,Amount,Reference,Invoice number\r\n"


def looked_at(by, *rows: str, head: str = HEAD) -> tuple[ImportRun, Looked]:
    data = (head + "".join(f"{row}\r\n" for row in rows)).encode()
    run = importing.prepare("payments", name="bank.csv", data=data, columns={}, by=by)
    return run, importing.look(run, by=by)


def brought_in(by, *rows: str) -> ImportRun:
    run, _ = looked_at(by, *rows)
    return importing.apply(run, by=by)


def wanted(by, *rows: str) -> str:
    return " ".join(str(error) for error in looked_at(by, *rows)[1].errors)


def test_payments_are_put_to_the_invoices_they_name_and_the_same_file_twice_changes_nothing(farida):
    trust = lender()
    invoice = released(planned_job(payer=trust))
    rows = [f'{trust.name},18 Nov 2026,"24,000.00",wire 1,{invoice.number}', f"{trust.name.upper()},11/17/2026,$50.00,wire 2,"]

    first = brought_in(farida, *rows)
    before = {label: kept for label, kept in snapshot().items() if label.startswith("billing.")}
    second = brought_in(farida, *rows)

    assert (first.counts["new"], first.counts["left_out"]) == (2, 0)
    assert (second.counts["new"], second.counts["unchanged"]) == (0, 2)
    assert {label: kept for label, kept in snapshot().items() if label.startswith("billing.")} == before
    assert [p.left_minor for p in Payment.objects.with_left().order_by("reference")] == [0, 5_000]
    assert payments.left_of(invoice) == 98_766
    assert list(reconcile.breaches()) == []


def test_the_preview_says_what_will_be_recorded(farida):
    trust = lender()
    payments.record_payment(trust, amount_minor=100, received_on=TODAY, reference="wire 1", parts=[], by=SYSTEM)

    _, looked = looked_at(farida, f"{trust.name},18 Nov 2026,1.00,wire 1,", f"{trust.name},18 Nov 2026,2.00,wire 2,")

    assert looked.preview is not None
    assert (looked.preview.new, looked.preview.unchanged) == (1, 1)
    assert "one payment will be recorded, one payment already on record." in looked.preview.words


def test_an_opening_balance_is_paid_by_its_reference(farida):
    job = make_job(S.AWAITING_UTILITY)
    first, _ = plan(job, by=IMPORT)
    milestones.bring_in_opening(job, [Opening(1, DAY_ONE, "A-17", 2_498_766, 2_000_000)], by=IMPORT)

    brought_in(farida, "Guadalupe Hernández,18 Nov 2026,4987.66,wire 1,A-17")

    assert Milestone.objects.with_left().get(pk=first.pk).left_minor == 0


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ("Nobody,18 Nov 2026,1.00,w,", 'There is no payer "Nobody"'),
        ("{payer},18 Nov 2027,1.00,w,", "18 November 2027 has not come yet."),
        ("{payer},someday,1.00,w,", "is not a day"),
        ("{payer},18 Nov 2026,1.005,w,", "has too many decimals"),
        ("{payer},18 Nov 2026,-1.00,w,", "A payment must be more than zero"),
        ("{payer},18 Nov 2026,1.00,w,9999", 'There is no released invoice or opening balance "9999".'),
        ("{payer},18 Nov 2026,30000.00,w,1001", "Invoice 1001 has $24,987.66 open, and this file would put $30,000.00 to it"),
        ("Guadalupe Hernández,18 Nov 2026,1.00,w,1001", "Invoice 1001 is billed to {payer}, not to Guadalupe Hernández."),
    ],
)
def test_a_row_that_cannot_be_right_is_told_and_nothing_is_written(farida, row, sentence):
    trust = lender()
    released(planned_job(payer=trust))
    planned_job()  # makes the homeowner a payer

    told = wanted(farida, row.format(payer=trust.name))

    assert sentence.format(payer=trust.name) in told
    assert not Payment.objects.exists()


def test_two_rows_that_together_are_more_than_is_open_are_told(farida):
    trust = lender()
    released(planned_job(payer=trust))

    told = wanted(farida, f"{trust.name},18 Nov 2026,20000.00,a,1001", f"{trust.name},18 Nov 2026,20000.00,b,1001")

    assert "this file would put $40,000.00 to it" in told


def test_equal_rows_in_one_file_are_asked_about(farida):
    trust = lender()

    told = wanted(farida, f"{trust.name},18 Nov 2026,1.00,,", f"{trust.name},18 Nov 2026,1.00,,")

    assert "stands also in row 3" in told


def test_two_payers_of_one_name_are_told_apart_by_the_invoice(farida):
    one, _ = released(planned_job()), released(planned_job())

    assert "Two payers are called Guadalupe Hernández" in wanted(farida, "Guadalupe Hernández,18 Nov 2026,1.00,w,")
    brought_in(farida, f"Guadalupe Hernández,18 Nov 2026,1.00,w,{one.number}")

    assert Payment.objects.get().payer == one.payer


def test_a_column_moved_by_one_is_refused(farida):
    trust = lender()

    told = wanted(farida, f"x,{trust.name},18 Nov 2026,1.00,wire 1,")

    assert f'Received on: "{trust.name}" is not a day.' in told
    assert not Payment.objects.exists()


def test_only_finance_brings_payments_in(theo):
    with pytest.raises(NotAllowed):
        looked_at(theo, "x,18 Nov 2026,1.00,,")
