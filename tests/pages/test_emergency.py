"""The emergency page: whom to call and in which order, for every role; its beginning and end on record."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse

from jobs.core import homefacts, rules
from jobs.core import kinds as k
from jobs.core.states import S
from tests.make import SYSTEM, make_job
from tests.pages.homes import asked, job_of
from tests.pages.queries import signed_in

pytestmark = pytest.mark.django_db
ADDRESS = reverse("emergency")
TODAY = dt.date(2026, 11, 18)


def text_of(page) -> str:
    return " ".join(page.content.decode().split())


@pytest.fixture
def numbers(db):
    rules.set_rule("company_phone", value="(303) 555-0101", valid_from=TODAY, by=SYSTEM)
    rules.set_rule("emergency_on_call", value="Ines Duarte, (303) 555-0177", valid_from=TODAY, by=SYSTEM)


@pytest.mark.parametrize("who", ["dana", "theo", "farida", "mara", "joel"])
def test_every_role_sees_whom_to_call_in_the_order_of_the_trade(client, who, request, crew, numbers):
    job = job_of(asked(crew=crew))

    html = text_of(signed_in(client, request.getfixturevalue(who)).get(ADDRESS, {"job": job.code}))

    assert "Leave if there is danger to life and call 911; then the utility" in html
    order = [html.index(number) for number in ("tel:911", "(303) 555-0199", "(303) 555-0101", "Ines Duarte", "(303) 555-0142")]
    assert order == sorted(order)
    assert "Do not reset or touch anything" in html


def test_without_a_home_it_still_says_what_to_do_and_finds_the_home(client, mara, numbers):
    job = job_of(asked(owner="Noor Haddad"))
    signed_in(client, mara)

    plain, hits = text_of(client.get(ADDRESS)), text_of(client.get(ADDRESS, {"q": "haddad"}))

    assert "tel:911" in plain
    assert "(303) 555-0101" in plain
    assert f"{ADDRESS}?job={job.code}" in hits


def test_an_unknown_emergency_line_is_said_to_be_unknown(client, theo):
    html = text_of(signed_in(client, theo).get(ADDRESS, {"job": make_job(S.AWAITING_UTILITY).code}))

    assert (
        "not known: it stands on the homeowner&#x27;s electric bill" in html
        or "not known: it stands on the homeowner's electric bill" in html
    )


def test_an_emergency_is_recorded_by_anybody_and_ended_by_those_who_may(client, mara, theo):
    job = make_job(S.COLLAR_ENERGIZED)
    address = f"{ADDRESS}?job={job.code}"
    signed_in(client, mara)

    opened = client.post(address, {"what": "half the house dark"})
    assert (opened.status_code, opened.headers["Location"]) == (302, reverse("job", kwargs={"code": job.code}))
    assert job.facts.of_kind(k.EMERGENCY_OPENED).get().value == {"what": "half the house dark"}
    standing = client.get(address)
    assert "half the house dark" in text_of(standing)
    assert standing.context["form"] is None  # a verifier does not end it
    assert client.post(address, {"how": "all is well"}).status_code == 403
    assert not job.facts.of_kind(k.EMERGENCY_ENDED).exists()

    ended = signed_in(client, theo).post(address, {"how": "the utility mended its neutral"})
    assert ended.status_code == 302
    assert job.facts.of_kind(k.EMERGENCY_ENDED).get().value == {"how": "the utility mended its neutral"}


def test_the_same_page_sent_twice_is_recorded_once(client, theo):
    job = make_job()
    given = {"what": "smoke", "key": "made-with-the-page"}
    address = f"{ADDRESS}?job={job.code}"
    signed_in(client, theo)

    client.post(address, given)
    homefacts.end_emergency(job, how="it was the toaster", by=theo)
    client.post(address, given)

    assert job.facts.of_kind(k.EMERGENCY_OPENED).count() == 1


def test_an_emergency_without_words_is_refused(client, theo):
    job = make_job()

    page = signed_in(client, theo).post(f"{ADDRESS}?job={job.code}", {"what": ""})

    assert page.status_code == 422
    assert not job.facts.of_kind(k.EMERGENCY_OPENED).exists()


def test_a_standing_emergency_is_said_on_the_jobs_page(client, theo):
    job = make_job(S.BACKUP_VERIFIED)
    homefacts.open_emergency(job, what="smoke in the garage", by=theo)

    html = text_of(signed_in(client, theo).get(reverse("job", kwargs={"code": job.code})))

    assert "An emergency stands at this home since 18 November 2026" in html
    assert "smoke in the garage" in html


@pytest.mark.parametrize("what", ["smoke in the garage", "Smoke in the garage."])
def test_what_was_told_ends_as_a_sentence_once(client, theo, what):
    job = make_job(S.BACKUP_VERIFIED)
    homefacts.open_emergency(job, what=what, by=theo)

    assert "moke in the garage. No call may" in text_of(signed_in(client, theo).get(ADDRESS, {"job": job.code}))


def test_another_crews_home_is_not_there(client, joel):
    assert signed_in(client, joel).get(ADDRESS, {"job": make_job().code}).status_code == 404
