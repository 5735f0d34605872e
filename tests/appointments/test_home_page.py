"""The homeowner's page behind the link: a page load changes nothing, a pressed button does."""

from __future__ import annotations

import datetime as dt
import re

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from jobs.appointments import booking, verification
from jobs.appointments.models import Appointment, AppointmentState
from jobs.appointments.times import Wish
from jobs.core import homefacts, links, rules
from jobs.core import kinds as k
from jobs.core.facts import Said
from jobs.core.models import SignedLink
from jobs.core.refusals import Refused
from tests.acts.snapshot import snapshot
from tests.appointments.homes import AT_TEN, TODAY, TOMORROW, booked, give_hours, ready_job
from tests.make import SYSTEM, user_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def offered(theo, mara) -> Appointment:
    rules.set_rule("company_phone", value="+13035550101", valid_from=TODAY, by=SYSTEM)
    return booking.offer(ready_job(), verifier=give_hours(user_of(mara)), wish=AT_TEN, by=theo)


def url_of(call: Appointment) -> str:
    return reverse("homeowner_call", args=[links.token_of(SignedLink.objects.get(about=str(call.uid)))])


def words_of(page: str) -> str:
    """What a reader sees, without tags and buttons' busy words."""
    return " ".join(re.sub(r"<[^>]*>", " ", re.sub(r"<(script|head).*?</\1>", " ", page, flags=re.S)).split())


def test_a_page_load_changes_nothing_however_often(offered):
    url = url_of(offered)
    before = snapshot()

    for query in ("", "?lang=es", "?change=1&more=1"):
        assert Client().get(url + query).status_code == 200
    assert Client().head(url).status_code == 200

    assert snapshot() == before


def test_the_page_says_that_there_is_no_backup_and_chooses_nothing_in_advance(offered):
    page = Client().get(url_of(offered)).content.decode()

    assert "Your home does not have backup power yet" in words_of(page)
    assert "Thursday, November 19, 10:00 a.m. Mountain Time kept for you" in words_of(page)
    assert "Nothing is booked until you press the button" in words_of(page)
    assert "(303) 555-0101" in page
    assert " checked" not in page
    assert page.index('name="medical"') < page.index("Book this time")


def test_the_page_tells_nothing_of_other_homes(offered, theo, mara):
    other = booked(theo, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(14)))

    page = Client().get(url_of(offered) + "?more=1").content.decode()

    assert other.job.code not in page
    assert other.job.site.street not in page
    assert "Thursday, November 19, 1:00 p.m." in page
    assert "Thursday, November 19, 2:00 p.m." not in page  # taken by the other home, and simply not there


def test_the_spanish_page_is_complete(offered):
    page = words_of(Client().get(url_of(offered) + "?lang=es").content.decode())

    assert "Jueves 19 de noviembre, 10:00 a. m., hora de la Montaña" in page
    assert "Nada queda reservado hasta que pulse el botón" in page
    for english in ("Choose", "Book", "Nothing", "Does anyone", "home ", "kept", "Before the test", "Give up", "NOTICE", "WARNING", "Skip"):
        assert english not in page


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_persons_own_language_comes_first(language, theo, mara):
    call = booking.offer(ready_job(language=language), verifier=give_hours(user_of(mara)), wish=AT_TEN, by=theo)

    page = Client().get(url_of(call)).content.decode()

    assert f'<html lang="{language}">' in page
    assert ("Español" in page) == (language == "en")


def test_pressing_the_button_books_the_time(offered):
    url = url_of(offered)
    answer = Client().post(
        url, {"do": "take", "time": offered.starts_at.isoformat(), "medical": "no", "lift": "no", "key": "one"}, follow=True
    )

    assert "Your test is booked: Thursday, November 19, 10:00 a.m. Mountain Time." in words_of(answer.content.decode())
    offered.refresh_from_db()
    assert offered.state == AppointmentState.CONFIRMED

    before = snapshot()
    for key in ("one", "two"):  # sent again, and pressed again from another tab
        again = Client().post(url, {"do": "take", "time": offered.starts_at.isoformat(), "medical": "no", "lift": "no", "key": key})
        assert again.status_code == 302
    assert snapshot() == before


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"medical": "no", "lift": "no"}, "Please choose one of the times"),
        ({"time": "kept"}, "Please answer the question about medical equipment"),
        ({"time": "2026-11-19T23:20:00+00:00", "medical": "no", "lift": "no"}, "That time is not free any more"),
        ({"time": "2026-11-19T17:00:00+00:00", "medical": "no"}, "Please answer the question about a lift"),
        ({"time": "tomorrow", "medical": "no", "lift": "no"}, "Please choose one of the times"),
    ],
)
def test_what_is_missing_or_made_up_is_said_and_the_rest_kept(typed, sentence, offered):
    if typed.get("time") == "kept":
        typed = typed | {"time": offered.starts_at.isoformat()}

    answer = Client().post(url_of(offered), {"do": "take", **typed})

    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in words_of(page)
    if typed.get("medical") == "no":
        assert '<input type="radio" name="medical" value="no" checked>' in page
    offered.refresh_from_db()
    assert (offered.state, offered.local_time) == (AppointmentState.OFFERED, dt.time(10))


def test_a_medical_yes_books_nothing_and_says_what_comes(offered):
    answer = Client().post(url_of(offered), {"do": "take", "time": offered.starts_at.isoformat(), "medical": "yes", "lift": "no"})

    assert answer.status_code == 302
    offered.refresh_from_db()
    assert offered.ended_why == "medical"
    ended = Client().get(url_of(offered))
    assert ended.status_code == 410
    assert "(303) 555-0101" in ended.content.decode()


def test_declining_by_link(offered):
    page = Client().post(url_of(offered), {"do": "decline"}, follow=True).content.decode()

    assert "You gave up the time of Thursday, November 19" in words_of(page)
    offered.refresh_from_db()
    assert offered.state == AppointmentState.DECLINED


def test_an_altered_link_or_one_of_another_home_is_not_found(offered, theo, mara):
    other = booked(theo, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(14)))
    token = url_of(offered).rstrip("/").rsplit("/", 1)[1]

    for altered in (token[:-1] + ("A" if token[-1] != "A" else "B"), "x" + token, "made-up"):
        assert Client().get(reverse("homeowner_call", args=[altered])).status_code == 404

    # A link of one home that names another home's call opens nothing.
    SignedLink.objects.filter(about=str(offered.uid)).update(about="elsewhere")
    SignedLink.objects.filter(about=str(other.uid)).delete()
    SignedLink.objects.filter(about="elsewhere").update(about=str(other.uid))
    assert Client().get(reverse("homeowner_call", args=[token])).status_code == 404
    assert Client().post(reverse("homeowner_call", args=[token]), {"do": "decline"}).status_code == 404
    other.refresh_from_db()
    assert other.is_open


def test_an_ended_link_says_so_with_the_telephone_number(offered, theo):
    url = url_of(offered)
    booking.cancel(offered, why="us", reason="Mara is ill", by=theo)

    answer = Client().get(url)

    assert answer.status_code == 410
    assert "This link has ended" in words_of(answer.content.decode())
    assert "(303) 555-0101" in answer.content.decode()
    assert "Mara is ill" not in answer.content.decode()


def test_a_removed_collar_ends_the_link(offered, dana):
    url = url_of(offered)

    homefacts.record_removed(offered.job, by_on=TODAY, said_by=Said("homeowner"), by=dana)

    assert Client().get(url).status_code == 410
    assert Client().post(url, {"do": "take", "time": offered.starts_at.isoformat(), "medical": "no", "lift": "no"}).status_code == 410
    assert not offered.job.facts.of_kind(k.CALL_BOOKED).exists()


def test_an_offer_may_be_taken_though_we_have_not_looked_at_the_gateway_lately(offered, mara):
    """Communications were seen on 17 November and count three days for a booking."""
    call = booking.move(offered, wish=Wish(TODAY + dt.timedelta(days=5), dt.time(12)), by=mara)
    with time_machine.travel(dt.datetime(2026, 11, 22, 19, tzinfo=dt.UTC)):
        page = Client().get(url_of(call)).content.decode()
        answer = Client().post(url_of(call), {"do": "take", "time": call.starts_at.isoformat(), "medical": "no", "lift": "no"})

    assert 'name="time"' in page
    assert answer.status_code == 302
    call.refresh_from_db()
    assert call.state == "confirmed"
    with time_machine.travel(dt.datetime(2026, 11, 23, 19, tzinfo=dt.UTC)), pytest.raises(Refused, match="communications seen"):
        verification.begin(call, by=mara)


def test_a_home_that_grew_unready_is_told_without_our_facts(offered):
    service = offered.job.services.get()
    service.utility.emergency_phone = ""
    service.utility.save()

    page = Client().get(url_of(offered)).content.decode()
    answer = Client().post(url_of(offered), {"do": "take", "time": offered.starts_at.isoformat(), "medical": "no", "lift": "no"})

    assert "cannot be held at the moment" in words_of(page)
    assert 'name="time"' not in page
    assert answer.status_code == 422
    assert "emergency line" not in words_of(answer.content.decode())
