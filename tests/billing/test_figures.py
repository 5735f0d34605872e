"""Each number on a screen, on four rows or so worked out by hand; Today's sections and the report rest on the same."""

from __future__ import annotations

import datetime as dt

import pytest

from billing import attention, figures, milestones, payments
from billing.figures import Period
from billing.milestones import Opening
from billing.models import Invoice
from billing.payments import Portion
from billing.terms import Bucket
from jobs.core import clock, homefacts
from jobs.core import kinds as k
from jobs.core.models import Fact, Job
from jobs.core.states import S
from tests.billing.made import IMPORT, TODAY, plan, planned_job, released
from tests.make import DAY_ONE, STEPS, SYSTEM, make_job, user_of
from tests.utilities.made import make_request, make_service, make_utility

pytestmark = pytest.mark.django_db
D = dt.date


def at(day: dt.date):
    """Noon of the office on that day."""
    return clock.pretend(dt.datetime.combine(day, dt.time(18), dt.UTC))


def released_on(day: dt.date, *, contract_minor: int) -> Invoice:
    job = planned_job(contract_minor=contract_minor)
    with at(day):
        return released(job)


@pytest.fixture
def earned() -> list[Job]:
    drafted = planned_job(contract_minor=100_000)  # first milestone 80 %: $800.00
    quiet = make_job(S.GRID_TIED)
    plan(quiet, contract_minor=30_000, by=IMPORT)  # $240.00, no draft
    done = planned_job(contract_minor=50_000)
    released(done)
    planned_job(S.IN_BUILD, contract_minor=70_000)
    opened = make_job(S.GRID_TIED)
    first, _ = plan(opened, contract_minor=90_000, by=IMPORT)
    milestones.bring_in_opening(opened, [Opening(1, DAY_ONE, "A-1", first.amount_minor, 0)], by=IMPORT)
    return [drafted, quiet]


def test_earned_and_not_invoiced_are_those_without_a_released_invoice(earned):
    # $800.00 drafted + $240.00 brought in = $1,040.00; the released, the unearned and the opening balance do not count.
    found = figures.earned_not_invoiced()

    assert {milestone.job for milestone in found} == set(earned)
    assert figures.total_minor(found) == 104_000


def test_drafts_are_those_that_wait_for_release(earned):
    found = figures.drafts()

    assert [draft.job for draft in found] == earned[:1]
    assert figures.total_minor(found) == 80_000


@pytest.fixture
def owed() -> list[Invoice]:
    late = released_on(D(2026, 9, 18), contract_minor=100_000)  # due 18 Oct, 31 days ago; $800.00 less $300.00
    payments.record_payment(late.payer, amount_minor=30_000, received_on=TODAY, reference="", parts=[Portion(late, 30_000)], by=SYSTEM)
    today = released_on(D(2026, 10, 19), contract_minor=50_000)  # due today; $400.00
    just = released_on(D(2026, 10, 18), contract_minor=30_000)  # due yesterday; $240.00
    paid = released_on(D(2026, 9, 1), contract_minor=10_000)  # $80.00, paid
    payments.record_payment(paid.payer, amount_minor=8_000, received_on=TODAY, reference="", parts=[Portion(paid, 8_000)], by=SYSTEM)
    opened = planned_job(S.IN_BUILD, contract_minor=100_000)
    milestones.bring_in_opening(opened, [Opening(1, D(2026, 7, 21), "A-1", 10_000, 4_000, due_on=D(2026, 8, 20))], by=IMPORT)  # 90 days
    return [late, just, today]


def test_receivables_stand_in_their_buckets_by_days_past_due(owed):
    rows = figures.receivables()

    assert [(row.name, row.left_minor, row.days_past_due(TODAY)) for row in rows] == [
        ("Opening balance A-1", 6_000, 90),
        ("Invoice 1001", 50_000, 31),
        ("Invoice 1003", 24_000, 1),
        ("Invoice 1002", 40_000, 0),
    ]
    assert figures.by_bucket(rows, today=TODAY) == {
        Bucket.CURRENT: 40_000,
        Bucket.TO_30: 24_000,
        Bucket.TO_60: 50_000,
        Bucket.TO_90: 6_000,
        Bucket.OVER_90: 0,
    }


def test_overdue_leaves_out_what_is_due_today_and_what_is_paid(owed):
    # $60.00 + $500.00 + $240.00 = $800.00
    late = figures.overdue(TODAY)

    assert [row.name for row in late] == ["Opening balance A-1", "Invoice 1001", "Invoice 1003"]
    assert sum(row.left_minor for row in late) == 80_000


def test_short_paid_are_those_paid_in_part(owed):
    assert [(invoice.number, invoice.left_minor) for invoice in figures.short_paid()] == [(1001, 50_000)]


def test_unapplied_is_what_is_put_to_nothing(owed):
    payer = owed[1].payer
    whole = payments.record_payment(payer, amount_minor=700, received_on=TODAY, reference="b", parts=[], by=SYSTEM)
    part = payments.record_payment(payer, amount_minor=900, received_on=TODAY, reference="c", parts=[Portion(owed[1], 600)], by=SYSTEM)

    # $7.00 + ($9.00 - $6.00) = $10.00; the two payments put wholly to invoices do not count.
    assert set(figures.unapplied()) == {whole, part}
    assert figures.left_minor(figures.unapplied()) == 1_000


@pytest.fixture
def waiting() -> list[Job]:
    ottermere, wend = make_utility("Ottermere Municipal Light"), make_utility("Upper Wend Light & Water")
    asked = ((ottermere, 100_000, D(2026, 6, 3)), (ottermere, 50_000, D(2026, 5, 20)), (wend, 30_000, D(2026, 7, 1)))
    jobs = []
    for utility, contract, sent in asked:
        job = planned_job(contract_minor=contract)
        make_request(make_service(job, utility=utility), on=sent)
        jobs.append(job)
    planned_job(contract_minor=70_000)  # grid-tied, not asked yet: it waits on us
    planned_job(S.COLLAR_ENERGIZED, contract_minor=70_000)  # fitted: it waits on us
    return jobs


def test_unbilled_waiting_on_the_utility_are_final_milestones_of_homes_it_was_asked_to_fit(waiting):
    # 20 % of $1,000.00, $500.00 and $300.00: $200.00 + $100.00 + $60.00 = $360.00, the longest asked first.
    found = figures.unbilled_waiting_on_utility()

    assert [(milestone.job, milestone.amount_minor) for milestone in found] == [
        (waiting[1], 10_000),
        (waiting[0], 20_000),
        (waiting[2], 6_000),
    ]
    assert figures.total_minor(found) == 36_000


def test_the_same_money_adds_up_by_utility(waiting):
    rows = [(row.name, row.homes, row.minor, row.since) for row in figures.unbilled_by_utility()]

    assert rows == [
        ("Ottermere Municipal Light", 2, 30_000, D(2026, 5, 20)),
        ("Upper Wend Light & Water", 1, 6_000, D(2026, 7, 1)),
    ]


def test_what_hangs_on_the_final_milestone_is_its_amount_until_it_is_earned(waiting):
    done = planned_job(S.BACKUP_VERIFIED)

    assert figures.final_milestone_minor(waiting[0]) == 20_000
    assert figures.final_milestone_minor(done) == 0
    assert figures.final_milestone_minor(make_job()) == 0


# The report by period.


def test_a_closed_period_never_changes(dana):
    job = planned_job(S.IN_BUILD, contract_minor=100_000)
    with at(D(2026, 10, 31)):
        STEPS[S.GRID_TIED](job, DAY_ONE)
    other = planned_job(S.IN_BUILD, contract_minor=50_000)
    with at(D(2026, 11, 1)):
        STEPS[S.GRID_TIED](other, D(2026, 10, 20))
    october, november = Period(D(2026, 10, 1), D(2026, 10, 31)), Period(D(2026, 11, 1), D(2026, 11, 30))
    assert [row.amount_minor for row in figures.earnings(october)] == [80_000]

    homefacts.correct(Fact.objects.get(job=job, kind=k.SHEET_GIVEN), withdraw=True, reason="the other home", by=dana)

    # October stays $800.00; November has $400.00 of the second home, earned in October and learned in November, less $800.00 taken back.
    assert [row.amount_minor for row in figures.earnings(october)] == [80_000]
    assert [row.amount_minor for row in figures.earnings(november)] == [40_000, -80_000]
    assert figures.by_utility(figures.earnings(november)) == [("utility not known", 0, -40_000)]


def test_the_report_is_narrowed_to_a_utility_and_adds_up(waiting):
    year = Period(D(2026, 1, 1), D(2026, 12, 31))
    ottermere = waiting[0].services.get().utility

    rows = figures.earnings(year, utility=str(ottermere.uid))
    everything = figures.earnings(year)

    assert sorted(row.amount_minor for row in rows) == [40_000, 80_000]
    assert sum(minor for _, _, minor in figures.by_utility(everything)) == sum(row.amount_minor for row in everything)


# Today.


def sections_of(by) -> dict[str, int]:
    return {section.name: section.count for section in attention.for_user(user_of(by)).sections}


def test_finance_sees_each_section_with_the_rows_that_its_figure_counts(farida, earned, owed):
    told = attention.for_user(user_of(farida))

    assert told.sections[0].note == "one draft, together $800.00: one button releases them"
    assert sections_of(farida) == {
        "money_questions": 0,
        "money_bank": 0,
        "money_ended": 0,
        "money_disputed": 0,
        "money_earned": 2,
        "money_overdue": 4,  # with the opening balance of `earned`, due 3 June
        "money_short": 0,  # the one paid in part is overdue, and stands there
        "money_unapplied": 0,
        "money_waiting": 0,
    }
    overdue = next(section for section in told.sections if section.name == "money_overdue")
    assert sum("paid in part" in row.under for row in overdue.rows) == 1
    assert {row.next_act for row in overdue.rows if "paid in part" in row.under} == {"Ask or write off"}
    # Owed: $500.00 + $240.00 + $400.00 + $60.00, the $400.00 just released, and the opening balance of $720.00.
    assert [figure.value for figure in told.figures] == ["$1,040.00", "$2,320.00", "$0"]


def test_a_question_about_a_released_invoice_stands_first_for_finance(dana, farida):
    job = planned_job()
    released(job)

    homefacts.correct(Fact.objects.get(job=job, kind=k.SHEET_GIVEN), withdraw=True, reason="the other home", by=dana)

    section = next(s for s in attention.for_user(user_of(farida)).sections if s.name == "money_questions")
    assert section.count == 1
    assert "Invoice 1001 is released, and what earned it has changed" in section.rows[0].cells[0]


def test_the_manager_sees_what_the_utilities_hold_up_and_others_see_no_money(dana, theo, mara, joel, waiting):
    told = attention.for_user(user_of(dana))

    assert sections_of(dana) == {"money_waiting": 2}
    assert [figure.value for figure in told.figures] == ["$360"]
    for by in (theo, mara, joel):
        assert attention.for_user(user_of(by)).sections == ()
