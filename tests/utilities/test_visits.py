from __future__ import annotations

import datetime as dt

import pytest

from jobs.core import dayone, facts, homefacts
from jobs.core import kinds as k
from jobs.core.facts import Said, When
from jobs.core.refusals import Refused
from jobs.core.states import S
from tests.make import PNG, serial_of
from tests.utilities.made import job_of, make_request
from utilities import endings, visits
from utilities.models import Outcome, Visit

pytestmark = pytest.mark.django_db

D = dt.date
NOT_FITTED = [outcome for outcome in visits.OUTCOMES if outcome != "fitted"]


def test_there_is_a_next_actor_for_every_outcome_a_visit_can_have():
    assert set(visits.OUTCOMES) == set(facts.VISIT_OUTCOMES)
    assert all(visits.OUTCOMES[outcome].actor and visits.OUTCOMES[outcome].act for outcome in NOT_FITTED)


@pytest.mark.parametrize(
    ("outcome", "waiting_on", "role"),
    [
        ("could not get in", "us", "scheduler"),
        ("nobody home", "homeowner", "scheduler"),
        ("collar not found", "us", "crew"),
        ("collar damaged or wrong", "us", "crew"),
        ("meter or socket not suitable", "us", "scheduler"),
        ("unsafe condition found", "us", "crew"),
        ("not the right crew or equipment", "utility", "scheduler"),
        ("cancelled by utility", "utility", "scheduler"),
        ("unknown", "us", "scheduler"),
    ],
)
def test_a_visit_without_a_fitting_keeps_the_state_and_names_who_is_next(theo, outcome, waiting_on, role):
    request = make_request()

    visit = visits.record_visit(request, on=D(2026, 9, 10), outcome=outcome, reason="told by the crew", by=theo)

    request.refresh_from_db()
    request.job.refresh_from_db()
    assert request.is_open
    assert request.job.state == S.AWAITING_UTILITY
    assert (request.job.waiting_on, request.job.next_role) == (waiting_on, role)
    if waiting_on != "utility":
        assert request.job.next_act == visits.OUTCOMES[outcome].act
    assert visit.fact.value["outcome"] == outcome
    assert (visit.visited_on, visit.missed_by) == (D(2026, 9, 10), visits.OUTCOMES[outcome].missed_by)


def test_a_fitted_visit_brings_the_collar_and_ends_the_wait(theo):
    request = make_request(on=D(2026, 6, 3))

    visit = visits.record_visit(request, on=D(2026, 9, 14), outcome="fitted", serial=serial_of(job_of(request)), by=theo)

    request.refresh_from_db()
    request.job.refresh_from_db()
    assert (request.outcome, request.ended_on, request.fitted_after, request.fitted_by) == ("fitted", D(2026, 9, 14), None, D(2026, 9, 14))
    assert (request.job.state, request.job.state_since) == (S.COLLAR_ENERGIZED, D(2026, 9, 14))
    assert visit.fact.kind == k.COLLAR_FITTED


def test_a_fitting_between_two_days_keeps_both(theo):
    request = make_request(on=D(2026, 6, 3))

    visits.record_visit(request, on=D(2026, 9, 14), after_on=D(2026, 9, 10), outcome="fitted", serial=serial_of(job_of(request)), by=theo)

    request.refresh_from_db()
    assert (request.fitted_after, request.fitted_by, request.ended_on) == (D(2026, 9, 10), D(2026, 9, 14), D(2026, 9, 14))


def test_a_bracket_of_one_day_is_a_known_day(theo):
    request = make_request()

    visits.record_visit(request, on=D(2026, 9, 14), after_on=D(2026, 9, 13), outcome="fitted", by=theo)

    request.refresh_from_db()
    assert (request.fitted_after, request.fitted_by) == (None, D(2026, 9, 14))


def test_a_bracket_that_ends_before_it_begins_is_refused(theo):
    request = make_request()

    with pytest.raises(Refused, match="must come before the first day it was seen fitted"):
        visits.record_visit(request, on=D(2026, 9, 14), after_on=D(2026, 9, 14), outcome="fitted", by=theo)

    request.refresh_from_db()
    assert request.is_open
    assert not Visit.objects.exists()


def test_a_serial_that_is_not_the_registered_one_is_recorded_and_waits_on_us(theo):
    request = make_request()

    visits.record_visit(request, on=D(2026, 9, 14), outcome="fitted", serial="LL-999999", by=theo)

    request.refresh_from_db()
    request.job.refresh_from_db()
    assert request.outcome == Outcome.FITTED
    assert request.job.state == S.AWAITING_UTILITY
    assert request.job.next_act == "Clear the serial: the fitted collar is not the registered one"


def test_no_window_is_asked_for_while_a_reason_says_why_no_collar_was_hung(theo):
    request = make_request()
    job = job_of(request)
    visits.record_visit(request, on=D(2026, 9, 10), outcome="collar not found", reason="said the crew", by=theo)
    job.refresh_from_db()
    wanted = job.next_act

    dayone.record_collar_staged(job, on=D(2026, 9, 11), reason="no other collar in the van", by=theo)
    job.refresh_from_db()
    assert job.next_act == wanted == visits.OUTCOMES["collar not found"].act

    dayone.record_collar_staged(job, on=D(2026, 9, 12), place="left", photo=dayone.Photo("bag.png", PNG), by=theo)
    job.refresh_from_db()
    assert job.next_act == "Ask the utility for a new window"


def test_a_fitting_that_contradicts_a_visit_is_refused(theo):
    request = make_request()
    visits.record_visit(request, on=D(2026, 9, 10), outcome="collar not found", reason="said the crew", by=theo)

    with pytest.raises(Refused, match="On 10 September 2026 a visit found no collar fitted"):
        visits.confirm_fitting(request, by_on=D(2026, 9, 5), said_by=Said("homeowner"), by=theo)

    request.refresh_from_db()
    assert request.is_open


def test_a_report_without_a_last_day_lies_after_the_last_day_seen_not_fitted(theo):
    request = make_request(on=D(2026, 6, 3))
    visits.record_visit(request, on=D(2026, 9, 10), outcome="nobody home", reason="said the crew", by=theo)

    visits.confirm_fitting(request, by_on=D(2026, 9, 20), said_by=Said("homeowner", "Guadalupe"), by=theo)

    request.refresh_from_db()
    assert (request.fitted_after, request.fitted_by) == (D(2026, 9, 10), D(2026, 9, 20))


def test_a_report_knows_at_least_that_it_was_not_fitted_when_sent(theo):
    request = make_request(on=D(2026, 6, 3))

    visits.confirm_fitting(request, by_on=D(2026, 9, 20), said_by=Said("gateway"), by=theo)

    request.refresh_from_db()
    assert (request.fitted_after, request.fitted_by) == (D(2026, 6, 3), D(2026, 9, 20))


def test_a_fitting_before_the_sending_is_refused(theo):
    request = make_request(on=D(2026, 6, 3))

    with pytest.raises(Refused, match="cannot have been fitted before"):
        visits.confirm_fitting(request, by_on=D(2026, 6, 2), said_by=Said("homeowner"), by=theo)


def test_what_the_utility_had_closed_may_be_fitted_all_the_same(theo):
    request = make_request(on=D(2026, 6, 3))
    endings.end_request(request, on=D(2026, 9, 1), reason="closed", by=theo)

    visits.confirm_fitting(request, by_on=D(2026, 9, 20), exact=True, serial=serial_of(job_of(request)), said_by=Said("gateway"), by=theo)

    request.refresh_from_db()
    request.job.refresh_from_db()
    assert (request.outcome, request.ended_on, request.end_reason) == (Outcome.FITTED, D(2026, 9, 20), "")
    assert request.job.state == S.COLLAR_ENERGIZED


def test_a_collar_is_not_fitted_twice(theo):
    request = make_request()
    visits.confirm_fitting(request, by_on=D(2026, 9, 20), said_by=Said("homeowner"), by=theo)

    with pytest.raises(Refused, match="is not open any more: fitted on 20 September 2026"):
        visits.confirm_fitting(request, by_on=D(2026, 9, 21), said_by=Said("gateway"), by=theo)


def test_a_corrected_fitting_moves_the_requests_day(dana):
    request = make_request()
    visit = visits.record_visit(request, on=D(2026, 9, 14), outcome="fitted", by=dana)

    assert visit.fact is not None
    homefacts.correct(visit.fact, when=When(after=D(2026, 9, 9), by=D(2026, 9, 11)), reason="the gateway saw it earlier", by=dana)

    request.refresh_from_db()
    visit.refresh_from_db()
    assert (request.fitted_after, request.fitted_by, request.ended_on) == (D(2026, 9, 9), D(2026, 9, 11), D(2026, 9, 11))
    assert (visit.visited_on, visit.outcome) == (D(2026, 9, 11), "fitted")


def test_a_fitting_wrongly_reported_leaves_the_request_open(dana):
    request = make_request()
    visit = visits.record_visit(request, on=D(2026, 9, 14), outcome="fitted", serial=serial_of(job_of(request)), by=dana)

    assert visit.fact is not None
    homefacts.correct(visit.fact, withdraw=True, reason="the house next door", by=dana)

    request.refresh_from_db()
    request.job.refresh_from_db()
    visit.refresh_from_db()
    assert (request.outcome, request.ended_on, request.fitted_by) == (Outcome.OPEN, None, None)
    assert request.job.state == S.AWAITING_UTILITY
    assert visit.withdrawn


def test_an_announced_visit_is_a_promise_and_its_outcome_fills_it(theo):
    request = make_request()

    visit = visits.announce_visit(
        request, told_on=D(2026, 11, 10), window_from=D(2026, 12, 2), window_to=D(2026, 12, 3), hours="8 to 12", by=theo
    )

    request.job.refresh_from_db()
    assert request.job.next_due_on == D(2026, 12, 3)
    assert request.contacts.get().answered == "visit announced for 2 December 2026 to 3 December 2026, 8 to 12"
    assert not request.contacts.get().ours

    # It came early.
    done = visits.record_visit(request, on=D(2026, 11, 17), outcome="nobody home", reason="said the crew", by=theo)

    assert done == visit
    assert Visit.objects.get().outcome == "nobody home"


def test_a_newer_window_takes_the_place_of_the_older(theo):
    request = make_request()
    old = visits.announce_visit(request, told_on=D(2026, 11, 10), window_from=D(2026, 12, 2), window_to=D(2026, 12, 2), by=theo)

    new = visits.announce_visit(request, told_on=D(2026, 11, 12), window_from=D(2026, 12, 9), window_to=D(2026, 12, 9), by=theo)

    old.refresh_from_db()
    assert old.withdrawn
    assert old.reason == "moved to 9 December 2026"
    assert list(Visit.objects.pending()) == [new]


def test_a_window_in_the_past_or_turned_round_is_refused(theo):
    request = make_request()

    with pytest.raises(Refused, match="The window begins before the day on which it was named"):
        visits.announce_visit(request, told_on=D(2026, 11, 10), window_from=D(2026, 11, 9), window_to=D(2026, 11, 12), by=theo)
    with pytest.raises(Refused, match="The window ends before it begins"):
        visits.announce_visit(request, told_on=D(2026, 11, 10), window_from=D(2026, 11, 12), window_to=D(2026, 11, 11), by=theo)


def test_the_homeowner_is_told_of_a_visit_once(theo):
    request = make_request()
    visit = visits.announce_visit(request, told_on=D(2026, 11, 10), window_from=D(2026, 12, 2), window_to=D(2026, 12, 2), by=theo)

    visits.record_homeowner_told(visit, on=D(2026, 11, 11), by=theo)

    with pytest.raises(Refused, match="was told of this visit on 11 November 2026 already"):
        visits.record_homeowner_told(visit, on=D(2026, 11, 12), by=theo)
    visit.refresh_from_db()
    assert visit.homeowner_told_on == D(2026, 11, 11)
