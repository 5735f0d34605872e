from __future__ import annotations

import csv
import datetime as dt
import html
import io
import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.core.actors import Actor
from jobs.core.facts import Said
from jobs.core.states import S
from tests.make import make_job, serial_of, user_of
from tests.utilities.made import job_of, make_past, make_request, make_service, make_utility, service_of
from utilities import forecasts, requests, said, visits
from utilities.models import Closure, Contact, FitRequest, Outcome, Service, Utility, Visit
from utilities.terms import Limit

pytestmark = pytest.mark.django_db

D = dt.date
AS_OF = D(2026, 11, 17)


def as_(actor: Actor) -> Client:
    client = Client()
    client.force_login(user_of(actor))
    return client


def text(response) -> str:
    """What a page says, without its marks."""
    body = re.sub(r"<[^>]+>", " ", response.content.decode())
    return re.sub(r" ([,.;])", r"\1", " ".join(html.unescape(body).split()))


def url(name: str, **kwargs: object) -> str:
    return reverse(name, kwargs=kwargs)


# The list of utilities and one utility.


def test_the_list_of_utilities_counts_their_open_requests(theo):
    busy, idle = make_utility("Sable Fork Electric Cooperative"), make_utility("Quillback Bay Power District", emergency_phone="")
    make_request(make_service(utility=busy))
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    page = as_(theo).get(url("utilities"))

    assert page.status_code == 200
    told = text(page)
    assert "2 utilities" in told
    assert "1 open Sable Fork Electric Cooperative" in told
    assert "not known calls stopped" in told
    assert [row.utility.name for row in page.context["rows"]] == [idle.name, busy.name]
    most = as_(theo).get(url("utilities"), {"sort": "-open"})
    assert [row.utility.name for row in most.context["rows"]] == [busy.name, idle.name]
    narrowed = as_(theo).get(url("utilities"), {"lacks": "emergency"})
    assert [row.utility.name for row in narrowed.context["rows"]] == [idle.name]


def test_an_empty_list_says_what_comes_next(theo):
    assert "No utility is on record yet." in text(as_(theo).get(url("utilities")))
    assert "No request is in this list." in text(as_(theo).get(url("requests")))


def test_a_utility_says_how_long_requests_wait_there(theo):
    utility = make_utility("Sable Fork Electric Cooperative", limits=(Limit("visit", "its tariff, sheet 12", days=30, counts="calendar"),))
    utility.districts.create(name="North")
    for wait in (40, 55, 61, 70, 84, 90):
        make_past(utility, filed_on=D(2026, 1, 5), waited=wait)
    request = make_request(make_service(utility=utility), on=D(2026, 8, 3))
    requests.record_contact(request, on=D(2026, 11, 10), answered="crew next week", promised_by=D(2026, 11, 16), by=theo)
    visits.record_visit(request, on=D(2026, 11, 12), outcome="could not get in", reason="said the crew", by=theo)
    visits.announce_visit(request, told_on=D(2026, 11, 13), window_from=D(2026, 12, 2), window_to=D(2026, 12, 2), by=theo)
    Closure.objects.bulk_create(Closure(utility=utility, day=D(2026, 12, day)) for day in (24, 28, 29))
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    told = text(as_(theo).get(url("utility", uid=utility.uid)))

    assert re.search(
        r"One request waits here\. Expected of a new one: half of requests are fitted by day \d+, nine in ten by day \d+", told
    )
    assert "Only six requests are finished here, so these days are rough." in told
    assert "could not get in Thu 12 Nov" in told
    assert "“" not in told
    assert "crew next week" in told
    assert "To fit the collar within 30 days of the day the request came in there its tariff, sheet 12" in told
    assert "24 Dec 2026 the same day closed" in told
    assert "28 Dec 2026 29 Dec 2026 closed" in told
    assert "Wed 2 Dec" in told
    assert "Record a new version" not in told


def test_a_utility_with_nothing_on_record_reads_as_such(dana):
    utility = make_utility(emergency_phone="")

    told = text(as_(dana).get(url("utility", uid=utility.uid)))

    assert "No request waits here. How long requests wait here is worked out tonight." in told
    assert "Its emergency line is not on record: no call for its homes can be booked or begun." in told
    assert "None published" in told
    assert "Nobody has asked this utility about a request yet." in told
    assert "Nothing that it told is on record" in told
    assert "Record its profile" in told


def test_fifty_open_requests_stand_on_a_utilitys_page_and_all_in_the_list(theo):
    utility = make_utility()
    for day in range(60):
        make_past(utility, filed_on=D(2026, 1, 5) + dt.timedelta(days=day), waited=None)

    page = as_(theo).get(url("utility", uid=utility.uid))
    first = as_(theo).get(url("requests"), {"utility": str(utility.uid)})
    second = as_(theo).get(url("requests"), {"utility": str(utility.uid), "page": "2"})

    assert (page.context["open_count"], len(page.context["lines"])) == (60, 50)
    assert (len(first.context["lines"]), len(second.context["lines"])) == (50, 10)
    assert "Page 1 of 2, 50 to a page." in text(first)


def test_the_contact_log_has_a_page_of_its_own(theo):
    request = make_request()
    for day in range(1, 13):
        requests.record_contact(request, on=D(2026, 11, day), answered=f"nothing new {day}", by=theo)

    on_page = text(as_(theo).get(url("utility", uid=request.utility.uid)))
    of_its_own = text(as_(theo).get(url("utility_contacts", uid=request.utility.uid)))

    assert "nothing new 12" in on_page
    assert "nothing new 2 " not in on_page
    assert "nothing new 2 " in of_its_own


# Entering and changing a utility.

PROFILE = {
    "name": "Ottermere Municipal Light",
    "kind": "municipal",
    "zone": "America/Denver",
    "emergency_phone": "(303) 555-0111",
    "holidays": "federal",
    "worked_weekdays": ["0", "1", "2", "3", "4"],
}


def test_the_manager_enters_a_utility_and_changes_it(dana):
    client = as_(dana)

    entered = client.post(url("utility_new"), PROFILE, follow=True)

    utility = Utility.objects.get()
    assert "Recorded" in text(entered) or "Ottermere Municipal Light is entered." in text(entered)
    assert (utility.kind, utility.emergency_phone, utility.worked_weekdays) == ("municipal", "+13035550111", [0, 1, 2, 3, 4])

    client.post(url("utility_edit", uid=utility.uid), {**PROFILE, "worked_weekdays": ["0", "1", "2", "3"], "note": "ask for Lena"})

    utility.refresh_from_db()
    assert (utility.worked_weekdays, utility.note) == ([0, 1, 2, 3], "ask for Lena")
    assert utility.calendar_at is not None


def test_what_is_wrong_with_a_profile_is_said_and_what_was_typed_stays(dana):
    make_utility("Ottermere Municipal Light")

    page = as_(dana).post(url("utility_new"), {**PROFILE, "note": "its portal"})

    assert page.status_code == 422
    assert "Ottermere Municipal Light is entered already" in text(page)
    assert "its portal</textarea>" in page.content.decode()
    assert Utility.objects.count() == 1


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"away_from": "16 Nov 2026"}, "Name who stands in while the clerk is away."),
        ({"worked_weekdays": []}, "a choice is wanted"),
        ({"emergency_phone": "555"}, "wanted"),
    ],
)
def test_a_profile_that_cannot_hold_is_refused(dana, change, sentence):
    page = as_(dana).post(url("utility_new"), PROFILE | change)

    assert page.status_code == 422
    assert sentence in text(page)
    assert not Utility.objects.exists()


def test_closed_days_are_entered_and_taken_back(dana):
    utility = make_utility()
    client = as_(dana)

    client.post(url("utility_calendar", uid=utility.uid), {"first": "24 Dec 2026", "last": "31 Dec 2026", "kind": "closed"})
    assert utility.closures.count() == 8

    client.post(url("utility_calendar", uid=utility.uid), {"first": "30 Dec 2026", "last": "30 Dec 2026", "kind": "usual"})
    assert utility.closures.count() == 7

    wrong = client.post(url("utility_calendar", uid=utility.uid), {"first": "24 Dec 2026", "last": "23 Dec 2026", "kind": "closed"})
    assert wrong.status_code == 422
    assert "The last day lies before the first." in text(wrong)


def test_a_district_that_homes_are_in_stays(dana):
    utility = make_utility()
    client = as_(dana)
    client.post(url("utility_districts", uid=utility.uid), {"names": "North\nSouth"})
    make_service(utility=utility, district=utility.districts.get(name="North"))

    refused = client.post(url("utility_districts", uid=utility.uid), {"names": "South"})
    client.post(url("utility_districts", uid=utility.uid), {"names": "North\nWest"})

    assert refused.status_code == 422
    assert "Homes are in the district North" in text(refused)
    assert list(utility.districts.values_list("name", flat=True)) == ["North", "West"]


# The way of one request through its pages.


def test_a_home_is_connected_asked_for_chased_and_fitted(theo):
    utility, job, client = make_utility(), make_job(S.GRID_TIED), as_(theo)

    client.post(url("home_connect", code=job.code), {"utility": utility.pk, "meter_number": "55 806 528"})
    client.post(url("request_sent", uid=Service.objects.get(job=job).uid), {"on": "3 Jun 2026", "route": "portal", "reference": "S-1"})
    request = FitRequest.objects.get(job=job)
    client.post(url("request_again", uid=request.uid), {"on": "3 Aug 2026", "because": "repeated"})
    client.post(
        url("request_answer", uid=request.uid), {"on": "5 Aug 2026", "channel": "e-mail", "answered": "in line", "reference": "WO-5512"}
    )
    client.post(url("request_contact", uid=request.uid), {"on": "10 Nov 2026", "channel": "telephone", "answered": "nothing new"})
    client.post(
        url("request_announce", uid=request.uid), {"told_on": "12 Nov 2026", "window_from": "16 Nov 2026", "window_to": "16 Nov 2026"}
    )
    client.post(url("visit_told", uid=Visit.objects.get().uid), {"on": "13 Nov 2026"})
    last = client.post(
        url("request_visit", uid=request.uid),
        {"on": "16 Nov 2026", "outcome": "fitted", "role": "utility", "serial": serial_of(job)},
    )

    assert (last.status_code, last["Location"]) == (302, url("job", code=job.code))
    request.refresh_from_db()
    job.refresh_from_db()
    assert (request.outcome, request.filed_on, request.fitted_by) == (Outcome.FITTED, D(2026, 6, 3), D(2026, 11, 16))
    assert (request.utility_reference, request.sendings.count(), request.contacts.count()) == ("WO-5512", 2, 3)
    assert job.state == S.COLLAR_ENERGIZED
    told = text(client.get(url("request", code=request.code)))
    assert "Fitted on 16 November 2026, after 166 days." in told
    assert "Record answer" not in told


def test_a_refused_visit_keeps_what_was_typed(theo):
    request = make_request(on=D(2026, 6, 3))

    page = as_(theo).post(
        url("request_visit", uid=request.uid), {"on": "1 Jun 2026", "outcome": "nobody home", "role": "utility", "reason": "gate locked"}
    )

    assert page.status_code == 422
    assert "The request was sent on 3 June 2026; a visit for it comes later." in text(page)
    assert 'value="gate locked"' in page.content.decode()
    assert not Visit.objects.exists()


def test_the_question_whether_it_counts_as_new_stands_at_its_field(theo):
    request = make_request()

    page = as_(theo).post(url("request_again", uid=request.uid), {"on": "3 Aug 2026", "because": "incomplete"})
    assert page.status_code == 422
    assert "Does the utility count this as new? Answer yes or no" in text(page)

    as_(theo).post(url("request_again", uid=request.uid), {"on": "3 Aug 2026", "because": "incomplete", "counts_as_new": "yes"})
    assert FitRequest.objects.filter(follows=request).count() == 1


def test_a_report_of_fitting_between_two_days(theo):
    request = make_request()

    as_(theo).post(
        url("request_fitted", uid=request.uid),
        {"by_on": "14 Sep 2026", "exact": "no", "after_on": "10 Sep 2026", "role": "homeowner", "name": "Guadalupe"},
    )

    request.refresh_from_db()
    assert (request.fitted_after, request.fitted_by) == (D(2026, 9, 10), D(2026, 9, 14))


def test_ending_a_request_says_first_what_follows(theo):
    request = make_request(on=D(2026, 6, 3))
    client = as_(theo)

    page = client.get(url("request_end", uid=request.uid))
    assert "The home waits on us until a new request is sent" in text(page)
    assert FitRequest.objects.get().is_open

    client.post(url("request_end", uid=request.uid), {"on": "1 Sep 2026", "reason": "lapsed"})
    request.refresh_from_db()
    assert request.end_reason == "lapsed at the utility"
    assert client.get(url("request_end", uid=request.uid)).status_code == 404
    assert client.get(url("request_contact", uid=request.uid)).status_code == 404
    assert "Record request sent" in text(client.get(url("request", code=request.code)))


def test_a_button_pressed_twice_records_once(theo):
    request = make_request()
    client = as_(theo)
    given = {"key": "6a8f1d5e-6c5b-4d7e-9a0c-0f6f7f0e2b11", "on": "10 Nov 2026", "channel": "telephone", "answered": "nothing new"}

    client.post(url("request_contact", uid=request.uid), given)
    client.post(url("request_contact", uid=request.uid), given)

    assert Contact.objects.count() == 1


def test_a_meter_is_corrected(theo):
    service = make_service(meter_number="55 806 528")

    as_(theo).post(url("service", uid=service.uid), {"meter_number": "55 806 529", "meter_form": "2S"})

    service.refresh_from_db()
    assert (service.meter_number, service.meter_form) == ("55 806 529", "2S")


# Lists.


def test_the_list_of_requests_narrows_sorts_and_repeats_it_in_words(theo):
    one, two = make_utility("Sable Fork Electric Cooperative"), make_utility("Upper Wend Light & Water")
    older, newer = make_request(make_service(utility=one), on=D(2026, 6, 3)), make_request(make_service(utility=two), on=D(2026, 7, 6))
    make_past(one, filed_on=D(2025, 3, 3), waited=60)
    client = as_(theo)

    def codes(**given: str) -> list[str]:
        return [line.request.code for line in client.get(url("requests"), given).context["lines"]]

    assert codes() == [older.code, newer.code]
    assert codes(sort="-sent") == [newer.code, older.code]
    assert codes(utility=str(two.uid)) == [newer.code]
    assert codes(sent_from="1 Jul 2026") == [newer.code]
    assert codes(text=job_of(older).code.lower()) == [older.code]
    assert codes(text=service_of(newer).meter_number) == [newer.code]
    assert len(codes(outcome="fitted")) == 1
    assert len(codes(outcome="all", of="history")) == 1
    page = client.get(url("requests"), {"utility": str(two.uid), "sent_from": "1 Jul 2026"})
    assert page.context["title"] == "Open requests at Upper Wend Light & Water, sent 1 July 2026 or later"
    assert client.get(url("requests"), {"sent_from": "soon"}).status_code == 422


def test_what_is_shown_is_saved(theo):
    utility = make_utility()
    request = make_request(make_service(make_job(S.GRID_TIED, owner="=SUM(A1)"), utility=utility), on=D(2026, 6, 3))
    make_past(utility, filed_on=D(2025, 3, 3), waited=60)
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    saved = as_(theo).get(url("requests_export", ending="csv"), {"outcome": "open"})

    rows = list(csv.DictReader(io.StringIO(b"".join(saved).decode("utf-8-sig"))))
    assert [row["request"] for row in rows] == [request.code]
    assert (rows[0]["sent_on"], rows[0]["outcome"], rows[0]["person"]) == ("2026-06-03", "open", "'=SUM(A1)")
    shown = said.current(request)
    assert shown is not None
    assert rows[0]["half_by"] == str(shown.q50)
    workbook = as_(theo).get(url("requests_export", ending="xlsx"))
    assert workbook.content[:2] == b"PK"
    assert as_(theo).get(url("requests_export", ending="pdf")).status_code == 404
    assert as_(theo).get(url("utilities_export", ending="csv")).status_code == 200


# Roles.

READ = ("utilities", "utility", "utility_forecast", "utility_contacts", "requests", "request", "utilities_export", "requests_export")
EDIT = ("utility_new", "utility_edit", "utility_districts", "utility_calendar")
RECORD = ("home_connect", "service", "request_sent", "request_contact", "request_answer", "request_visit", "request_announce",
          "request_fitted", "request_again", "request_end", "visit_told")  # fmt: skip


def addresses(theo: Actor) -> dict[str, str]:
    request = make_request()
    visit = visits.announce_visit(request, told_on=D(2026, 11, 13), window_from=D(2026, 12, 2), window_to=D(2026, 12, 2), by=theo)
    spare = make_service(utility=request.utility)
    uid = {"uid": request.uid}
    utility: dict[str, object] = {"uid": request.utility.uid}
    given: dict[str, dict[str, object]] = {
        "utilities_export": {"ending": "csv"}, "requests_export": {"ending": "csv"}, "request": {"code": request.code},
        "utility": utility, "utility_forecast": utility, "utility_contacts": utility,
        "utility_edit": utility, "utility_districts": utility, "utility_calendar": utility,
        "home_connect": {"code": spare.job.code}, "service": {"uid": spare.uid}, "request_sent": {"uid": spare.uid},
        "visit_told": {"uid": visit.uid},
    }  # fmt: skip
    return {name: url(name, **(given.get(name) or (uid if name.startswith("request_") else {}))) for name in READ + EDIT + RECORD}


@pytest.mark.parametrize(
    ("role", "may"),
    [
        ("dana", READ + EDIT + RECORD),
        ("theo", READ + RECORD),
        ("farida", READ),
        ("mara", READ),
        ("joel", ()),
    ],
)
def test_each_role_opens_what_it_may_and_nothing_else(request, theo, role, may):
    client = as_(request.getfixturevalue(role))

    opened = {name: client.get(address).status_code for name, address in addresses(theo).items()}

    assert opened == {name: 200 if name in may else 403 for name in READ + EDIT + RECORD}


def test_a_stranger_is_sent_to_sign_in(theo):
    assert {Client().get(address).status_code for address in addresses(theo).values()} == {302}


def test_who_may_not_record_sees_no_way_to(farida, theo):
    request = make_request()
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    for address in (url("requests"), url("request", code=request.code), url("utility", uid=request.utility.uid), url("utilities")):
        page = as_(farida).get(address).content.decode()
        assert "Record" not in re.sub(r"Recorded by", "", page)
        assert "/edit/" not in page
        assert url("utility_new") not in page


def test_a_history_row_has_a_page_and_no_acts(theo):
    past = make_past(make_utility(), filed_on=D(2025, 3, 3), waited=60)

    told = text(as_(theo).get(url("request", code=past.code)))

    assert "Request to fit for a home before our records" in told
    assert "Fitted on 2 May 2025, after 60 days." in told
    assert "Record answer" not in told
    assert as_(theo).get(url("request_contact", uid=past.uid)).status_code == 404


def test_an_open_requests_page_says_half_and_nine_in_ten(theo):
    request = make_request(on=D(2026, 6, 3))
    other = visits.confirm_fitting(
        make_request(make_service(utility=request.utility)), by_on=D(2026, 9, 1), said_by=Said("gateway"), by=theo
    )
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    told = text(as_(theo).get(url("request", code=request.code)))

    assert "since 3 June 2026, 168 days, " in told
    assert "It publishes no limit." in told
    assert re.search(r"Expected: half of such requests are fitted by .*, nine in ten by .*; .* never fitted", told)
    assert "Only one request is finished here" in told
    assert other.outcome == Outcome.FITTED


@pytest.mark.parametrize("name", ["requests", "utilities", "utility"])
def test_a_long_list_asks_the_database_as_often_as_a_short_one(theo, name):
    utility = make_utility()
    client = as_(theo)

    def asked() -> int:
        address = url(name, uid=utility.uid) if name == "utility" else url(name)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(address).status_code == 200
        return len(queries)

    make_request(make_service(utility=utility))
    forecasts.refresh(as_of=AS_OF, rule="nightly")
    few = asked()
    for _ in range(8):
        request = make_request(make_service(utility=utility if name == "utility" else None))
        requests.record_contact(request, on=D(2026, 11, 10), answered="nothing new", by=theo)
    forecasts.refresh(as_of=AS_OF, rule="nightly")

    # The contact log brings a few of its own, however long it is; a query for each row would be eight more.
    assert asked() <= few + 5
