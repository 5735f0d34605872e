"""The search box: by name, street, code, serial, meter, the utility's number and an invoice's; one hit opens."""

from __future__ import annotations

import pytest
from django.urls import reverse

from billing import invoices
from billing.models import Invoice
from jobs.core.models import Job
from jobs.core.states import S
from jobs.pages import search
from tests.make import make_job, serial_of
from tests.pages.homes import asked, job_of, plan
from tests.pages.queries import counted, signed_in

pytestmark = pytest.mark.django_db


def found(client, text: str):
    return client.get(reverse("search"), {"q": text})


def opens(answer, job: Job) -> bool:
    return bool(answer.status_code == 302 and answer.headers["Location"] == reverse("job", kwargs={"code": job.code}))


def test_one_hit_opens_by_whatever_it_is_found(client, theo):
    request = asked(owner="Noor Haddad-Eriksen", street="77 Kestrel Court", contractor_number="LL-2026-31", meter="55 806 528",
                    reference="MR-22817")  # fmt: skip
    job = job_of(request)
    make_job(S.GRID_TIED)
    signed_in(client, theo)

    for text in ("haddad", "kestrel", job.code, f"{job.code[:3]} {job.code[3:]}".lower(), "ll-2026-31", serial_of(job).lower(), "806 528",
                 "mr-22817", request.code):  # fmt: skip
        assert opens(found(client, text), job), text


def test_several_hits_are_listed_each_once_with_what_they_were_found_by(client, theo):
    one, other = make_job(owner="Noor Haddad", street="1 Haddad Lane"), make_job(owner="Amina Haddad")

    page = found(signed_in(client, theo), "haddad")

    assert {(hit.job.code, hit.by) for hit in page.context["hits"]} == {(one.code, "name"), (other.code, "name")}


def test_below_three_letters_three_are_asked_for(client, theo):
    make_job(owner="Jo Li")

    page = found(signed_in(client, theo), " l ")

    assert page.status_code == 200
    assert "Three letters or digits are wanted" in page.content.decode()
    assert page.context["hits"] == []


def test_nothing_found_says_so_and_a_mistyped_code_is_recognized(client, theo):
    job = make_job()
    typed = job.code[:-1] + ("X" if job.code[-1] != "X" else "W")

    html = found(signed_in(client, theo), typed).content.decode()

    assert f"Nothing is found for “{typed}”." in html
    assert job.code in html


def test_more_than_fifty_hits_ask_for_more_of_the_name(client, theo):
    for _ in range(search.MOST + 1):
        make_job(owner="Sam Uttley")

    page = found(signed_in(client, theo), "uttley")

    assert len(page.context["hits"]) == search.MOST
    assert "More than fifty" in page.content.decode()


def test_an_invoice_is_found_by_its_number_by_those_who_may_see_money(client, farida, theo):
    job = make_job(S.GRID_TIED)
    plan(job)
    invoice = invoices.release(Invoice.objects.drafts().get(), by=farida)
    number = f"{invoice.number:03d}"

    answer = found(signed_in(client, farida), number)
    assert answer.headers["Location"] == reverse("invoice", kwargs={"uid": invoice.uid})
    assert found(signed_in(client, theo), number).status_code == 200


def test_a_crew_finds_its_own_homes_only_and_nothing_by_meter(client, joel, crew):
    own = job_of(asked(owner="Noor Haddad", crew=crew, meter="55 806 528"))
    make_job(owner="Amina Haddad")
    signed_in(client, joel)

    assert opens(found(client, "haddad"), own)
    assert found(client, "806 528").context["hits"] == []


def test_signs_of_a_pattern_find_only_themselves(client, theo):
    make_job(owner="Sam Uttley")

    assert found(signed_in(client, theo), "%%%").context["hits"] == []


def test_a_search_asks_the_database_as_often_for_fifty_hits_as_for_five(client, theo):
    signed_in(client, theo)
    for _ in range(5):
        make_job(owner="Sam Uttley")
    few = counted(client, f"{reverse('search')}?q=uttley")
    for _ in range(45):
        make_job(owner="Sam Uttley")

    assert counted(client, f"{reverse('search')}?q=uttley") == few
