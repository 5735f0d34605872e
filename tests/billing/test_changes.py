"""The plan's parts, change orders before and after the first invoice, and what ends: together always the contract, to the cent."""

from __future__ import annotations

from dataclasses import replace

import pytest

from billing import account, changes, earning, milestones, paper, reconcile, wanted
from billing.milestones import DEFAULT_PARTS, Frame, Part
from billing.models import Agreement, Invoice, Milestone
from jobs.core import facts, homefacts
from jobs.core.models import Contract, Job
from jobs.core.refusals import Refused
from jobs.core.states import S
from tests.billing.made import CONTRACT, SIGNED, TODAY, draft_of, planned_job, released
from tests.make import SYSTEM, make_job

pytestmark = pytest.mark.django_db

DEPOSIT = Part("Deposit", "On signing.", 0, ("contract_signed",), amount_minor=100_000, deposit=True)


def planned(*parts: Part, state: S = S.GRID_TIED, frame: Frame = Frame(), region: str = "CO") -> Job:  # noqa: B008 - frozen
    job = make_job(state)
    job.site.region = region
    job.site.save()
    milestones.set_plan(job, contract_minor=CONTRACT, signed_on=SIGNED, parts=parts, frame=frame, by=SYSTEM)
    return job


def amounts(job: Job) -> list[int]:
    return list(job.milestones.order_by("position").values_list("amount_minor", flat=True))


def price(job: Job) -> int:
    return Contract.objects.get(job=job).amount_minor


def change(job: Job, amount_minor: int, *, part: Part | None = None, by=SYSTEM):
    return changes.change_order(job, amount_minor=amount_minor, agreed_on=TODAY, words="a larger battery", part=part, by=by)


def test_an_amount_is_taken_off_first_and_the_shares_divide_the_rest():
    # 31,234.57 less 1,000.00 is 30,234.57; its 80 % is 24,187.656 and its 20 % 6,046.914: the odd cent goes to the larger fraction.
    job = planned(DEPOSIT, *DEFAULT_PARTS)

    assert amounts(job) == [100_000, 2_418_766, 604_691]
    assert sum(amounts(job)) == CONTRACT


@pytest.mark.parametrize(
    ("parts", "sentence"),
    [
        ([replace(DEFAULT_PARTS[0], share_millionths=799_000), DEFAULT_PARTS[1]], r"The shares add up to 99\.9 %"),
        ([replace(DEPOSIT, amount_minor=CONTRACT + 1)], r"are \$0\.01 too much for a contract of \$31,234\.57"),
        ([DEPOSIT], r"are \$30,234\.57 too little for a contract of \$31,234\.57"),
    ],
)
def test_parts_that_do_not_add_up_are_refused_with_what_is_off(parts, sentence):
    with pytest.raises(Refused, match=sentence.replace(" %", "\u202f%")):
        planned(*parts)
    assert not Contract.objects.exists()


def test_a_deposit_above_the_states_cap_is_refused_with_its_source_and_one_below_keeps_it():
    # Source: California Business and Professions Code 7159.5(a)(3); row F15.
    with pytest.raises(Refused, match=r"above the \$1,000\.00 allowed in CA: .*7159\.5\(a\)\(3\)"):
        planned(replace(DEPOSIT, amount_minor=100_001), *DEFAULT_PARTS, region="CA")

    job = planned(DEPOSIT, *DEFAULT_PARTS, region="CA")

    assert "7159.5(a)(3)" in Agreement.objects.get(job=job).deposit_limit


def test_a_retainage_is_kept_back_from_each_part_but_the_deposit_and_billed_by_itself():
    # 5 % of 24,187.66 is 1,209.383 and of 6,046.91 is 302.3455, each rounded by itself: 1,209.38 and 302.35.
    job = planned(DEPOSIT, *DEFAULT_PARTS, frame=Frame(50_000, "Kept back until the test.", ("backup_verified",)))

    assert amounts(job) == [100_000, 2_418_766 - 120_938, 604_691 - 30_235, 120_938 + 30_235]
    assert list(reconcile.breaches()) == []
    invoice = released(job, 2)
    assert [line["amount"] for line in invoice.contents["lines"]] == ["$24,187.66", "\u2212$1,209.38"]
    assert invoice.contents["total"] == "$22,978.28"


@pytest.mark.parametrize("amount", [123_456, -123_456, 1, -1])
def test_before_the_first_invoice_a_change_is_spread_over_all_and_the_draft_follows(farida, amount):
    job = planned_job()

    change(job, amount, by=farida)

    assert (price(job), sum(amounts(job))) == (CONTRACT + amount, CONTRACT + amount)
    assert draft_of(job).amount_minor == amounts(job)[0]
    assert list(reconcile.breaches()) == []


@pytest.mark.parametrize("amount", [500_000, -500_000])
def test_after_the_first_invoice_it_stays_and_the_rest_takes_the_change(farida, amount):
    job = planned_job()
    invoice = released(job)

    change(job, amount, by=farida)

    invoice.refresh_from_db()
    assert invoice.amount_minor == 2_498_766
    assert amounts(job) == [2_498_766, 624_691 + amount]
    assert list(reconcile.breaches()) == []


def test_what_is_added_can_be_a_part_of_its_own_with_its_own_facts(farida):
    job = planned_job(S.GRID_TIED)

    change(job, 70_000, part=Part("Second lamp", "", 0, ("grid_tied",)), by=farida)

    assert draft_of(job, 3).amount_minor == 70_000
    assert price(job) == sum(amounts(job)) == CONTRACT + 70_000
    assert list(reconcile.breaches()) == []


def test_a_price_does_not_fall_below_what_is_invoiced(farida):
    job = planned_job()
    released(job)

    with pytest.raises(Refused, match=r"\$6,246\.91 is not invoiced and can change.*credit an invoice first"):
        change(job, -624_692, by=farida)
    assert (price(job), job.change_orders.count()) == (CONTRACT, 0)


def test_a_change_after_a_retainage_keeps_its_rate(farida):
    job = planned(*DEFAULT_PARTS, frame=Frame(100_000, "", ("backup_verified",)))

    change(job, 100_000, by=farida)

    rows = list(job.milestones.order_by("position"))
    whole = [row.amount_minor + row.retained_minor for row in rows[:2]]
    assert [row.retained_minor for row in rows[:2]] == [milestones.retained(amount, 100_000) for amount in whole]
    assert sum(amounts(job)) == CONTRACT + 100_000
    assert list(reconcile.breaches()) == []


def test_a_dropped_backup_takes_what_hangs_on_the_fitting_out_of_the_price(farida):
    job = planned_job()
    released(job)

    changes.close(job, kind="backup_dropped", agreed_on=TODAY, words="the owner wants none", by=farida)

    assert (price(job), amounts(job)) == (2_498_766, [2_498_766, 0])
    assert list(reconcile.breaches()) == []
    told = account.of(job)
    assert told is not None
    assert (told.open_minor, told.to_come_minor, told.remains_minor) == (2_498_766, 0, 2_498_766)
    # The part that left is not one that the paper lets the payer wait for.
    said = paper.plain_of(Invoice.objects.get(job=job), number=1001, issued_on=TODAY, due_on=TODAY).later
    assert said == "It is the whole of the contract of $24,987.66."


def test_a_cancelled_contract_is_closed_and_what_was_kept_back_of_done_work_falls_due(farida, dana):
    job = planned(*DEFAULT_PARTS, frame=Frame(100_000, "", ("backup_verified",)))
    released(job)
    with pytest.raises(Refused, match="The job is not cancelled"):
        changes.close(job, kind="cancelled", agreed_on=TODAY, words="sold", by=farida)
    homefacts.cancel(job, on=TODAY, reason="sold the house", by=dana)

    changes.close(job, kind="cancelled", agreed_on=TODAY, words="sold the house", by=farida)

    # The first part was 24,987.66, of which 2,498.77 was kept back.
    assert amounts(job) == [2_248_889, 0, 249_877]
    assert draft_of(job, 3).amount_minor == 249_877
    assert list(reconcile.breaches()) == []


def test_a_plan_under_a_change_order_stands(farida):
    job = planned_job(S.IN_BUILD)
    change(job, 100, by=farida)

    with pytest.raises(Refused, match="Change order 1 is on record, so the plan stands"):
        milestones.set_plan(job, contract_minor=CONTRACT, signed_on=SIGNED, parts=DEFAULT_PARTS, by=SYSTEM)


def test_papers_that_a_payer_wants_are_missing_until_they_are_given_and_then_stand_on_the_invoice(farida):
    job = planned(replace(DEFAULT_PARTS[0], wants=("Photo of the collar", "Letter"), payer_name="Funding 1"), DEFAULT_PARTS[1])
    first = Milestone.objects.get(job=job, position=1)
    assert wanted.missing_of([first]) == {first.pk: ["Photo of the collar", "Letter"]}

    wanted.give_paper(job, words="Letter", upload=("letter.pdf", b"%PDF-1.4 x"), by=farida)

    assert wanted.missing_of([first]) == {first.pk: ["Photo of the collar"]}
    invoice = released(job)
    assert invoice.contents["papers"] == ("Letter: letter.pdf",)
    assert "your name for it: Funding 1" in invoice.contents["lines"][0]["name"]


def test_what_is_earned_only_once_is_told_once_however_the_amount_changes(farida):
    job = planned_job()
    change(job, 10_000, by=farida)
    change(job, -10_000, by=farida)

    earning.bring_up_to_date(job, facts.of(job), by=SYSTEM)

    assert Invoice.objects.get(job=job).amount_minor == 2_498_766
    assert sum(job.earnings.values_list("amount_minor", flat=True)) == 2_498_766
