"""Pages of money: they work, they refuse with what was typed kept, and they show no more than a role may see."""

from __future__ import annotations

import io

import pypdf
import pytest
from django.urls import reverse

from billing import payments
from billing.milestones import Part
from billing.models import Allocation, Invoice, Milestone, Payer, Payment
from billing.payments import Portion
from jobs.core import homefacts, sheets
from jobs.core import kinds as k
from jobs.core.models import Contract, Fact
from jobs.core.states import S
from tests.billing.made import IMPORT, TODAY, draft_of, lender, plan, planned_job, released
from tests.make import SYSTEM, make_job, user_of
from tests.utilities.made import make_request, make_service, make_utility

pytestmark = pytest.mark.django_db


@pytest.fixture
def page(client, farida):
    client.force_login(user_of(farida), backend="django.contrib.auth.backends.ModelBackend")
    return client


def words(response) -> str:
    return " ".join(response.content.decode().split())


# Invoices.


def test_the_list_shows_drafts_and_released_with_totals_that_add_up(page):
    planned_job(contract_minor=100_000)
    released(planned_job(contract_minor=50_000))

    shown = words(page.get(reverse("invoices")))

    assert "$800.00" in shown
    assert "$400.00" in shown
    assert "$1,200.00" in shown  # all rows
    assert "Release one drafted invoice" in shown


@pytest.mark.parametrize(
    ("query", "numbers"),
    [
        ({"state": "draft"}, [""]),
        ({"state": "open"}, ["1002", "1003"]),
        ({"state": "part"}, ["1002"]),
        ({"state": "paid"}, ["1001"]),
        ({"state": "overdue"}, []),
        ({"payer": "sunlit"}, ["1003"]),
        ({"issued_from": "18 Nov 2026", "sort": "-amount"}, ["1003", "1002", "1001"]),
        ({"issued_from": "19 Nov 2026"}, []),
    ],
)
def test_the_list_filters_sorts_and_its_file_holds_the_same_rows(page, query, numbers):
    paid, part = released(planned_job(contract_minor=10_000)), released(planned_job(contract_minor=20_000))
    released(planned_job(contract_minor=30_000, payer=lender()))
    planned_job()
    for invoice, amount in ((paid, 8_000), (part, 100)):
        payments.record_payment(
            invoice.payer, amount_minor=amount, received_on=TODAY, reference="", parts=[Portion(invoice, amount)], by=SYSTEM
        )

    shown = page.get(reverse("invoices"), query)
    file = page.get(reverse("invoices_export", kwargs={"ending": "csv"}), query)

    rows = sheets.read("invoices.csv", b"".join(file.streaming_content)).rows if numbers else []
    assert sorted(str(line["invoice"].number or "") for line in shown.context["lines"]) == sorted(numbers)
    assert sorted(str(row.cells[0]) for row in rows) == sorted(numbers)
    if query.get("sort"):
        assert [str(line["invoice"].number) for line in shown.context["lines"]] == numbers


def test_a_day_in_the_filter_that_cannot_be_read_is_said_and_shows_nothing(page):
    released(planned_job())

    shown = page.get(reverse("invoices"), {"issued_from": "someday"})

    assert shown.status_code == 422
    assert "is not a day" in words(shown)
    assert shown.context["lines"] == []
    file = page.get(reverse("invoices_export", kwargs={"ending": "csv"}), {"issued_from": "someday"})  # a file could not say it
    assert file.headers["Location"] == f"{reverse('invoices')}?issued_from=someday"


def test_the_file_is_a_workbook_too(page):
    released(planned_job())

    file = page.get(reverse("invoices_export", kwargs={"ending": "xlsx"}))

    assert sheets.read("invoices.xlsx", file.content).rows[0].cells[0] == "1001"
    assert page.get("/invoices/invoices.doc").status_code == 404


def test_an_invoice_shows_why_it_is_due_by_contract_and_by_payer(page):
    job = make_job(S.GRID_TIED)
    plan(job, parts=[Part("All", "Due on completion.", 1_000_000, ("grid_tied",), (k.PERMISSION_TO_OPERATE,))], payer=lender())

    shown = words(page.get(reverse("invoice", kwargs={"uid": draft_of(job).uid})))

    assert "grid-tied complete: 4 May 2026" in shown
    assert "permission to operate: not met yet" in shown
    assert "“Due on completion.”" in shown
    assert "Hand-over sheet given" in shown


def test_a_draft_can_be_read_as_it_would_leave_and_the_released_paper_is_the_stored_one(page):
    draft = draft_of(planned_job())
    url = reverse("invoice_pdf", kwargs={"uid": draft.uid})

    before = page.get(url)
    assert "draft" in pypdf.PdfReader(io.BytesIO(before.content)).pages[0].extract_text()
    assert before.headers["Content-Disposition"] == f'attachment; filename="draft-{draft.job.code}.pdf"'

    page.post(reverse("invoice_release", kwargs={"uid": draft.uid}))
    after = page.get(url)
    assert after.headers["Content-Disposition"] == 'attachment; filename="invoice-1001.pdf"'
    assert "1001" in pypdf.PdfReader(io.BytesIO(after.content)).pages[0].extract_text()


def test_releasing_one_asks_first_and_then_says_what_was_done(page):
    draft = draft_of(planned_job())
    url = reverse("invoice_release", kwargs={"uid": draft.uid})

    asked = page.get(url)
    assert "A released invoice is never changed." in words(asked)
    draft.refresh_from_db()
    assert not draft.released

    done = page.post(url, follow=True)
    assert "Recorded. Invoice 1001 over $24,987.66, due 18 December 2026, is released and goes to Guadalupe Hernández." in words(done)
    again = page.post(url)
    assert again.status_code == 422
    assert "was already released by Farida Novak; nothing was released again." in words(again)


def test_several_are_released_with_one_button_and_the_result_of_each_is_said(page, dana):
    held, first, second = planned_job(), planned_job(), planned_job()
    homefacts.hold(held, kind="dispute", stops=["collection"], review_on=TODAY.replace(month=12), reason="roof leak", by=dana)
    url = reverse("invoices_release")
    chosen = [str(draft_of(job).uid) for job in (held, first, second)]

    told = page.post(url, {"uids": chosen})

    assert told.status_code == 422
    assert "A hold on this home stops collection" in words(told)
    assert "Invoice 1001" in words(told)
    assert "Invoice 1002" in words(told)
    assert Invoice.objects.released().count() == 2
    assert "No draft is chosen; choose at least one." in words(page.post(url, {}))


def test_a_draft_that_was_dropped_meanwhile_is_told(page):
    keep, drop = planned_job(), planned_job()
    chosen = [str(draft_of(job).uid) for job in (keep, drop)]
    draft_of(drop).delete()

    told = page.post(reverse("invoices_release"), {"uids": chosen})

    assert told.status_code == 422
    assert "one draft had been released or dropped meanwhile." in words(told)
    assert Invoice.objects.released().count() == 1


def test_a_question_is_answered_on_its_page(page, dana):
    job = planned_job()
    invoice = released(job)
    homefacts.correct(Fact.objects.get(job=job, kind=k.SHEET_GIVEN), withdraw=True, reason="the other home", by=dana)
    assert "what earned it has changed" in words(page.get(reverse("invoice", kwargs={"uid": invoice.uid})))
    url = reverse("invoice_answer", kwargs={"uid": invoice.uid})

    assert page.post(url, {"answer": ""}).status_code == 422
    page.post(url, {"answer": "It stands."})

    milestone = Milestone.objects.get(pk=invoice.milestone_id)
    assert milestone.answer == "It stands. (Farida Novak)"
    assert page.post(url, {"answer": "Again."}).status_code == 422


def test_a_write_off_on_its_page(page):
    invoice = released(planned_job())
    url = reverse("invoice_write_off", kwargs={"uid": invoice.uid})

    refused = page.post(url, {"amount_minor": "30,000.00", "reason": "too much"})
    assert refused.status_code == 422
    assert "too much. Leave the rest unapplied." in words(refused)
    assert "30,000.00" in words(refused)
    page.post(url, {"amount_minor": "12.50", "reason": "rounding"})

    assert Allocation.objects.get().amount_minor == 1_250


def test_receivables_say_what_is_overdue(page):
    released(planned_job(payer=lender(terms_days=0)))

    shown = words(page.get(reverse("receivables")))

    assert "Nothing is overdue. <b>$24,987.66</b> is invoiced and not paid." in shown


# Milestones and the report.


def test_what_is_earned_can_be_drafted_by_a_button(page):
    job = make_job(S.GRID_TIED)
    first, _ = plan(job, by=IMPORT)
    assert "Draft invoice" in words(page.get(reverse("milestones_earned")))
    url = reverse("milestone_draft", kwargs={"uid": first.uid})

    page.post(url)

    assert draft_of(job).amount_minor == first.amount_minor
    again = page.post(url)
    assert again.status_code == 422
    assert "already has a draft" in words(again)


def test_what_waits_on_utilities_opens_by_utility(page):
    ottermere = make_utility("Ottermere Municipal Light")
    job = planned_job()
    make_request(make_service(job, utility=ottermere))

    everything = words(page.get(reverse("milestones_waiting")))
    one = words(page.get(reverse("milestones_waiting"), {"utility": str(ottermere.uid)}))

    assert "$6,246.91" in everything
    assert "Ottermere Municipal Light has not fitted a collar yet" in one
    assert job.code in one
    assert page.get(reverse("milestones_waiting"), {"utility": "none"}).status_code == 200


def test_the_report_wants_a_period_and_says_by_which_day_it_counts(page):
    planned_job()
    url, file = reverse("report_milestones"), reverse("report_milestones_export", kwargs={"ending": "csv"})

    blank = page.get(url)
    assert "Choose the first and the last day" in words(blank)
    assert "Counted by the day on which we recorded" in words(blank)
    assert page.get(url, {"from_on": "1 Nov 2026"}).status_code == 422
    assert page.get(url, {"from_on": "2 Nov 2026", "to_on": "1 Nov 2026"}).status_code == 422
    assert page.get(file).status_code == 422

    period = {"from_on": "1 Nov 2026", "to_on": "30 Nov 2026"}
    assert "$24,987.66" in words(page.get(url, period))
    rows = sheets.read("report.csv", b"".join(page.get(file, period).streaming_content)).rows
    assert [row.cells[7] for row in rows] == ["24987.66"]


# Payments.


def test_a_payment_is_put_to_the_invoices_of_its_payer(page):
    invoice = released(planned_job())
    found = page.get(reverse("payment_new"), {"q": "hernández"})
    assert "Record payment" in words(found)
    url = f"{reverse('payment_new')}?payer={invoice.payer.uid}"

    done = page.post(
        url,
        {
            "amount_minor": "$25,000.00",
            "received_on": "18 Nov 2026",
            "reference": "wire 1",
            "method": "bank",
            f"paid_{invoice.uid.hex}": "24,987.66",
        },
        follow=True,
    )

    assert "Recorded. $25,000.00 of Guadalupe Hernández; $12.34 of it is unapplied." in words(done)
    assert Payment.objects.get().allocations.get().invoice == invoice


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"amount_minor": "100.005"}, "has too many decimals"),
        ({"amount_minor": "8.640,00"}, "is not an amount"),
        ({"received_on": "18 Nov 2027"}, "has not come yet"),
        ({"paid": "24,987.67"}, "$0.01 too much"),
        ({"amount_minor": "1.00"}, "The parts add up to $500.00"),
        ({"off": "1.00"}, "give the reason for the write-off"),
    ],
)
def test_a_payment_that_cannot_be_right_is_refused_with_what_was_typed_kept(page, changes, sentence):
    invoice = released(planned_job())
    data = {"amount_minor": "30,000.00", "received_on": "18 Nov 2026", "reference": "kept as typed", "method": "check"}
    data |= {f"paid_{invoice.uid.hex}": changes.pop("paid", "500.00"), f"off_{invoice.uid.hex}": changes.pop("off", "")} | changes

    refused = page.post(f"{reverse('payment_new')}?payer={invoice.payer.uid}", data)

    assert refused.status_code == 422
    assert sentence in words(refused)
    assert "kept as typed" in words(refused)
    assert not Payment.objects.exists()


def test_an_invoice_that_was_paid_meanwhile_is_told_and_nothing_recorded(page):
    trust = lender()
    one, _ = released(planned_job(payer=trust)), released(planned_job(payer=trust))
    payments.record_payment(
        trust, amount_minor=one.amount_minor, received_on=TODAY, reference="", parts=[Portion(one, one.amount_minor)], by=SYSTEM
    )

    data = {"amount_minor": "500.00", "received_on": "18 Nov 2026", "method": "bank", f"paid_{one.uid.hex}": "500.00"}
    refused = page.post(f"{reverse('payment_new')}?payer={trust.uid}", data)

    assert refused.status_code == 422
    assert "One of the invoices is no longer open" in words(refused)
    assert Payment.objects.count() == 1


def test_the_rest_of_a_payment_is_applied_on_its_page(page):
    trust = lender()
    invoice = released(planned_job(payer=trust))
    payment = payments.record_payment(trust, amount_minor=50_000, received_on=TODAY, reference="", parts=[], by=SYSTEM)
    url = reverse("payment_apply", kwargs={"uid": payment.uid})

    assert page.post(url, {f"paid_{invoice.uid.hex}": "500.01"}).status_code == 422
    assert page.post(url, {}).status_code == 422
    page.post(url, {f"paid_{invoice.uid.hex}": "500.00"})

    assert Payment.objects.with_left().get().left_minor == 0
    shown = page.get(reverse("payments"))
    assert f"Invoice {invoice.number}" in words(shown)
    assert page.get(reverse("payments"), {"unapplied": "yes"}).context["page"].paginator.count == 0


def test_an_unknown_payer_is_not_found(page):
    assert page.get(reverse("payment_new"), {"payer": "nobody"}).status_code == 404
    assert "No payer is found" in words(page.get(reverse("payment_new"), {"q": "zzz"}))


# The plan.

PARTS = {
    "part1-name": "First",
    "part1-share": "66.6667",
    "part1-triggers": ["grid_tied"],
    "part1-clause": "On completion.",
    "part2-name": "Final",
    "part2-share": "33.3333 %",
    "part2-triggers": ["backup_verified"],
    "part2-payer_triggers": ["permission_to_operate"],
}


def test_a_plan_is_set_on_its_page(page):
    job = make_job(S.GRID_TIED)
    url = reverse("job_plan", kwargs={"code": job.code})
    assert "80" in words(page.get(url))  # the default plan is offered

    done = page.post(url, {"contract_minor": "31,234.57", "signed_on": "1 Apr 2026", **PARTS}, follow=True)

    assert "Recorded. The plan of job" in words(done)
    # 66.6667 % of 3,123,457 = 2,082,305.7...; the other cent goes to the larger fraction: 20,823.06 and 10,411.51.
    assert [(m.name, m.amount_minor) for m in Milestone.objects.filter(job=job)] == [("First", 2_082_306), ("Final", 1_041_151)]
    assert Contract.objects.get(job=job).amount_minor == 3_123_457
    assert draft_of(job).payer.name == "Guadalupe Hernández"


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"part2-share": "33"}, "The shares add up to 99.6667 %"),
        ({"part2-share": "a third"}, "is not a share"),
        ({"part2-share": ""}, "Either a share or an amount is wanted."),
        ({"part2-triggers": []}, "Nothing is chosen here, and a choice is wanted"),
        ({"part2-name": ""}, "Nothing is filled in here, and it is wanted"),
        ({"contract_minor": "0"}, "is too little"),
        ({"signed_on": "1 Apr 2027"}, "has not come yet"),
    ],
)
def test_a_plan_that_does_not_add_up_is_refused_with_what_was_typed_kept(page, changes, sentence):
    job = make_job(S.GRID_TIED)

    refused = page.post(
        reverse("job_plan", kwargs={"code": job.code}), {"contract_minor": "31,234.57", "signed_on": "1 Apr 2026", **PARTS, **changes}
    )

    assert refused.status_code == 422
    assert sentence in words(refused)
    assert "On completion." in words(refused)
    assert not Milestone.objects.exists()


def test_a_plan_of_which_something_is_invoiced_offers_no_form(page):
    job = planned_job()
    released(job)

    shown = words(page.get(reverse("job_plan", kwargs={"code": job.code})))

    assert "so it stands" in shown
    assert "Record the plan" not in shown
    again = page.post(reverse("job_plan", kwargs={"code": job.code}), {"contract_minor": "1.00", **PARTS})
    assert again.status_code == 422


def test_a_payer_is_added_and_can_be_chosen(page):
    job = make_job(S.GRID_TIED)
    data = {"name": "Sunlit Trust", "kind": "lender", "email": "desk@sunlit.example", "terms_days": "45"}

    page.post(f"{reverse('payer_new')}?job={job.code}", data)
    trust = Payer.objects.get(name="Sunlit Trust")
    assert page.post(reverse("payer_new"), data).status_code == 422

    page.post(reverse("job_plan", kwargs={"code": job.code}), {"contract_minor": "100.00", "payer": str(trust.uid), **PARTS})

    assert {milestone.payer for milestone in Milestone.objects.filter(job=job)} == {trust}


def test_a_job_that_nobody_knows_has_no_plan(page):
    assert page.get(reverse("job_plan", kwargs={"code": "KQ7M4X"})).status_code == 404
