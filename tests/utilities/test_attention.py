from __future__ import annotations

import datetime as dt

import pytest

from jobs.core import kinds as k
from jobs.core.attention import Section
from jobs.core.models import Job
from tests.make import put, user_of
from tests.utilities.made import job_of, make_request, make_service, make_utility
from utilities import attention, endings, requests, visits

pytestmark = pytest.mark.django_db

D = dt.date


def section(actor, name: str) -> Section:
    return next(section for section in attention.for_user(user_of(actor)).sections if section.name == name)


def titles(actor, name: str) -> list[str]:
    return [row.title for row in section(actor, name).rows]


def test_a_promise_that_has_passed_stands_until_something_newer_is_known(theo):
    request = make_request(on=D(2026, 6, 3))
    requests.record_contact(request, on=D(2026, 11, 10), answered="crew this week", promised_by=D(2026, 11, 13), by=theo)
    other = make_request(on=D(2026, 6, 3))
    requests.record_contact(other, on=D(2026, 11, 10), answered="crew today", promised_by=D(2026, 11, 18), by=theo)

    found = section(theo, "promises")
    (row,) = found.rows
    assert (row.margin, row.late, found.count) == ("Fri 13 Nov", "5 days late", 1)
    assert row.cells[0] == f"{request.utility}: “crew this week”"
    assert row.cells[1] == "3 Jun 2026, 168 days"

    requests.record_contact(request, on=D(2026, 11, 17), answered="nothing new", by=theo)
    assert section(theo, "promises").rows == []


def test_a_visit_that_came_answers_its_announcement(theo):
    request = make_request()
    visits.announce_visit(request, told_on=D(2026, 11, 2), window_from=D(2026, 11, 9), window_to=D(2026, 11, 10), by=theo)
    assert section(theo, "promises").count == 1

    visits.record_visit(request, on=D(2026, 11, 10), outcome="nobody home", reason="said the crew", by=theo)

    assert section(theo, "promises").count == 0


def test_an_announced_visit_says_whether_the_homeowner_knows(theo):
    visit = visits.announce_visit(
        make_request(), told_on=D(2026, 11, 13), window_from=D(2026, 11, 24), window_to=D(2026, 11, 25), hours="8 to 12", by=theo
    )

    (row,) = section(theo, "visits_announced").rows
    assert (row.margin, row.cells[1], row.next_act) == ("24–25 Nov", "not told", "Record homeowner told")

    visits.record_homeowner_told(visit, on=D(2026, 11, 16), by=theo)

    (row,) = section(theo, "visits_announced").rows
    assert (row.cells[1], row.next_act) == ("told Mon 16 Nov", "Record visit")


def test_follow_ups_are_gathered_by_utility(theo):
    utility = make_utility(clerk=user_of(theo))
    for _ in range(3):
        make_request(make_service(utility=utility), on=D(2026, 10, 1))
    make_request(make_service(), on=D(2026, 11, 17))

    (row,) = section(theo, "follow_ups").rows

    assert (row.title, row.cells) == (utility.name, ("3", "Theo Lindgren", "never"))
    # Counted by hand: sent on Thursday 1 October, so 2, 5, 6, 7 and 8 are the five business days within which a word was to come.
    assert row.margin == "9 Oct 2026"
    assert row.under == "no word that the request came in: 3"


def test_a_request_nobody_has_heard_of_again_is_listed(theo):
    quiet = make_request(on=D(2026, 10, 1))
    answered = make_request(on=D(2026, 10, 1))
    requests.record_answer(answered, on=D(2026, 10, 5), answered="received", by=theo)

    assert [row.under for row in section(theo, "unacknowledged").rows] == [f"{quiet.job.site.street}, Ottermere"]


def test_an_ended_request_stands_until_a_new_one_is_sent(theo):
    request = make_request()
    endings.end_request(request, on=D(2026, 11, 2), reason="closed", by=theo)

    assert [row.cells[1] for row in section(theo, "ended_requests").rows] == ["closed by the utility without fitting"]

    make_request(request.service, on=D(2026, 11, 9))
    assert section(theo, "ended_requests").rows == []


def test_a_cancelled_home_still_asked_for_is_listed(dana):
    request = make_request()
    put(job_of(request), k.CANCELLED, on=D(2026, 11, 2), value={"reason": "sold the house"})

    assert [row.next_act for row in section(dana, "to_withdraw").rows] == ["Record its end"]


def test_the_second_missed_visit_goes_to_the_manager(dana, theo):
    request = make_request()
    visits.record_visit(request, on=D(2026, 10, 1), outcome="nobody home", reason="said the crew", by=theo)
    assert section(dana, "missed_twice").rows == []

    visits.record_visit(request, on=D(2026, 10, 15), outcome="cancelled by utility", reason="said the crew", by=theo)

    assert section(dana, "missed_twice").count == 1
    assert "missed_twice" not in {found.name for found in attention.for_user(user_of(theo)).sections}


def test_a_utility_without_an_emergency_line_stops_calls_only_where_homes_wait(dana):
    make_utility("Upper Wend Light & Water", emergency_phone="")
    make_request(make_service(utility=make_utility("Sable Fork Electric Cooperative", emergency_phone="")))

    assert titles(dana, "without_line") == ["Sable Fork Electric Cooperative"]


def test_ten_rows_stand_for_all_of_them(theo):
    for _ in range(12):
        make_request(on=D(2026, 10, 1))

    found = section(theo, "unacknowledged")
    assert (len(found.rows), found.count) == (10, 12)


def test_who_records_no_requests_has_nothing_to_do_here(farida, mara, joel):
    make_request(on=D(2026, 10, 1))

    assert [attention.for_user(user_of(actor)).sections for actor in (farida, mara, joel)] == [(), (), ()]
    assert Job.objects.exists()
