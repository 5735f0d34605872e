"""The plan adds up; facts earn its parts once, and what is withdrawn in time takes them back."""

from __future__ import annotations

import dataclasses
import datetime as dt
import re

import pytest

from billing import invoices, milestones, questions, reconcile
from billing.milestones import Opening, Part
from billing.models import Earning, Invoice, Milestone
from jobs.core import homefacts, lifecycle
from jobs.core import kinds as k
from jobs.core.facts import Said, When
from jobs.core.models import Contract, Fact
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.notices.models import Message
from tests.billing.made import CONTRACT, IMPORT, SIGNED, draft_of, lender, plan, planned_job, released
from tests.make import DAY_ONE, FITTED, STEPS, SYSTEM, VERIFIED, make_job, put, serial_of

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 11, 18)


def test_the_parts_add_up_to_the_contract_to_the_cent():
    first, final = plan(make_job())

    # 80 % and 20 % of $31,234.57: 24,987.656 and 6,246.914; the odd cent goes to the larger fraction (TRADE.md 2.10).
    assert (first.amount_minor, final.amount_minor) == (2_498_766, 624_691)
    assert first.amount_minor + final.amount_minor == Contract.objects.get(job=first.job).amount_minor == CONTRACT
    assert (first.needs_utility, final.needs_utility) == (False, True)


def test_shares_that_do_not_add_up_are_refused_saying_what_they_add_up_to(farida):
    job = make_job(S.GRID_TIED)
    parts = [Part("First", "", 799_000, ("grid_tied",)), Part("Final", "", 200_000, ("backup_verified",))]

    with pytest.raises(Refused, match=re.escape("add up to 99.9\u202f%, which is 0.1\u202f% too little")):
        plan(job, parts=parts, by=farida)

    assert not Milestone.objects.exists()
    assert not Contract.objects.exists()


@pytest.mark.parametrize(
    ("part", "sentence"),
    [
        (Part("  ", "", 1_000_000, ("grid_tied",)), "A milestone has no name"),
        (Part("All", "", 1_000_000, ()), "All: say which facts earn it"),
        (Part("All", "", 1_000_000, ("ct_check",)), "“ct_check” is not a fact that can earn a milestone"),
        (Part("All", "", 1_000_000, ("grid_tied",), ("funded",)), "“funded” is not a fact that can earn a milestone"),
    ],
)
def test_a_part_without_name_or_known_triggers_is_refused(part, sentence):
    with pytest.raises(Refused, match=sentence):
        plan(make_job(), parts=[part])


def test_a_contract_signed_tomorrow_or_of_nothing_is_refused():
    job = make_job()

    with pytest.raises(Refused, match="has not come yet"):
        milestones.set_plan(job, contract_minor=CONTRACT, signed_on=TODAY + dt.timedelta(days=1), parts=milestones.DEFAULT_PARTS, by=SYSTEM)
    with pytest.raises(Refused, match="more than zero"):
        milestones.set_plan(job, contract_minor=0, signed_on=SIGNED, parts=milestones.DEFAULT_PARTS, by=SYSTEM)


def test_a_milestone_is_earned_and_drafted_in_the_transaction_of_the_completing_fact():
    job = planned_job(S.IN_BUILD)
    assert not Invoice.objects.exists()

    STEPS[S.GRID_TIED](job, DAY_ONE)

    first, final = Milestone.objects.filter(job=job)
    assert (first.earned_on, first.recorded_on) == (DAY_ONE, TODAY)
    assert final.earned_on is None
    draft = draft_of(job)
    assert (draft.amount_minor, draft.state, draft.number) == (first.amount_minor, "draft", None)
    assert [(e.amount_minor, e.recorded_on) for e in Earning.objects.all()] == [(first.amount_minor, TODAY)]


def test_a_fact_that_comes_twice_earns_nothing_twice():
    job = planned_job(S.GRID_TIED)

    put(job, k.COMMISSIONED, on=DAY_ONE + dt.timedelta(days=1))
    put(job, k.SHEET_GIVEN, on=DAY_ONE + dt.timedelta(days=2))
    lifecycle.settle(job, by=SYSTEM)

    assert Invoice.objects.count() == Earning.objects.count() == 1
    assert list(reconcile.breaches()) == []


def test_a_bracket_earns_on_the_first_day_known():
    job = make_job(S.AWAITING_UTILITY)
    plan(job, parts=[Part("All", "", 1_000_000, (k.COLLAR_FITTED,))])

    homefacts.write(
        job,
        k.COLLAR_FITTED,
        when=When(after=dt.date(2026, 9, 9), by=dt.date(2026, 9, 12)),
        said_by=Said("gateway"),
        by=SYSTEM,
        value={"serial": serial_of(job)},
    )

    assert Milestone.objects.get(job=job).earned_on == dt.date(2026, 9, 12)


def test_the_payers_own_triggers_are_kept_beside_and_earn_nothing():
    job = make_job(S.GRID_TIED)
    part = Part("All", "", 1_000_000, ("grid_tied",), (k.PERMISSION_TO_OPERATE,))
    [milestone] = plan(job, parts=[part])
    assert (milestone.earned_on, milestone.payer_met_on) == (DAY_ONE, None)

    homefacts.record_permission_to_operate(job, on=dt.date(2026, 6, 1), by=SYSTEM)

    milestone.refresh_from_db()
    assert (milestone.earned_on, milestone.payer_met_on) == (DAY_ONE, dt.date(2026, 6, 1))


def test_a_fact_withdrawn_before_the_invoice_leaves_takes_the_milestone_back_and_drops_the_draft(dana):
    job = planned_job(S.GRID_TIED)
    sheet = Fact.objects.get(job=job, kind=k.SHEET_GIVEN)

    homefacts.correct(sheet, withdraw=True, reason="given to the neighbour", by=dana)

    first = Milestone.objects.get(job=job, position=1)
    assert (first.earned_on, first.recorded_on) == (None, None)
    assert not Invoice.objects.exists()
    assert [e.amount_minor for e in Earning.objects.all()] == [2_498_766, -2_498_766]
    assert list(reconcile.breaches()) == []

    put(job, k.SHEET_GIVEN, on=DAY_ONE + dt.timedelta(days=3))

    first.refresh_from_db()
    assert first.earned_on == DAY_ONE + dt.timedelta(days=3)
    assert draft_of(job).amount_minor == 2_498_766


def test_a_fact_withdrawn_after_the_invoice_left_changes_nothing_and_is_asked_about(dana, farida):
    job = planned_job(S.GRID_TIED)
    invoice = released(job)
    invoice.refresh_from_db()
    before = {name: getattr(invoice, name) for name in ("number", "amount_minor", "contents", "pdf_id", "due_on", "state")}

    homefacts.correct(Fact.objects.get(job=job, kind=k.SHEET_GIVEN), withdraw=True, reason="given to the neighbour", by=dana)

    invoice.refresh_from_db()
    assert {name: getattr(invoice, name) for name in before} == before
    milestone = invoice.milestone
    milestone.refresh_from_db()
    assert milestone.earned_on == DAY_ONE
    assert "no longer on record: grid-tied complete" in milestone.question
    assert milestone.question_on == TODAY
    assert list(reconcile.breaches()) == []

    questions.answer_question(milestone, answer="The sheet is given tomorrow; it stands.", by=farida)
    lifecycle.settle(job, by=SYSTEM)

    milestone.refresh_from_db()
    assert milestone.question == ""
    assert milestone.answer == "The sheet is given tomorrow; it stands. (Farida Novak)"
    assert list(reconcile.breaches()) == []


def test_a_question_goes_away_when_the_facts_agree_again(dana):
    job = planned_job(S.GRID_TIED)
    invoice = released(job)
    homefacts.correct(Fact.objects.get(job=job, kind=k.SHEET_GIVEN), withdraw=True, reason="given to the neighbour", by=dana)

    put(job, k.SHEET_GIVEN, on=DAY_ONE)

    invoice.milestone.refresh_from_db()
    assert (invoice.milestone.question, invoice.milestone.question_on) == ("", None)


def test_a_corrected_day_moves_the_day_of_an_unreleased_milestone_and_its_report_stays(dana):
    job = planned_job(S.GRID_TIED)
    later = DAY_ONE + dt.timedelta(days=2)

    homefacts.correct(Fact.objects.get(job=job, kind=k.SHEET_GIVEN), when=When(on=later), reason="the date on the sheet", by=dana)

    first = Milestone.objects.get(job=job, position=1)
    assert (first.earned_on, first.recorded_on) == (later, TODAY)
    assert Earning.objects.count() == 1
    assert draft_of(job).milestone == first


def test_a_collar_removed_later_takes_nothing_back():
    job = planned_job(S.BACKUP_VERIFIED)
    assert [m.earned_on for m in Milestone.objects.filter(job=job)] == [DAY_ONE, VERIFIED]

    homefacts.record_removed(job, by_on=VERIFIED + dt.timedelta(days=20), said_by=Said("homeowner"), by=SYSTEM)

    job.refresh_from_db()
    assert job.state == S.AWAITING_UTILITY
    assert [m.earned_on for m in Milestone.objects.filter(job=job)] == [DAY_ONE, VERIFIED]
    assert Invoice.objects.count() == 2
    assert list(reconcile.breaches()) == []


def test_a_voided_verification_takes_the_final_milestone_back():
    job = planned_job(S.BACKUP_VERIFIED)

    put(job, k.VERIFICATION_VOIDED, on=VERIFIED + dt.timedelta(days=1), value={"record": "made-by-test", "reason": "the wrong home"})

    assert Milestone.objects.get(job=job, position=2).earned_on is None
    assert Invoice.objects.count() == 1
    assert list(reconcile.breaches()) == []


def test_a_failed_test_earns_nothing():
    job = planned_job(S.COLLAR_ENERGIZED)

    put(job, k.VERIFICATION, on=VERIFIED, value={"result": "not passed", "record": "1", "reason": "load tripped"})

    assert Milestone.objects.get(job=job, position=2).earned_on is None


def test_a_cancelled_contract_earns_nothing_more_but_what_was_done_before():
    early, late = planned_job(S.IN_BUILD), planned_job(S.IN_BUILD)
    for job, cancelled in ((early, DAY_ONE - dt.timedelta(days=1)), (late, DAY_ONE + dt.timedelta(days=9))):
        homefacts.cancel(job, on=cancelled, reason="sold the house", by=SYSTEM)
        STEPS[S.GRID_TIED](job, DAY_ONE)

    assert Milestone.objects.get(job=early, position=1).earned_on is None
    assert Milestone.objects.get(job=late, position=1).earned_on == DAY_ONE


def test_a_plan_set_late_earns_what_the_facts_already_say():
    job = make_job(S.BACKUP_VERIFIED)

    plan(job)

    assert [(m.earned_on, m.recorded_on) for m in Milestone.objects.filter(job=job)] == [(DAY_ONE, TODAY), (VERIFIED, TODAY)]
    assert Invoice.objects.drafts().count() == 2


def test_a_plan_is_set_anew_until_an_invoice_is_released(farida):
    job = planned_job(S.GRID_TIED)
    thirds = [
        Part("First", "", 333_333, ("grid_tied",)),
        Part("Middle", "", 333_333, (k.COLLAR_FITTED,)),
        Part("Last", "", 333_334, ("backup_verified",)),
    ]

    plan(job, parts=thirds, by=farida)
    assert [m.name for m in Milestone.objects.filter(job=job)] == ["First", "Middle", "Last"]
    assert Invoice.objects.count() == 1
    assert sum(e.amount_minor for e in Earning.objects.all()) == Milestone.objects.get(job=job, position=1).amount_minor
    assert list(reconcile.breaches()) == []

    number = released(job).number
    with pytest.raises(Refused, match=f"Invoice {number} of this job is released, so its plan stands"):
        plan(job, by=farida)
    assert Milestone.objects.filter(job=job).count() == 3


def test_the_same_plan_set_again_changes_nothing():
    job = planned_job(S.GRID_TIED)
    kept = list(Milestone.objects.values_list("pk", flat=True))

    contract, changed = milestones.put_plan(job, contract_minor=CONTRACT, signed_on=SIGNED, parts=milestones.DEFAULT_PARTS, by=SYSTEM)

    assert not changed
    assert list(Milestone.objects.values_list("pk", flat=True)) == kept
    assert Earning.objects.count() == 1


def test_each_part_may_have_its_own_payer():
    job, trust = make_job(S.GRID_TIED), lender()
    first, final = milestones.DEFAULT_PARTS
    rows = plan(job, parts=[first, dataclasses.replace(final, payer=trust)])

    assert [row.payer.name for row in rows] == ["Guadalupe Hernández", trust.name]
    assert draft_of(job).payer.person is not None


def test_facts_that_come_by_import_earn_and_draft_nothing():
    job = make_job(S.GRID_TIED)

    plan(job, by=IMPORT)

    assert Milestone.objects.get(job=job, position=1).earned_on == DAY_ONE
    assert not Invoice.objects.exists()
    assert not Message.objects.exists()


# Homes already half done (DESIGN.md section 4).


def test_an_opening_balance_ages_and_is_never_drafted():
    job = make_job(S.AWAITING_UTILITY)
    plan(job, by=IMPORT)
    opening = Opening(1, DAY_ONE, "A-17", 2_498_766, 2_000_000)

    assert milestones.bring_in_opening(job, [opening], by=IMPORT)

    first = Milestone.objects.with_left().get(job=job, position=1)
    assert (first.opening, first.opening_ref, first.left_minor) == (True, "A-17", 498_766)
    assert first.opening_due_on == dt.date(2026, 6, 3)  # net 30 from 4 May
    assert not Invoice.objects.exists()
    assert sum(e.amount_minor for e in Earning.objects.all()) == 0
    with pytest.raises(Refused, match="was invoiced before, as A-17"):
        invoices.draft(first, by=SYSTEM)
    assert list(reconcile.breaches()) == []


def test_a_half_done_home_brought_in_twice_earns_nothing_twice():
    job = make_job(S.AWAITING_UTILITY)
    openings = [Opening(1, DAY_ONE, "A-17", 2_498_766, 2_498_766), Opening(2, FITTED, "", 0)]

    for turn in range(2):
        milestones.put_plan(job, contract_minor=CONTRACT, signed_on=SIGNED, parts=milestones.DEFAULT_PARTS, by=IMPORT)
        assert milestones.bring_in_opening(job, openings, by=IMPORT) is (turn == 0)
    put(job, k.COLLAR_FITTED, on=FITTED, value={"serial": serial_of(job)}, by=IMPORT)
    put(job, k.VERIFICATION, on=VERIFIED, value={"result": "passed", "record": "1"}, by=SYSTEM)

    assert Milestone.objects.filter(job=job, opening=True).count() == 1
    assert [i.milestone.position for i in Invoice.objects.filter(job=job)] == [2]
    assert not Message.objects.exists()
    assert list(reconcile.breaches()) == []


@pytest.mark.parametrize(
    ("opening", "sentence"),
    [
        (Opening(1, DAY_ONE, "A-17", 100, 200), "\\$2.00 paid is more than the \\$1.00 that were invoiced"),
        (Opening(1, DAY_ONE, "A-17", 2_498_767, 0), "more than its \\$24,987.66 in the plan"),
        (Opening(1, dt.date(2026, 12, 1), "A-17", 100, 0), "has not come yet"),
        (Opening(1, DAY_ONE, "A-17", -100, 0), "cannot be below zero"),
        (Opening(3, DAY_ONE, "A-17", 100, 0), "The plan has no milestone 3"),
    ],
)
def test_an_odd_opening_balance_is_refused(opening, sentence):
    job = make_job(S.AWAITING_UTILITY)
    plan(job, by=IMPORT)

    with pytest.raises(Refused, match=sentence):
        milestones.bring_in_opening(job, [opening], by=IMPORT)

    assert not Milestone.objects.openings().exists()


def test_an_opening_balance_that_comes_again_with_another_amount_is_refused():
    job = make_job(S.AWAITING_UTILITY)
    plan(job, by=IMPORT)
    milestones.bring_in_opening(job, [Opening(1, DAY_ONE, "A-17", 2_498_766, 0)], by=IMPORT)

    with pytest.raises(Refused, match=r"already has an opening balance of \$24,987\.66"):
        milestones.bring_in_opening(job, [Opening(1, DAY_ONE, "A-17", 2_498_766, 5)], by=IMPORT)
    with pytest.raises(Refused, match="was invoiced before this job was brought in"):
        plan(job, contract_minor=CONTRACT + 1)
