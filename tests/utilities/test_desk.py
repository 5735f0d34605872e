"""The utility desk: packages and sendings, closed there, missed visits, changes, reports of fitting. Rules: TRADE.md C1, C2, C6-C9, D1."""

import datetime as dt
import hashlib
import re
from typing import Any

import pytest
from django.urls import reverse

from jobs.core import facts, homefacts, secrets
from jobs.core import kinds as k
from jobs.core.dayone import Photo
from jobs.core.facts import When
from jobs.core.models import Job, Secret, Trace
from jobs.core.refusals import Refused
from jobs.core.rights import MANAGER, SCHEDULER
from jobs.core.states import S
from jobs.core.waiting import HOMEOWNER, UTILITY
from tests.make import PNG, SYSTEM, make_job, put, serial_of, user_of
from tests.races import race
from tests.utilities.made import job_of, make_request, make_service, make_utility, service_of
from utilities import attention, changes, endings, meters, reports, requests, versions, visits
from utilities.models import FitRequest, Outcome, Sending, SentFile
from utilities.package import Package, Packed
from utilities.terms import Limit, Terms

pytestmark = pytest.mark.django_db
D = dt.date
TERMS: dict[str, Any] = {"package": ("one-line diagram", "meter number", "account number"), "fee_minor": 7_500, "signature_needed": "yes"}
DRAWN = Packed("one-line diagram", upload=Photo("one-line.png", PNG))
PAID: dict[str, Any] = {"fee_minor": 7_500, "fee_paid_on": D(2026, 6, 2), "signed_on": D(2026, 6, 1), "signed_by": "Guadalupe Hernández"}


def text(page) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.content.decode()))


# Requests and their packages.


def test_a_package_that_lacks_something_is_refused_and_names_it(theo):
    service = make_service(utility=make_utility("Ottermere Municipal Light", **TERMS))

    with pytest.raises(Refused) as refusal:
        requests.record_sent(service, on=D(2026, 6, 3), by=theo)

    assert str(refusal.value) == (
        "The package lacks what Ottermere Municipal Light asks for: one-line diagram; account number, on the home's record; "
        "the fee of $75.00, paid; the account holder's signature, with its day and name. Add it, then record the sending."
    )
    assert not Sending.objects.exists()


def test_a_whole_package_leaves_with_its_files_and_their_sha_256_and_stays_as_it_left(theo):
    service = make_service(utility=make_utility(**TERMS), account_number="88-1")

    request = requests.record_sent(service, on=D(2026, 6, 3), package=Package(packed=(DRAWN,), **PAID), by=theo)

    sending = request.sendings.get()
    kept = sending.files.get()
    assert (kept.item, kept.name, kept.size) == ("one-line diagram", "one-line.png", kept.document.file.size)
    assert kept.sha256 == kept.document.file.sha256
    assert len(kept.sha256) == len(hashlib.sha256(b"abc").hexdigest())
    assert (sending.fee_minor, sending.fee_paid_on, sending.signed_by) == (7_500, D(2026, 6, 2), "Guadalupe Hernández")
    sending.note = "changed"
    with pytest.raises(TypeError, match="not changed afterwards"):
        sending.save()
    with pytest.raises(TypeError, match="not changed afterwards"):
        kept.save()
    assert SentFile.objects.count() == 1


def test_the_page_of_a_sending_asks_for_each_item_and_loses_nothing_when_refused(client, theo):
    service = make_service(utility=make_utility(**TERMS), account_number="88-1")
    client.force_login(user_of(theo))

    page = client.post(
        reverse("request_sent", kwargs={"uid": service.uid}), {"on": "3 Jun 2026", "note": "by courier", "signed_by": "Lupe"}
    )

    said = text(page)
    assert page.status_code == 422
    assert "The package lacks what" in said
    assert "One-line diagram" in said
    assert 'value="by courier"' in page.content.decode()
    assert 'value="Lupe"' in page.content.decode()


def test_a_pending_meter_exchange_asks_for_one_visit(theo):
    service = changes.record_meter_exchange(make_service(), asked_on=D(2026, 5, 20), done_on=None, by=theo)

    with pytest.raises(Refused, match="A meter exchange is pending here too, asked on 20 May 2026"):
        requests.record_sent(service, on=D(2026, 6, 3), by=theo)

    request = requests.record_sent(service, on=D(2026, 6, 3), package=Package(one_visit=True), by=theo)
    assert request.sendings.get().one_visit is True


def test_repeating_on_the_same_day_is_refused_and_re_requests_are_linked(theo):
    request = make_request()
    requests.record_sent_again(request, on=D(2026, 9, 1), route="e-mail", by=theo)
    with pytest.raises(Refused, match="recorded that it was sent on 1 September 2026 already"):
        requests.record_sent_again(request, on=D(2026, 9, 1), route="e-mail", by=theo)

    newer = requests.record_sent_again(request, on=D(2026, 9, 2), because="incomplete", counts_as_new=True, by=theo)

    request.refresh_from_db()
    assert newer.follows == request
    # Wait statistics keep both: one ended without fitting, one open.
    assert list(FitRequest.objects.waits().order_by("pk").values_list("outcome", flat=True)) == [Outcome.CANCELLED, Outcome.OPEN]


@pytest.mark.needs_postgres
@pytest.mark.django_db(transaction=True)
def test_two_people_who_send_the_same_request_at_once_make_one_sending(theo, dana):
    service = make_service()

    told = race(*(lambda by=by: requests.record_sent(service, on=D(2026, 6, 3), by=by) for by in (theo, dana)))

    (made,) = [each for each in told if isinstance(each, FitRequest)]
    (refused,) = [each for each in told if isinstance(each, str)]
    assert f"Request {made.code} is open here since 3 June 2026" in refused
    assert (Sending.objects.count(), FitRequest.objects.count()) == (1, 1)


def test_a_request_closed_there_stands_on_today_until_it_is_cleared(dana, theo):
    request = make_request()
    endings.record_closed_there(request, on=D(2026, 11, 10), reason="no access, says the portal", by=theo)

    (row,) = section(dana, "closed_there").rows
    assert row.cells == (request.utility.name, "no access, says the portal")
    request.refresh_from_db()
    assert request.is_open

    endings.record_open_there(request, on=D(2026, 11, 12), person="Lena", by=theo)
    assert not section(dana, "closed_there").rows
    request.refresh_from_db()
    assert request.filed_on == D(2026, 6, 3)


def test_a_withdrawal_is_not_over_before_the_utility_acknowledges_it(theo):
    request = make_request()
    with pytest.raises(Refused, match="was not withdrawn by us"):
        endings.record_withdrawal_heard(request, on=D(2026, 11, 10), person="Lena", by=theo)
    endings.end_request(request, on=D(2026, 11, 10), reason="withdrawn", by=theo)
    assert section(theo, "not_heard").total == 1
    with pytest.raises(Refused, match="It was withdrawn on 10 November 2026"):
        endings.record_withdrawal_heard(request, on=D(2026, 11, 9), person="Lena", by=theo)

    endings.record_withdrawal_heard(request, on=D(2026, 11, 12), person="Lena", by=theo)

    assert section(theo, "not_heard").total == 0


def test_an_answer_for_a_home_of_another_utility_is_refused_and_kept_on_the_page(client, theo):
    request, other = make_request(), make_utility("Sable Fork Electric Cooperative")
    client.force_login(user_of(theo))
    address = reverse("utility_answer", kwargs={"uid": other.uid})

    page = client.post(address, {"which": request.code, "on": "12 Nov 2026", "answered": "planned for December"})

    assert page.status_code == 422
    assert f"Request {request.code} is at {request.utility}, not at Sable Fork Electric Cooperative" in text(page)
    assert 'value="planned for December"' in page.content.decode()
    assert not request.contacts.exists()
    right = reverse("utility_answer", kwargs={"uid": request.utility.uid})
    client.post(right, {"which": service_of(request).meter_number, "on": "12 Nov 2026", "answered": "complete", "complete": "on"})
    request.refresh_from_db()
    assert (request.acknowledged_on, request.complete_on) == (D(2026, 11, 12), D(2026, 11, 12))


def test_a_request_past_a_published_limit_says_by_how_much_whose_calendar_and_source(client, dana):
    limits = (Limit("complete", "COMAR 20.50.09.09", days=5),)
    request = make_request(make_service(utility=make_utility("Ottermere Municipal Light", limits=limits)), on=D(2026, 11, 5))
    client.force_login(user_of(dana))

    told = text(client.get(reverse("request", kwargs={"code": request.code})))

    # After Thursday 5 November: 6, 9, 10, 12, 13 (the 11th is Veterans Day), so due on the 13th; then 16, 17, 18.
    assert "Due 13 November 2026, 3 business days over" in told
    assert "Ottermere Municipal Light's own calendar (federal holidays)" in told.replace("&#x27;", "'")
    assert "COMAR 20.50.09.09" in told
    assert section(dana, "over_limit").rows[0].margin == "3 business days over"
    without = make_request()
    assert "No published limit is on record." in text(client.get(reverse("request", kwargs={"code": without.code})))


# Visits.


def test_four_unsuccessful_visits_of_four_kinds_in_one_day_leave_all_awaiting_each_with_its_own_next_actor(theo):
    day = D(2026, 11, 12)
    told = {"nobody home": HOMEOWNER, "collar not found": "crew", "cancelled by utility": UTILITY, "could not get in": SCHEDULER}
    waits = {outcome: make_request() for outcome in told}

    for outcome, request in waits.items():
        visits.record_visit(request, on=day, outcome=outcome, reason="told by the crew", by=theo)

    for outcome, request in waits.items():
        request.refresh_from_db()
        job = job_of(request)
        visit = request.visits.get()
        assert (job.state, request.is_open, request.filed_on) == (S.AWAITING_UTILITY, True, D(2026, 6, 3))
        assert visit.next_actor == told[outcome]
        assert job.next_due_on == visit.next_due_on
        assert visit.next_due_on is not None
        assert visit.next_due_on > day
    assert waits["cancelled by utility"].visits.get().next_due_on == D(2026, 11, 17)  # 13, 16, 17: its own business days
    assert job_of(waits["nobody home"]).waiting_on == HOMEOWNER
    assert job_of(waits["collar not found"]).next_role == "crew"


def test_an_outcome_without_a_reason_and_a_visit_before_the_request_are_refused(client, theo):
    request = make_request()
    client.force_login(user_of(theo))
    address = reverse("request_visit", kwargs={"uid": request.uid})

    page = client.post(address, {"on": "12 Nov 2026", "outcome": "nobody home", "role": "utility", "name": "R. Olsen"})
    assert page.status_code == 422
    assert "Say why: “nobody home” without a reason helps nobody" in text(page)
    assert 'value="R. Olsen"' in page.content.decode()
    with pytest.raises(Refused, match="a visit for it comes later"):
        visits.record_visit(request, on=D(2026, 6, 2), outcome="nobody home", reason="rang twice", by=theo)
    assert not request.visits.exists()


def test_the_second_missed_visit_goes_to_the_manager_and_bag_and_access_are_confirmed_again(client, dana, theo):
    request = make_request()
    visits.record_visit(request, on=D(2026, 10, 1), outcome="nobody home", reason="rang twice", by=theo)
    visits.record_visit(request, on=D(2026, 10, 20), outcome="cancelled by utility", reason="an outage", by=theo)

    job = job_of(FitRequest.objects.get(pk=request.pk))
    assert job.next_role == MANAGER
    assert job.next_act == "Decide after two missed visits: bag and access are confirmed again before a new window"
    assert section(dana, "missed_twice").total == 1
    client.force_login(user_of(theo))
    page = reverse("request", kwargs={"code": request.code})
    assert "Two missed visits: 1 missed by the homeowner, 1 missed by the utility. Bag and access are to be confirmed again" in text(
        client.get(page)
    )

    changes.confirm_site(request, on=D(2026, 10, 21), bag="left of the meter", access="she opens", name="Guadalupe", by=theo)

    job.refresh_from_db()
    assert (job.next_act, job.next_role) == ("Ask the utility for a new window", SCHEDULER)
    assert "Bag and access were confirmed again on 21 October 2026" in text(client.get(page))


def test_a_missing_collar_waits_on_the_crew_until_one_hangs_again(theo):
    request = make_request()
    visits.record_visit(request, on=D(2026, 10, 1), outcome="collar not found", reason="no bag", by=theo)
    requests.record_contact(request, on=D(2026, 10, 2), answered="we come again next week", by=theo)
    job = Job.objects.get(pk=job_of(request).pk)
    assert job.next_role == "crew"

    put(job, k.COLLAR_STAGED, on=D(2026, 10, 4), value={"place": "left of the meter, hung by the office"})

    job.refresh_from_db()
    assert job.next_act == "Ask the utility for a new window"


def test_a_wrong_meter_form_leads_to_a_signed_change_and_a_new_request_linked_to_the_old(theo):
    request = make_request()
    visits.record_visit(request, on=D(2026, 10, 1), outcome="meter or socket not suitable", reason="form 4S", by=theo)
    change = changes.propose_change(request, on=D(2026, 10, 5), found="form 4S, told by the crew", option="meter", by=theo)
    with pytest.raises(Refused, match="is not signed by the owner yet"):
        requests.record_sent_again(request, on=D(2026, 10, 9), because="changed", counts_as_new=True, by=theo)
    with pytest.raises(Refused, match="waits for the owner's signature"):
        changes.propose_change(request, on=D(2026, 10, 6), found="again", option="socket", by=theo)
    changes.record_change_signed(change, on=D(2026, 10, 8), signed_by="Guadalupe Hernández", by=theo)

    newer = requests.record_sent_again(request, on=D(2026, 10, 9), because="changed", counts_as_new=True, by=theo)

    assert (newer.follows, newer.filed_on) == (request, D(2026, 10, 9))


def test_a_gate_code_is_never_written_where_it_leaves_and_is_deleted_at_close(dana, theo):
    request = make_request()
    job = job_of(request)
    secrets.keep_code(job, name="gate", code="4 7 1 1#", by=theo)
    assert secrets.reveal_code(job, name="gate", purpose="told to the duty planner", by=theo) == "4 7 1 1#"
    assert Trace.objects.filter(job=job, act="shown: gate, for told to the duty planner", actor=theo.name).exists()

    with pytest.raises(Refused, match="holds the home's gate code"):
        visits.announce_visit(request, told_on=D(2026, 11, 12), window_from=D(2026, 12, 1), window_to=D(2026, 12, 1),
                              access_note="press 4711# and wait", by=theo)  # fmt: skip
    with pytest.raises(Refused, match="holds the home's gate code"):
        changes.confirm_site(request, on=D(2026, 11, 12), bag="as before", access="code 47 11#", name="Guadalupe", by=theo)

    endings.end_request(request, on=D(2026, 11, 12), reason="withdrawn", by=theo)
    homefacts.cancel(job, on=D(2026, 11, 12), reason="sold the house", by=dana)
    assert not Secret.objects.filter(job=job).exists()
    assert Trace.objects.filter(job=job, act="deleted at close: gate").exists()


# Learning of the fitting.


@pytest.mark.parametrize("source", facts.FITTING_SOURCES)
def test_any_first_report_opens_confirm_the_fitting_and_decides_nothing(dana, theo, source):
    request = make_request()

    reports.report_fitting(request, source=source, by_on=D(2026, 11, 12), serial=serial_of(job_of(request)), by=theo)

    job = Job.objects.get(pk=job_of(request).pk)
    assert (job.state, job.next_act) == (S.AWAITING_UTILITY, "Confirm the fitting: ask for a photo, look at the gateway")
    assert section(dana, "to_confirm").total == 1
    request.refresh_from_db()
    assert request.is_open

    visits.confirm_fitting(request, by_on=D(2026, 11, 12), said_by=facts.Said(source), serial=serial_of(job), by=theo)
    job.refresh_from_db()
    assert job.state == S.COLLAR_ENERGIZED
    assert section(dana, "to_confirm").total == 0


def test_the_gateways_own_report_opens_it_too_and_a_visit_that_found_none_answers_it(theo):
    request = make_request()
    job = job_of(request)
    at = dt.datetime(2026, 11, 10, 18, tzinfo=dt.UTC)
    homefacts.record_gateway_report(job, at=at, state="closed", serial=serial_of(job), by=SYSTEM)
    job.refresh_from_db()
    assert job.next_act.startswith("Confirm the fitting")

    visits.record_visit(request, on=D(2026, 11, 12), outcome="collar not found", reason="the socket is as it was", by=theo)

    job.refresh_from_db()
    assert job.next_role == "crew"


def test_reports_that_conflict_are_shown_side_by_side_and_none_is_overwritten(client, theo):
    request = make_request()
    job = job_of(request)
    reports.report_fitting(request, source="utility", by_on=D(2026, 11, 2), exact=True, serial=serial_of(job), by=theo)
    reports.report_fitting(request, source="homeowner", by_on=D(2026, 11, 11), after_on=D(2026, 11, 10), serial="LL-990417", by=theo)
    client.force_login(user_of(theo))

    told = text(client.get(reverse("request_fitted", kwargs={"uid": request.uid})))

    assert "The utility says fitted by 2 November 2026, the homeowner not yet on 10 November 2026." in told
    assert f"Serial LL-990417 was reported; {serial_of(job)} is registered for this home." in told
    assert job.facts.standing().of_kind(k.FITTING_REPORTED).count() == 2
    kept = [When(on=fact.happened_on, after=fact.after_on, by=fact.by_on).day_at("America/Denver") for fact in job.facts.standing()
            if fact.kind == k.FITTING_REPORTED]  # fmt: skip
    assert kept == [D(2026, 11, 2), D(2026, 11, 11)]


def test_reports_that_agree_begin_the_form_of_confirming(client, theo):
    request = make_request()
    serial = serial_of(job_of(request))
    reports.report_fitting(request, source="homeowner", by_on=D(2026, 11, 12), after_on=D(2026, 11, 8), serial=serial, by=theo)
    reports.report_fitting(request, source="our enquiry", by_on=D(2026, 11, 11), by=theo)
    client.force_login(user_of(theo))

    form = client.get(reverse("request_fitted", kwargs={"uid": request.uid})).context["form"]

    assert (form.initial["by_on"], form.initial["after_on"], form.initial["serial"]) == (D(2026, 11, 11), D(2026, 11, 8), serial)


def test_a_report_before_the_request_or_of_history_is_refused(theo):
    request = make_request()
    with pytest.raises(Refused, match="a report of its fitting comes later"):
        reports.report_fitting(request, source="homeowner", by_on=D(2026, 6, 2), by=theo)
    with pytest.raises(Refused, match="is no source we know"):
        reports.report_fitting(request, source="a bird", by_on=D(2026, 11, 2), by=theo)


def test_a_survey_is_held_against_the_list_on_the_page_of_the_request(client, theo):
    job = make_job(S.GRID_TIED)
    put(job, k.SURVEYED, on=D(2026, 5, 4), value={"meter_form": "4S", "service_voltage": "120/240", "clearance": "clear"})
    service = meters.connect_service(job, utility=make_utility(meter_forms=("2S",)), meter_number="1", by=SYSTEM)
    client.force_login(user_of(theo))

    told = text(client.get(reverse("request_sent", kwargs={"uid": service.uid})))

    assert "This home: does not fit the list" in told
    assert "The utility alone approves." in told


def section(by, name):
    return next(one for one in attention.for_user(user_of(by)).sections if one.name == name)


def test_a_utility_whose_profile_is_old_or_empty_stands_on_the_managers_today(dana):
    old, empty = make_utility(route="portal"), make_utility()
    for utility in (old, empty):
        make_request(make_service(utility=utility))
    versions.confirm_version(old.versions.get(), on=D(2026, 5, 1), confirmed_with="Lena", by=dana)

    assert [row.cells for row in section(dana, "old_profiles").rows] == [("Confirmed 201 days ago",), ("Nothing is on record",)]
    assert Terms().who_may_fit == "utility personnel only"
