"""Pages for what went wrong, and the frame around every page."""

from __future__ import annotations

import logging

import pytest
from django.db import DatabaseError
from django.test import Client, RequestFactory
from django.urls import reverse

from jobs.core import clock, rules
from jobs.core.models import Rule
from jobs.pages import errors, frame, today
from tests.make import SYSTEM, make_job
from tests.pages.queries import counted, signed_in
from tests.pages.test_emergency import TODAY, text_of

pytestmark = pytest.mark.django_db


def test_who_may_not_is_told_who_may(client, theo):
    page = signed_in(client, theo).get(reverse("rules"))

    assert page.status_code == 403
    assert "It is open to: operations manager." in text_of(page)
    assert "Nothing was changed." in text_of(page)


def test_an_address_that_is_not_there_says_so_to_strangers_too(client):
    page = client.get("/no/such/page/")

    assert page.status_code == 404
    assert "There is nothing at this address." in text_of(page)


def test_a_homeowner_whose_link_is_cut_short_is_told_so_in_both_languages_and_not_to_sign_in(client):
    rules.set_rule("company_phone", value="(303) 555-0101", valid_from=TODAY, by=SYSTEM)

    page = client.get(reverse("homeowner_call", kwargs={"token": "cut-short"}))

    assert page.status_code == 404
    assert "This link is not complete" in text_of(page)
    assert "Este enlace no está completo" in text_of(page)
    assert 'href="tel:+1-303-555-0101"' in text_of(page)
    assert reverse("sign_in") not in text_of(page)


def test_a_stranger_learns_nothing_of_a_job_by_its_code(client):
    job = make_job()

    page = client.get(reverse("job", kwargs={"code": job.code}))

    assert page.status_code == 302
    assert page.headers["Location"].startswith(reverse("sign_in"))


def test_a_form_without_its_token_records_nothing_and_says_what_to_do(theo):
    job = make_job()
    client = signed_in(Client(enforce_csrf_checks=True), theo)

    page = client.post(f"{reverse('emergency')}?job={job.code}", {"what": "smoke"})

    assert page.status_code == 403
    assert "Nothing was recorded" in text_of(page)
    assert not job.facts.exists()


def test_our_fault_gives_a_number_that_the_log_holds_and_the_telephone_last_known(client, dana, monkeypatch, caplog):
    rules.set_rule("company_phone", value="(303) 555-0101", valid_from=TODAY, by=SYSTEM)
    signed_in(client, dana).get(reverse("jobs"))  # a page made before the database went away
    client.raise_request_exception = False

    def away(user: object) -> None:
        raise DatabaseError("gone")

    monkeypatch.setattr(today, "gathered", away)

    with caplog.at_level(logging.ERROR):
        page = client.get(reverse("today"))

    number = next(record.args[0] for record in caplog.records if record.name == "office.fault")
    assert page.status_code == 500
    assert number in text_of(page)
    assert "(303) 555-0101" in text_of(page)
    assert "gone" not in text_of(page)


@pytest.mark.django_db(databases=[])
def test_our_fault_stands_without_the_database():
    page = errors.our_fault(RequestFactory().get("/"))

    assert page.status_code == 500


def test_the_menu_holds_what_the_person_may_open_and_marks_where_they_are(client, dana, farida, joel):
    def menu(who, address: str) -> dict[str, bool]:
        request = signed_in(client, who).get(address).wsgi_request
        return {entry.words: entry.current for entry in frame.menu(request)}

    of_dana = menu(dana, reverse("jobs"))
    assert {"Today", "Jobs", "People", "Rules"} <= set(of_dana)
    assert [words for words, current in of_dana.items() if current] == ["Jobs"]
    assert {"People", "Rules", "Notices", "Calls"}.isdisjoint(menu(farida, "/"))
    assert menu(joel, "/") == {"Today": True, "Jobs": False}


def test_every_entry_of_the_menu_opens_for_whom_it_is_shown(client, dana, theo, farida, mara, joel):
    for who in (dana, theo, farida, mara, joel):
        request = signed_in(client, who).get("/search/").wsgi_request
        for entry in frame.menu(request):
            assert client.get(entry.url).status_code == 200, (who.name, entry.words)


def test_a_strangers_page_has_no_menu_and_reads_the_rules_once(client):
    page = client.get(reverse("sign_in"))

    assert page.status_code == 200
    assert "<nav" not in text_of(page)
    assert counted(client, reverse("sign_in")) <= 2


def test_the_name_of_the_contractor_stands_on_the_page_from_the_day_it_holds(client, dana):
    rules.set_rule("company_name", value="Larch & Lantern Home Energy", valid_from=TODAY, by=SYSTEM)

    assert "Larch &amp; Lantern Home Energy" in text_of(signed_in(client, dana).get(reverse("search")))


def test_a_telephone_rule_that_is_no_number_breaks_no_page(client, dana):
    # Entered before the rule asked for a number.
    Rule.objects.create(name="company_phone", value="ask Dana", valid_from=TODAY, set_by_name="tests", set_at=clock.now())

    assert signed_in(client, dana).get(reverse("emergency")).status_code == 200
