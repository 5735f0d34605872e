"""The bag's photo: asked on a slow rhythm and after each missed visit, sent by the person at home on a page of their own link."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from jobs.core import cautions, clock, custody, facts, links
from jobs.core import kinds as k
from jobs.core.models import BagReport, Document, Job, SignedLink
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.notices import asking, outbox
from jobs.notices.models import Message, State
from tests.make import DAY_ONE, PNG, SYSTEM, make_job, put
from tests.utilities.made import make_request, make_service, make_utility
from utilities import letters, visits

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 11, 18)


def asked_home(**fields) -> tuple[Job, str]:
    """A home that was asked, and its page."""
    job = make_job(S.AWAITING_UTILITY, **fields)
    asking.ask_for_photo(job, by=SYSTEM)
    return job, reverse("bag_photo", args=[links.token_of(SignedLink.objects.get(job=job, purpose="bag_photo"))])


def picture(name: str = "bag.png", data: bytes = PNG) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data)


def test_the_message_leads_to_the_page_and_the_page_says_first_what_not_to_touch(client: Client, settings):
    settings.BASE_URL = "https://office.larchlantern.example"
    _, page = asked_home(language="es")

    text = outbox.preview(Message.objects.get(kind="bag_photo")).text
    shown = client.get(page).content.decode()

    assert f"https://office.larchlantern.example{page}" in text
    assert cautions.of("bag_photo").es in " ".join(text.split())
    assert cautions.of("bag_photo").es in shown
    assert shown.index(cautions.of("bag_photo").es) < shown.index('type="file"')
    assert client.get(page, {"lang": "en"}).content.decode().count(cautions.of("bag_photo").en) == 1


def test_a_picture_that_is_sent_is_a_fact_of_the_day_and_said_by_the_person_at_home(client: Client):
    job, page = asked_home()
    assert not Document.objects.filter(subject="the bag").exists()
    assert custody.last_seen(facts.of(job)) == DAY_ONE

    answer = client.post(page, {"do": "photo", "photo": picture(), "key": "one"}, follow=True)
    again = client.post(page, {"do": "photo", "photo": picture(), "key": "one"}, follow=True)

    assert "We have the picture." in answer.content.decode()
    assert "We have the picture." in again.content.decode()
    (fact,) = job.facts.of_kind(k.BAG_SEEN)  # pressed twice, sent once
    assert (fact.day, fact.said_by_role, fact.said_by_name) == (TODAY, "person at home", "Guadalupe Hernández")
    assert [document.subject for document in fact.evidence.all()] == ["the bag"]
    assert custody.last_seen(facts.of(job)) == TODAY


@pytest.mark.parametrize(("name", "data"), [("bag.pdf", b"%PDF-1.7 x"), ("bag.png", b"no picture"), ("bag.heic", b"x"), ("bag.png", b"")])
def test_what_is_no_picture_is_refused_in_the_language_of_the_page_and_nothing_is_kept(client: Client, name, data):
    job, page = asked_home(language="es")

    answer = client.post(page, {"do": "photo", "photo": picture(name, data)})

    assert answer.status_code == 422
    assert "No se envió nada." in answer.content.decode()
    assert not job.facts.of_kind(k.BAG_SEEN).exists()
    assert not Document.objects.filter(job=job, subject="the bag").exists()
    assert client.post(page, {"do": "photo"}).status_code == 422


def test_that_the_bag_is_not_seen_is_a_word_for_the_office_and_no_fact(client: Client):
    job, page = asked_home()

    for _ in range(3):
        answer = client.post(page, {"do": "unseen"}, follow=True)

    assert "Do not look for it" in answer.content.decode()
    (report,) = BagReport.objects.all()
    assert (report.job, report.what, report.told_by) == (job, "not found", "home")
    assert custody.hangs(facts.of(job))  # until somebody of ours has looked


def test_five_pictures_a_day_are_enough_and_a_foreign_or_altered_link_opens_nothing(client: Client):
    job, page = asked_home()
    for _ in range(5):
        client.post(page, {"do": "photo", "photo": picture()})

    answer = client.post(page, {"do": "photo", "photo": picture()})

    assert answer.status_code == 422
    assert "one is enough" in answer.content.decode()
    assert job.facts.of_kind(k.BAG_SEEN).count() == 5
    call = links.make("call", job=job, person=job.parties.get(role="owner").person)
    assert client.get(reverse("bag_photo", args=[call])).status_code == 404
    token = page.rstrip("/").rpartition("/")[2]
    other = ("A" if token[10] != "A" else "B").join([token[:10], token[11:]])
    assert client.get(reverse("bag_photo", args=[other])).status_code == 404
    with clock.pretend(clock.now() + dt.timedelta(days=31)):
        assert client.get(page).status_code == 410


def test_once_the_collar_is_in_the_page_asks_for_nothing(client: Client):
    job, page = asked_home()
    put(job, k.COLLAR_FITTED, on=TODAY, value={"serial": facts.of(job).serial})

    answer = client.get(page).content.decode()

    assert "No bag hangs at your home now" in answer
    assert 'type="file"' not in answer


def test_a_bag_unseen_for_sixty_days_is_asked_about_once_in_sixty_days():
    seen, unseen = make_job(S.AWAITING_UTILITY), make_job(S.AWAITING_UTILITY)
    custody.record_bag_seen(seen, on=TODAY - dt.timedelta(days=59), name="bag.png", data=PNG, by=SYSTEM)
    make_job(S.COLLAR_ENERGIZED)

    assert asking.ask_by_rhythm() == 1
    assert asking.ask_by_rhythm() == 0  # any task may run twice
    (message,) = Message.objects.filter(kind="bag_photo")
    assert (message.job, message.state) == (unseen, State.OWED)  # a person releases it

    with clock.pretend(clock.now() + dt.timedelta(days=1)):
        assert [job.pk for job in asking.due_by_rhythm()] == [seen.pk]
    with clock.pretend(clock.now() + dt.timedelta(days=61)):
        assert {job.pk for job in asking.due_by_rhythm()} == {seen.pk, unseen.pk}


def test_after_each_missed_visit_the_bag_is_asked_about_and_after_a_fitting_not(theo):
    request = make_request(make_service(make_job(S.GRID_TIED)))
    visits.record_visit(request, on=dt.date(2026, 11, 10), outcome="could not get in", reason="the gate was locked", by=theo)
    visits.record_visit(request, on=dt.date(2026, 11, 12), outcome="nobody home", reason="nobody answered", by=theo)

    assert Message.objects.filter(kind="bag_photo").count() == 2

    visits.record_visit(request, on=dt.date(2026, 11, 16), outcome="fitted", by=theo)
    assert Message.objects.filter(kind="bag_photo").count() == 2


def test_where_the_crew_did_not_find_the_collar_nobody_is_asked_to_come_before_another_hangs_there(theo):
    utility = make_utility(desk_email="desk@ottermere.example")
    request = make_request(make_service(make_job(S.GRID_TIED), utility=utility))
    visits.record_visit(request, on=dt.date(2026, 11, 10), outcome="collar not found", reason="no bag at the meter", by=theo)

    assert not Message.objects.filter(kind="bag_photo").exists()
    with pytest.raises(Refused, match="for nothing: the utility's crew reported on 10 November 2026: collar not found"):
        letters.write_to_desk(request, asks="When do you come?", by=theo)
