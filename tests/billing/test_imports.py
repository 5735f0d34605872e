"""Payments from a bank's or lender's file: lines that a person confirms."""

from __future__ import annotations

import pytest

from billing import bank, milestones, payments, reconcile
from billing.milestones import Opening
from billing.models import BankLine, Milestone, Payment
from billing.payments import Portion
from jobs.core import importing
from jobs.core.importing import Looked
from jobs.core.models import ImportRun
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.states import S
from tests.acts.snapshot import snapshot
from tests.billing.made import IMPORT, TODAY, lender, plan, planned_job, released
from tests.make import DAY_ONE, SYSTEM, make_job

pytestmark = pytest.mark.django_db

HEAD = "Payer,Received on,Amount,Reference,Invoice number\r\n"
WHOLE = 2_498_766


def looked_at(by, *rows: str, head: str = HEAD) -> tuple[ImportRun, Looked]:
    data = (head + "".join(f"{row}\r\n" for row in rows)).encode()
    run = importing.prepare("payments", name="bank.csv", data=data, columns={}, by=by)
    return run, importing.look(run, by=by)


def brought_in(by, *rows: str, head: str = HEAD) -> ImportRun:
    run, _ = looked_at(by, *rows, head=head)
    return importing.apply(run, by=by)


def wanted(by, *rows: str) -> str:
    return " ".join(str(error) for error in looked_at(by, *rows)[1].errors)


def matched() -> list[bank.Matched]:
    return bank.matched(list(BankLine.objects.open()))


def test_a_file_posts_nothing_and_the_same_file_twice_changes_nothing_also_after_it_was_confirmed(farida):
    trust = lender()
    invoice = released(planned_job(payer=trust))
    rows = [f'{trust.name},18 Nov 2026,"24,987.66",wire 1,{invoice.number}', "somebody,11/17/2026,$50.00,wire 2,"]

    first = brought_in(farida, *rows)
    assert (first.counts["new"], first.counts["left_out"]) == (2, 0)
    assert not Payment.objects.exists()
    for match in matched():
        if match.payer:
            bank.confirm(match.line, payer=match.payer, parts=match.portions, by=farida)
    before = {label: kept for label, kept in snapshot().items() if label.startswith("billing.")}
    second = brought_in(farida, *rows)

    assert (second.counts["new"], second.counts["unchanged"]) == (0, 2)
    assert {label: kept for label, kept in snapshot().items() if label.startswith("billing.")} == before
    assert payments.left_of(invoice) == 0
    assert list(reconcile.breaches()) == []


def test_the_preview_knows_what_somebody_typed_before(farida):
    trust = lender()
    payments.record_payment(trust, amount_minor=100, received_on=TODAY, reference="wire 1", parts=[], by=SYSTEM)

    _, looked = looked_at(farida, f"{trust.name},18 Nov 2026,1.00,wire 1,", f"{trust.name},18 Nov 2026,2.00,wire 2,")

    assert looked.preview is not None
    assert (looked.preview.new, looked.preview.unchanged) == (1, 1)
    assert "One line will be kept, one line already on record." in looked.preview.words


def test_an_opening_balance_is_proposed_by_its_reference(farida):
    job = make_job(S.AWAITING_UTILITY)
    first, _ = plan(job, by=IMPORT)
    milestones.bring_in_opening(job, [Opening(1, DAY_ONE, "A-17", WHOLE, 2_000_000)], by=IMPORT)
    brought_in(farida, "Hernandez,18 Nov 2026,4987.66,paid A-17,")

    [match] = matched()
    assert match.even
    bank.confirm(match.line, payer=first.payer, parts=match.portions, by=farida)

    assert Milestone.objects.with_left().get(pk=first.pk).left_minor == 0


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ("Sunlit,18 Nov 2027,1.00,w,", "18 November 2027 has not come yet."),
        ("Sunlit,someday,1.00,w,", "is not a day"),
        ("Sunlit,18 Nov 2026,1.005,w,", "has too many decimals"),
        ('Sunlit,18 Nov 2026,"1,00",w,', "is not an amount"),
        ("Sunlit,18 Nov 2026,-1.00,w,", "A payment must be more than zero"),
        (",18 Nov 2026,1.00,w,", "the payer's name is wanted"),
        # One column moved: what stands in the wrong place is named with its column.
        ("x,Sunlit,18 Nov 2026,1.00,wire 1,", 'Received on: "Sunlit" is not a day.'),
        ("18 Nov 2026,Sunlit,1.00,w,", 'Received on: "Sunlit" is not a day.'),
    ],
)
def test_a_row_that_cannot_be_right_is_told_and_nothing_is_written(farida, row, sentence):
    assert sentence in wanted(farida, row)
    assert not BankLine.objects.exists()


def test_equal_rows_in_one_file_are_asked_about_and_each_can_be_said_to_be_its_own(farida):
    row = "Sunlit,18 Nov 2026,1.00,,"
    assert "stands also in row 3: take one of them out, or, if each came, write 2 for the second" in wanted(farida, row, row)

    head = HEAD.strip() + ",Of equal payments the\r\n"
    run = brought_in(farida, f"{row},", f"{row},2", head=head)
    again = brought_in(farida, f"{row},", f"{row},2", head=head)

    assert (run.counts["new"], again.counts["new"], BankLine.objects.count()) == (2, 0, 2)
    payer = lender()
    for line in BankLine.objects.open():
        bank.confirm(line, payer=payer, parts=[], by=farida)
    assert sorted(Payment.objects.values_list("reference", flat=True)) == ["", "(2)"]


def test_a_line_is_decided_once(farida):
    trust = lender()
    brought_in(farida, "Sunlit,18 Nov 2026,1.00,a,", "Sunlit,18 Nov 2026,2.00,b,")
    one, other = BankLine.objects.order_by("amount_minor")
    bank.confirm(one, payer=trust, parts=[], by=farida)
    bank.set_aside(other, reason="our own transfer", by=farida)

    with pytest.raises(Refused, match="Farida Novak has confirmed this line already"):
        bank.confirm(one, payer=trust, parts=[], by=farida)
    with pytest.raises(Refused, match="has set this line aside: our own transfer"):
        bank.confirm(other, payer=trust, parts=[], by=farida)
    assert Payment.objects.count() == 1


def test_a_line_refused_half_way_leaves_no_payment(farida):
    trust = lender()
    invoice = released(planned_job(payer=trust))
    brought_in(farida, f"{trust.name},18 Nov 2026,1.00,a,{invoice.number}")
    line = BankLine.objects.get()

    with pytest.raises(Refused, match="more than the"):
        bank.confirm(line, payer=trust, parts=[Portion(invoice, 101)], by=farida)

    assert not Payment.objects.exists()
    assert BankLine.objects.open().get() == line


def test_only_finance_brings_payments_in(theo):
    with pytest.raises(NotAllowed):
        looked_at(theo, "x,18 Nov 2026,1.00,,")
