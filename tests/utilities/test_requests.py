from __future__ import annotations

import datetime as dt

import pytest

from jobs.core import facts, homefacts
from jobs.core import kinds as k
from jobs.core.facts import Said, When
from jobs.core.models import Fact, Trace
from jobs.core.refusals import Refused
from jobs.core.states import S
from tests.make import make_job, make_user, put
from tests.utilities.made import job_of, make_request, make_service, make_utility, service_of
from utilities import endings, meters, requests, services, visits
from utilities.models import FitRequest, Outcome, Sending, Service

pytestmark = pytest.mark.django_db

D = dt.date


def fact_of(request: FitRequest, kind: str) -> Fact:
    return Fact.objects.standing().filter(job=request.job, kind=kind).get()


def test_sending_opens_one_request_and_the_job_waits_on_the_utility(theo):
    service = make_service()

    request = requests.record_sent(service, on=D(2026, 6, 3), route="portal", reference="S-1", by=theo)

    request.job.refresh_from_db()
    assert (request.filed_on, request.outcome, request.utility) == (D(2026, 6, 3), Outcome.OPEN, service.utility)
    assert request.job.state == S.AWAITING_UTILITY
    assert (request.job.waiting_on, request.job.waiting_since) == ("utility", D(2026, 6, 3))
    sent = fact_of(request, k.REQUEST_SENT)
    assert sent.value["request"] == str(request.uid)
    assert request.sendings.get().fact == sent
    assert Trace.objects.filter(act="utilities.requests.record_sent", job=request.job).count() == 1


def test_a_second_first_sending_for_the_same_meter_is_refused(theo):
    request = make_request()

    with pytest.raises(Refused, match=f"Request {request.code} is open here since 3 June 2026"):
        requests.record_sent(service_of(request), on=D(2026, 6, 10), by=theo)

    assert FitRequest.objects.count() == 1
    assert Fact.objects.filter(job=request.job, kind=k.REQUEST_SENT).count() == 1


def test_sending_again_never_restarts_the_wait(theo):
    request = make_request(on=D(2026, 6, 3))

    same = requests.record_sent_again(request, on=D(2026, 8, 3), route="e-mail", by=theo)

    same.refresh_from_db()
    same.job.refresh_from_db()
    assert same == request
    assert same.filed_on == D(2026, 6, 3)
    assert same.job.waiting_since == D(2026, 6, 3)
    assert [sending.sent_on for sending in same.sendings.all()] == [D(2026, 6, 3), D(2026, 8, 3)]


def test_a_returned_package_asks_whether_the_utility_counts_it_as_new(theo):
    request = make_request()

    with pytest.raises(Refused, match="Does the utility count this as new"):
        requests.record_sent_again(request, on=D(2026, 8, 3), because="incomplete", by=theo)
    with pytest.raises(Refused, match="never a new one"):
        requests.record_sent_again(request, on=D(2026, 8, 3), counts_as_new=True, by=theo)

    assert Sending.objects.count() == 1


def test_a_package_that_counts_as_new_ends_the_request_and_opens_a_linked_one(theo):
    request = make_request(on=D(2026, 6, 3))

    new = requests.record_sent_again(request, on=D(2026, 8, 3), because="incomplete", counts_as_new=True, by=theo)

    request.refresh_from_db()
    new.job.refresh_from_db()
    assert (request.outcome, request.ended_on, request.end_reason) == (Outcome.CANCELLED, D(2026, 8, 3), "returned as incomplete")
    assert (new.follows, new.counts_as_new, new.filed_on, new.outcome) == (request, True, D(2026, 8, 3), Outcome.OPEN)
    assert new.job.state == S.AWAITING_UTILITY
    assert (new.job.waiting_on, new.job.waiting_since) == ("utility", D(2026, 8, 3))


def test_a_package_that_does_not_count_as_new_keeps_its_place(theo):
    request = make_request(on=D(2026, 6, 3))

    same = requests.record_sent_again(request, on=D(2026, 8, 3), because="closed", counts_as_new=False, by=theo)

    assert same == request
    assert FitRequest.objects.get().outcome == Outcome.OPEN


@pytest.mark.parametrize(("reason", "words"), sorted(endings.ENDS.items()))
def test_an_ended_request_waits_on_us_until_a_new_one_is_sent(theo, reason, words):
    request = make_request(on=D(2026, 6, 3))

    endings.end_request(request, on=D(2026, 9, 1), reason=reason, by=theo)

    request.refresh_from_db()
    request.job.refresh_from_db()
    assert (request.outcome, request.ended_on, request.end_reason) == (Outcome.CANCELLED, D(2026, 9, 1), words)
    assert request.job.state == S.AWAITING_UTILITY
    assert (request.job.waiting_on, request.job.next_act) == ("us", "Send a new request to fit")

    new = requests.record_sent(service_of(request), on=D(2026, 9, 8), by=theo)

    new.job.refresh_from_db()
    assert new.follows == request
    assert (new.job.waiting_on, new.job.waiting_since) == ("utility", D(2026, 9, 8))


def test_nothing_more_is_recorded_on_an_ended_request(theo):
    request = make_request()
    endings.end_request(request, on=D(2026, 9, 1), reason="lapsed", by=theo)

    for act, given in (
        (requests.record_sent_again, {"on": D(2026, 9, 2)}),
        (endings.end_request, {"on": D(2026, 9, 2), "reason": "lapsed"}),
        (requests.record_contact, {"on": D(2026, 9, 2), "answered": "nothing new"}),
        (requests.record_answer, {"on": D(2026, 9, 2), "answered": "received"}),
        (visits.record_visit, {"on": D(2026, 9, 2), "outcome": "unknown"}),
    ):
        with pytest.raises(Refused, match="is not open any more: ended without fitting on 1 September 2026"):
            act(request, by=theo, **given)


def test_a_correction_moves_the_day_of_sending(dana):
    request = make_request(on=D(2026, 6, 3))

    homefacts.correct(fact_of(request, k.REQUEST_SENT), when=When(on=D(2026, 6, 1)), reason="the portal says 1 June", by=dana)

    request.refresh_from_db()
    assert request.filed_on == D(2026, 6, 1)
    assert request.sendings.get().sent_on == D(2026, 6, 1)


def test_a_sending_recorded_in_error_is_no_wait(dana):
    request = make_request(on=D(2026, 6, 3))

    homefacts.correct(fact_of(request, k.REQUEST_SENT), withdraw=True, reason="the other house", by=dana)

    request.refresh_from_db()
    request.job.refresh_from_db()
    assert request.outcome == Outcome.VOID
    assert request.job.state == S.GRID_TIED
    assert not FitRequest.objects.waits().exists()
    assert make_request(service_of(request), on=D(2026, 6, 4)).follows is None


def test_an_end_recorded_in_error_opens_the_request_again(dana):
    request = make_request()
    endings.end_request(request, on=D(2026, 9, 1), reason="lapsed", by=dana)

    homefacts.correct(fact_of(request, k.REQUEST_ENDED), withdraw=True, reason="they meant another home", by=dana)

    request.refresh_from_db()
    assert (request.outcome, request.ended_on, request.end_reason) == (Outcome.OPEN, None, "")


def test_a_correction_that_would_leave_two_open_requests_is_refused(dana):
    request = make_request()
    endings.end_request(request, on=D(2026, 9, 1), reason="lapsed", by=dana)
    make_request(service_of(request), on=D(2026, 9, 2))

    with pytest.raises(Refused, match="a newer one for the same meter is open too"):
        homefacts.correct(fact_of(request, k.REQUEST_ENDED), withdraw=True, reason="they meant another home", by=dana)

    assert FitRequest.objects.open().count() == 1


def test_a_promise_becomes_a_due_day_and_nothing_new_is_an_answer(theo):
    request = make_request(on=D(2026, 6, 3))

    requests.record_contact(
        request, on=D(2026, 11, 10), answered="crew next week", promised_by=D(2026, 11, 16), person="Ms. Ortiz", by=theo
    )

    request.job.refresh_from_db()
    assert request.job.next_due_on == D(2026, 11, 16)
    assert request.job.next_act == "Ask the utility what became of its promise"

    requests.record_contact(request, on=D(2026, 11, 17), asked="where does it stand?", answered="nothing new", by=theo)

    request.job.refresh_from_db()
    assert request.job.next_due_on == D(2026, 12, 1)  # 14 days, the rule
    assert [contact.answered for contact in request.contacts.all()] == ["crew next week", "nothing new"]
    assert Fact.objects.standing().filter(job=request.job, kind=k.CONTACT).count() == 2


def test_a_contact_without_an_answer_is_refused(theo):
    request = make_request()

    with pytest.raises(Refused, match="“nothing new” is an answer too"):
        requests.record_contact(request, on=D(2026, 11, 10), answered="  ", by=theo)
    with pytest.raises(Refused, match="The promised day lies before"):
        requests.record_contact(request, on=D(2026, 11, 10), answered="soon", promised_by=D(2026, 11, 9), by=theo)
    with pytest.raises(Refused, match="a word about it comes later"):
        requests.record_contact(request, on=D(2026, 6, 2), answered="soon", by=theo)


def test_a_corrected_contact_is_corrected_in_the_log_too(dana):
    request = make_request()
    told = requests.record_contact(request, on=D(2026, 11, 10), answered="crew next week", promised_by=D(2026, 11, 16), by=dana)

    assert told.fact is not None
    value = {**told.fact.value, "answered": "crew in December", "promised_by": "2026-12-04"}
    homefacts.correct(told.fact, value=value, reason="misheard", by=dana)

    told.refresh_from_db()
    assert (told.answered, told.promised_by) == ("crew in December", D(2026, 12, 4))


def test_the_utilitys_answer_gives_its_number_and_the_first_day_of_acknowledgement(theo):
    request = make_request()

    requests.record_answer(request, on=D(2026, 6, 10), answered="received", reference="WO-5512", by=theo)
    requests.record_answer(request, on=D(2026, 6, 20), answered="in line", by=theo)

    request.refresh_from_db()
    assert (request.utility_reference, request.acknowledged_on) == ("WO-5512", D(2026, 6, 10))


def test_after_a_removal_a_new_sending_opens_a_new_request_linked_to_the_old(theo):
    request = make_request(on=D(2026, 6, 3))
    visits.confirm_fitting(request, by_on=D(2026, 9, 14), exact=True, said_by=Said("utility"), by=theo)
    with pytest.raises(Refused, match="record its removal first"):
        requests.record_sent(service_of(request), on=D(2026, 10, 1), by=theo)
    homefacts.record_removed(job_of(request), by_on=D(2026, 10, 5), said_by=Said("homeowner"), by=theo)
    with pytest.raises(Refused, match="The collar was removed on 5 October 2026"):
        requests.record_sent(service_of(request), on=D(2026, 10, 1), by=theo)

    new = requests.record_sent(service_of(request), on=D(2026, 10, 7), by=theo)

    request.refresh_from_db()
    assert (request.outcome, new.follows, new.outcome) == (Outcome.FITTED, request, Outcome.OPEN)


def test_a_cancelled_jobs_request_is_not_sent(theo):
    service = make_service()
    put(service.job, k.CANCELLED, on=D(2026, 6, 1), value={"reason": "sold the house"})

    with pytest.raises(Refused, match="This job is cancelled"):
        requests.record_sent(service, on=D(2026, 6, 3), by=theo)


def test_a_home_with_two_meters_has_two_requests(theo):
    first = make_request()
    other = make_service(job_of(first), utility=first.utility)

    second = requests.record_sent(other, on=D(2026, 6, 4), by=theo)
    visits.confirm_fitting(first, by_on=D(2026, 9, 14), exact=True, said_by=Said("utility"), by=theo)

    second.refresh_from_db()
    assert second.is_open
    assert facts.of(job_of(first)).fitted is not None


def test_a_meter_of_another_home_is_refused(theo):
    service = make_service(meter_number="55 806 528")

    with pytest.raises(Refused, match=f"Meter 55 806 528 of .* is on record for job {service.job.code}"):
        meters.connect_service(make_job(), utility=service.utility, meter_number="55 806 528", by=theo)
    with pytest.raises(Refused, match=r"connected to .* through this meter already"):
        meters.connect_service(service.job, utility=service.utility, meter_number="55 806 528", by=theo)

    assert Service.objects.count() == 1


def test_a_district_of_another_utility_is_refused(theo):
    other = make_utility().districts.create(name="North")

    with pytest.raises(Refused, match="North is no district of"):
        meters.connect_service(make_job(), utility=make_utility(), district=other, by=theo)


def test_the_stand_in_asks_while_the_clerk_is_away():
    clerk, stand_in = make_user("scheduler"), make_user("scheduler")
    utility = make_utility(clerk=clerk, stand_in=stand_in, away_from=D(2026, 11, 16), away_to=D(2026, 11, 20))

    asks = [services.who_asks(utility, D(2026, 11, day)) for day in (15, 16, 20, 21)]

    assert asks == [clerk, stand_in, stand_in, clerk]


def test_a_homes_emergency_line_is_its_utilitys():
    service = make_service()

    assert services.utility_of(service.job) == service.utility
    assert services.emergency_line(service.job) == "+13035550111"
    assert services.emergency_line(make_job()) == ""
