"""One job's page: the waiting sentence, the ledger with its today line, the side column, and who sees what of it."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.test import Client
from django.urls import reverse

from billing import invoices
from billing.models import Invoice
from jobs.appointments import exports as appointment_exports
from jobs.appointments import records, verification
from jobs.appointments.models import Appointment, VerificationRecord
from jobs.core import homefacts, secrets
from jobs.core import kinds as k
from jobs.core.facts import Said, When
from jobs.core.models import Job
from jobs.core.states import S
from jobs.pages import ledger
from tests.appointments.homes import booked, led, ready_job, seen_passing
from tests.make import DAY_ONE, FITTED, SYSTEM, make_job, put, serial_of, user_of
from tests.pages.homes import a_utility, asked, forecast_for, job_of, plan, served
from tests.pages.queries import counted, signed_in
from utilities.terms import Limit

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 11, 18)


def address(job: Job) -> str:
    return reverse("job", kwargs={"code": job.code})


def sentence_of(page) -> str:
    return "".join(piece.text for piece in page.context["sentence"])


def text_of(page) -> str:
    return " ".join(page.content.decode().split())


# The sentence


def test_a_waiting_home_says_on_whom_since_when_by_whose_calendar_and_what_comes_next(client, theo):
    utility = a_utility(limits=(Limit("visit", "its rule book, 2 Mar 2026", days=30),))
    request = asked(utility=utility)
    forecast_for(request, half_in=116)  # 13 March 2027; nine in ten 165 days on: 1 May 2027

    page = signed_in(client, theo).get(address(job_of(request)))

    # 3 June to 18 November 2026: 168 days. Mondays to Fridays after 3 June up to 18 November: 120; less Juneteenth (19 June), 3 July
    # (observed), Labor Day (7 September), Columbus Day (12 October), Veterans Day (11 November): 115.
    assert sentence_of(page) == (
        "Waiting on Ottermere Municipal Light since 3 June 2026, 168 days, 115 of them business days of Ottermere Municipal Light. "
        "Its limit for the visit: fit the collar within 30 business days of the day the request came in there (its rule book, 2 Mar 2026). "
        "Half of such requests are fitted by 13 March 2027, nine in ten by 1 May 2027. "
        "Next: ask the utility about the request (the scheduler, due 17 June 2026, 154 days late)."
    )
    assert page.context["margin"].count == "115"


def test_a_utility_without_a_limit_is_said_to_publish_none_and_thin_history_is_said(client, theo):
    request = asked()
    forecast_for(request, half_in=116, thin=True)

    said = sentence_of(signed_in(client, theo).get(address(job_of(request))))

    assert "It publishes no limit for the visit." in said
    assert "so these days are rough" in said


def test_the_next_act_names_the_clerk_of_the_utility(client, theo):
    utility = a_utility(clerk=theo.user)

    said = sentence_of(signed_in(client, theo).get(address(job_of(asked(utility=utility)))))

    assert "(Theo Lindgren, scheduler, due" in said


def test_a_fitted_home_says_between_which_days_and_by_whom_it_was_told(client, theo):
    job = make_job(S.AWAITING_UTILITY)
    homefacts.record_gateway_report(job, at=dt.datetime(2026, 11, 12, 18, tzinfo=dt.UTC), state="closed", serial=serial_of(job), by=SYSTEM)
    from jobs.core import facts, lifecycle

    fact = facts.record(
        job, k.COLLAR_FITTED, when=When(after=dt.date(2026, 11, 8), by=dt.date(2026, 11, 12)), said_by=Said("gateway"), by=SYSTEM,
        value={"serial": serial_of(job)},
    )  # fmt: skip
    lifecycle.settle(job, by=SYSTEM, new=(fact,))

    page = signed_in(client, theo).get(address(job))

    assert sentence_of(page).startswith(
        "Fitted between 8 and 12 November, told by the gateway. Waiting on us since 12 November 2026, 6 days."
    )


def test_a_verified_home_says_when_by_whom_and_what_is_owed_and_the_notice_is_gone(client, farida):
    job = make_job(S.AWAITING_UTILITY)
    waiting = signed_in(client, farida).get(address(job))
    plan(job)
    put(job, k.COLLAR_FITTED, on=FITTED, value={"serial": serial_of(job)})
    put(job, k.VERIFICATION, on=dt.date(2026, 11, 16), value={"result": "passed", "record": "made-by-test"})
    # 18:00 UTC on 16 November is 11:00 in Denver.

    page = client.get(address(job))

    assert sentence_of(page) == "Backup verified 16 November 2026, 11:00, by tests. Not all of it is invoiced yet."
    assert "NOTICE" in text_of(waiting)
    assert "NOTICE" not in text_of(page)
    for draft in Invoice.objects.drafts():
        invoices.release(draft, by=farida)
    assert "$48,000.00 is still to be paid." in sentence_of(client.get(address(job)))


def test_a_home_whose_collar_was_removed_says_so_before_on_whom_it_waits(client, theo):
    job = make_job(S.COLLAR_ENERGIZED)
    put(job, k.COLLAR_REMOVED, on=dt.date(2026, 11, 16))

    page = signed_in(client, theo).get(address(job))

    assert sentence_of(page).startswith("The collar was removed by 16 November, told by us. Waiting on us since 16 November 2026, 2 days.")
    assert "Next: telephone the homeowner: no backup now" in sentence_of(page)


def test_a_cancelled_home_says_by_whom_and_why_and_expects_nothing(client, dana):
    job = make_job(S.AWAITING_UTILITY)
    homefacts.cancel(job, on=TODAY, reason="sold the house", by=dana)

    page = signed_in(client, dana).get(address(job))

    assert sentence_of(page) == "Cancelled on 18 November 2026 by Dana Ruiz: sold the house."
    assert page.context["expected"] == []


def test_a_hold_says_what_is_stopped_and_that_the_wait_is_not(client, theo):
    job = make_job(S.AWAITING_UTILITY)
    homefacts.hold(job, kind="storm", stops=["reminders"], review_on=dt.date(2026, 12, 1), reason="flood", by=theo)

    page = signed_in(client, theo).get(address(job))

    ((_, said),) = page.context["holds"]
    assert said == (
        "On hold since 18 November 2026: storm, flood (Theo Lindgren). Stopped: reminders to us; the homeowner's wait is not: 168 days. "
        "To review on 1 December 2026."
    )
    assert reverse("lift", kwargs={"uid": job.holds.get().uid}) in text_of(page)


# The ledger


def test_facts_older_than_the_last_six_fold_into_one_row(client, theo):
    job = make_job(S.BACKUP_VERIFIED)  # commissioned, CT check, registered, staged, sheet, sent, fitted, verified: eight

    found = signed_in(client, theo).get(address(job)).context["ledger"]

    assert found.older_count == 2
    assert [entry.title for entry in found.recent][-3:] == ["Request to fit sent", "Collar fitted and energized", "Backup verified"]
    assert len(found.recent) == ledger.RECENT


def test_a_corrected_fact_stays_struck_through_above_its_correction(client, dana):
    job = make_job()
    fact = put(job, k.COMMISSIONED, on=DAY_ONE)
    homefacts.correct(fact, when=When(on=dt.date(2026, 5, 2)), reason="a slip of the pen", by=dana)

    found = signed_in(client, dana).get(address(job)).context["ledger"]

    before, after = found.recent
    assert (before.struck, before.day, before.corrected_on, before.corrected_by) == ("corrected", "4 May 2026", "Wed 18 Nov", after.anchor)
    assert (after.struck, after.day, after.correction) == ("", "2 May 2026", "corrected: a slip of the pen")
    assert before.correct_url == ""
    assert after.correct_url == reverse("correct", kwargs={"uid": job.facts.standing().get().uid})


def test_a_voided_verification_stays_struck_through_with_the_day_it_was_voided(client, dana, mara, theo):
    call = led(mara)
    verification.record_result(seen_passing(call, mara), result="passed", put_back="yes", by=mara)
    job = call.job
    records.void_verification(VerificationRecord.objects.get(job=job), reason="the wrong home was seen", by=dana)

    rows = {entry.title: entry for entry in signed_in(client, theo).get(address(job)).context["ledger"].recent}

    voiding = rows["Verification voided"]
    passed = rows["Backup verified"]
    assert (passed.struck, passed.corrected_on, passed.corrected_by) == ("voided", "Wed 18 Nov", voiding.anchor)
    assert voiding.struck == ""


def test_second_lines_are_joined_by_a_semicolon_but_not_after_a_whole_sentence():
    assert ledger._joined("leg A", None, "no load", 3) == "leg A; no load; 3"
    assert ledger._joined("1,593 W on leg B.", "A licensed electrician should turn CT A round.", "asked") == (
        "1,593 W on leg B. A licensed electrician should turn CT A round. asked"
    )


def test_a_withdrawn_fact_is_said_not_to_have_happened(client, dana):
    job = make_job()
    homefacts.correct(put(job, k.COMMISSIONED, on=DAY_ONE), withdraw=True, reason="another house", by=dana)

    found = signed_in(client, dana).get(address(job)).context["ledger"]

    assert found.recent[-1].title == "Did not happen: Commissioned grid-tied"
    assert found.recent[-1].correct_url == ""


def test_a_photo_is_linked_and_its_absence_said(client, theo):
    job = make_job(S.COLLAR_ENERGIZED)

    entries = {entry.title: entry for entry in signed_in(client, theo).get(address(job)).context["ledger"].recent}

    assert entries["Collar staged"].evidence[0].url == reverse("document", kwargs={"uid": job.documents.get().uid})
    assert entries["Collar fitted and energized"].no_photo


def test_days_of_a_bracket_never_show_their_middle():
    job = make_job(S.AWAITING_UTILITY)
    put(job, k.COLLAR_FITTED, on=dt.date(2026, 11, 12))
    fact = job.facts.of_kind(k.COLLAR_FITTED).get()
    fact.after_on = dt.date(2026, 11, 8)

    assert ledger.day_of(fact, zone=job.site.zone, today=TODAY) == "8–12 Nov"


def test_missing_facts_stand_above_the_today_line_with_the_act_that_records_them(client, joel, theo, crew):
    job = make_job(crew=crew)
    put(job, k.COMMISSIONED, on=DAY_ONE)

    wanted = signed_in(client, joel).get(address(job)).context["wanted"]

    assert [row.words for row in wanted] == [
        "a consumption-CT check that is consistent",
        "the collar's serial, registered",
        "the collar staged, with place and photo or a reason",
        "the hand-over sheet, given to the homeowner",
    ]
    assert wanted[0].button.url == reverse("record", kwargs={"code": job.code, "what": "ct-check"})
    # The scheduler records custody, not day one: no link to what the role may not do.
    of_theo = signed_in(client, theo).get(address(job)).context["wanted"]
    assert [row.button is not None for row in of_theo] == [False, True, True, False]


def test_a_fitted_home_wants_what_its_call_needs(client, theo):
    job = make_job(S.COLLAR_ENERGIZED)
    served(job)

    wanted = [row.words for row in signed_in(client, theo).get(address(job)).context["wanted"]]

    assert "a report of the gateway since the fitting" in wanted
    assert "the software update, confirmed since the fitting" in wanted
    assert "the medical answer, not asked yet" in wanted


def test_what_is_expected_stands_below_the_today_line_with_its_range(client, dana):
    request = asked()
    forecast_for(request, half_in=116)
    job = job_of(request)
    plan(job)

    page = signed_in(client, dana).get(address(job))

    fitting, call, final = page.context["expected"]
    assert (fitting.day, fitting.range) == ("13 Mar 2027", "13 Mar 2027 to 1 May 2027")
    assert fitting.title == "Collar fitted: half by 13 Mar 2027"
    assert "4 in 100 are never fitted" in fitting.under
    assert fitting.drawn.row.label.startswith("Collar fitted: half of such requests are fitted by 13 March 2027")
    assert page.content.decode().count('<svg class="marks"') == 2  # the months on the today line, the range below it
    assert call.title == "Verification call, once the collar is in"
    assert final.title == "Final milestone earned: $9,600.00"
    html = text_of(page)
    assert html.index("Request to fit sent") < html.index("Today. Below: expected, not known.") < html.index("Collar fitted: half by")


# Who sees what


@pytest.mark.parametrize(("who", "sees"), [("dana", True), ("farida", True), ("theo", False), ("mara", False), ("joel", False)])
def test_amounts_are_for_those_who_may_see_money(client, who, sees, request, crew):
    job = make_job(S.GRID_TIED, crew=crew)
    plan(job)

    html = text_of(signed_in(client, request.getfixturevalue(who)).get(address(job)))

    assert ("What is owed" in html) == sees
    assert ("$38,400.00" in html) == sees


@pytest.mark.parametrize(("who", "sees"), [("dana", True), ("theo", True), ("mara", True), ("farida", False), ("joel", False)])
def test_the_medical_answer_is_for_those_who_may_see_it(client, who, sees, request, crew):
    job = make_job(S.AWAITING_UTILITY, crew=crew)
    homefacts.record_medical_answer(job, answer="yes", said_by="Guadalupe", on=TODAY, by=SYSTEM)

    html = text_of(signed_in(client, request.getfixturevalue(who)).get(address(job)))

    assert ("Powered medical equipment relied on: yes" in html) == sees
    assert ("Medical equipment" in html) == sees


def test_a_crew_sees_the_medical_answer_on_the_day_of_the_installation_only(client, joel, crew):
    job = make_job(crew=crew, install_on=TODAY)
    homefacts.record_medical_answer(job, answer="yes", said_by="Guadalupe", on=TODAY, by=SYSTEM)
    signed_in(client, joel)

    assert "Powered medical equipment relied on: yes" in text_of(client.get(address(job)))
    Job.objects.filter(pk=job.pk).update(install_on=TODAY + dt.timedelta(days=1))
    other_day = text_of(client.get(address(job)))
    assert "relied on" not in other_day
    assert "Medical equipment" not in other_day


def test_finance_does_not_learn_from_what_is_wanted_that_a_home_relies_on_equipment(client, farida):
    job = make_job(S.COLLAR_ENERGIZED)
    homefacts.record_medical_answer(job, answer="not sure", said_by="Guadalupe", on=TODAY, by=SYSTEM)

    assert "medical" not in text_of(signed_in(client, farida).get(address(job))).lower()


def test_a_gate_code_is_never_on_the_page_and_its_link_only_for_those_who_may(client, theo, farida):
    job = make_job()
    secrets.keep_code(job, name="gate", code="4711", by=SYSTEM)
    reveal = reverse("reveal", kwargs={"code": job.code})

    with_right = text_of(signed_in(client, theo).get(address(job)))
    without = text_of(signed_in(client, farida).get(address(job)))

    assert reveal in with_right
    assert reveal not in without
    assert "4711" not in with_right + without


@pytest.mark.parametrize("who", ["dana", "theo", "farida", "mara", "joel"])
@pytest.mark.parametrize("state", [S.IN_BUILD, S.GRID_TIED, S.AWAITING_UTILITY, S.COLLAR_ENERGIZED, S.BACKUP_VERIFIED, S.CANCELLED])
def test_each_button_of_each_role_opens_in_each_state(client, who, state, request, crew):
    job = make_job(state, crew=crew)
    served(job)
    page = signed_in(client, request.getfixturevalue(who)).get(address(job))

    for button in (*page.context["first_acts"], *page.context["other_acts"]):
        assert client.get(button.url).status_code in {200, 302}, button.words


def test_the_filled_button_does_what_the_sentence_says_comes_next(client, theo, joel, mara, crew):
    def first(job: Job, who) -> str:
        context = signed_in(client, who).get(address(job)).context
        return context["first_acts"][0].words if context["filled"] else ""

    removed = make_job(S.COLLAR_ENERGIZED)
    served(removed)
    put(removed, k.COLLAR_REMOVED, on=TODAY)
    two_meters = job_of(asked())  # the request of the other meter stays open
    put(two_meters, k.COLLAR_FITTED, on=FITTED, value={"serial": serial_of(two_meters)})
    built = make_job(crew=crew, install_on=DAY_ONE)
    put(built, k.INSTALLED, on=DAY_ONE)

    assert first(removed, theo) == "Record homeowner told that there is no backup"
    assert first(two_meters, theo) == "Book the call"
    assert first(job_of(asked()), theo) == "Record answer"
    assert first(make_job(S.BACKUP_VERIFIED), theo) == ""
    assert first(job_of(asked()), mara) == ""  # the scheduler's act
    assert first(built, joel) == "Record commissioned grid-tied"


def test_a_recorded_step_of_day_one_folds_away(client, joel, crew):
    job = make_job(crew=crew, install_on=DAY_ONE)
    put(job, k.INSTALLED, on=DAY_ONE)

    context = signed_in(client, joel).get(address(job)).context

    assert "Record system installed" not in [button.words for button in context["first_acts"]]
    assert "Record system installed" in [button.words for button in context["other_acts"]]


def test_another_crews_job_is_not_there(client, joel):
    assert signed_in(client, joel).get(address(make_job())).status_code == 404


def test_a_cancelled_contract_earns_nothing_more(client, dana):
    job = make_job(S.GRID_TIED)
    plan(job)
    before = signed_in(client, dana).get(address(job)).context["home"].owed.final
    homefacts.cancel(job, on=TODAY, reason="sold the house", by=dana)

    after = client.get(address(job)).context["home"].owed.final

    assert (before.says, after.says) == ("not earned yet", "not earned; the contract is cancelled")


# Codes


def test_a_mistyped_code_offers_the_one_it_is_near(client, theo, joel):
    job = make_job()
    last = "X" if job.code[-1] != "X" else "W"
    typed = job.code[:-1] + last
    address_typed = reverse("job", kwargs={"code": typed})

    page = signed_in(client, theo).get(address_typed)

    assert page.status_code == 404
    assert f"There is no job {typed}." in text_of(page)
    assert f'href="{address(job)}"' in text_of(page)
    # A crew is not offered a code of another's job.
    assert job.code not in text_of(signed_in(client, joel).get(address_typed))


def test_a_code_in_small_letters_leads_to_its_page(client, theo):
    job = make_job()

    answer = signed_in(client, theo).get(f"/jobs/{job.code.lower()}/")

    assert (answer.status_code, answer.headers["Location"]) == (302, address(job))


def test_the_page_asks_the_database_as_often_for_fifty_facts_as_for_five(client, dana):
    request = asked()
    job = job_of(request)
    plan(job)
    forecast_for(request, half_in=116)
    signed_in(client, dana)
    few = counted(client, address(job))
    for _ in range(45):
        put(job, k.CONTACT, on=TODAY, value={"answered": "nothing new"})

    assert counted(client, address(job)) == few
    assert few <= 40


@pytest.mark.parametrize("how", ["booked", "on the call"])
def test_who_may_not_know_the_medical_answer_does_not_read_it_in_the_reason_of_a_call(how, farida, joel, crew, theo, mara):
    job = ready_job(crew=crew)
    if how == "booked":
        booked(theo, verifier=user_of(mara), job=job)
        homefacts.record_medical_answer(job, answer="yes", said_by="Guadalupe Hernández", on=TODAY, by=theo)
    else:
        verification.answer_check(led(mara, job=job, upto="cautions"), check="medical", answer="yes", by=mara)

    for person in (farida, joel):
        page = signed_in(Client(), person).get(address(job)).content.decode()
        assert "not run by telephone here" in page
        assert not re.search("medical answer is|relies on|“yes”", page)
    [line] = appointment_exports.lines(Appointment.objects.filter(job=job))
    assert "not run by telephone here" in str(line)
    assert "medical" not in str(line)


def test_the_page_that_corrects_a_medical_answer_is_not_there_for_finance(farida, theo):
    fact = put(make_job(), k.MEDICAL_ANSWER, on=TODAY, value={"answer": "yes"})
    correct = reverse("correct", kwargs={"uid": fact.uid})
    assert signed_in(Client(), farida).get(correct).status_code == 404
    assert signed_in(Client(), theo).get(correct).status_code == 200


def test_no_numeric_key_of_a_fact_stands_on_the_page(client, theo):
    job = make_job(S.GRID_TIED)
    page = text_of(signed_in(client, theo).get(address(job)))
    for fact in job.facts.all():
        assert f'id="f{fact.pk}"' not in page
        assert f'id="f{fact.uid.hex[:12]}"' in page
