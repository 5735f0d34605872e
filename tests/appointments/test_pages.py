"""The office's pages of calls, and who may open them."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from jobs.appointments import attention, booking, reconcile, verification
from jobs.appointments.models import Appointment, AppointmentState, VerifierHours
from jobs.appointments.times import Wish
from jobs.core import actors
from jobs.core import kinds as k
from jobs.core.facts import When
from tests.appointments.homes import READY, TODAY, TOMORROW, add, begun, booked, give_hours, led, person_of, ready_job, seen_passing
from tests.make import make_user, user_of

pytestmark = pytest.mark.django_db


def client_of(by: actors.Actor) -> Client:
    client = Client()
    client.force_login(user_of(by), backend="django.contrib.auth.backends.ModelBackend")
    return client


def slot(verifier, wall: str = "2026-11-19T10:00") -> str:
    return f"{verifier.uid}|{wall}|0"


@pytest.mark.parametrize("role", ["crew", "finance"])
@pytest.mark.parametrize("name", ["calls", "calls_ready", "hours"])
def test_crew_and_finance_open_no_page_of_calls(role, name):
    client = client_of(actors.person(make_user(role)))

    assert client.get(reverse(name)).status_code == 403


def test_a_stranger_is_sent_to_sign_in(client):
    answer = client.get(reverse("calls"))

    assert answer.status_code == 302
    assert answer.url.startswith(reverse("sign_in"))


def test_the_list_shows_the_sites_time_and_the_offices_beneath(theo, mara):
    call = booked(theo, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(12)), job=ready_job(zone="America/New_York"))

    page = client_of(theo).get(reverse("calls")).content.decode()

    assert "Thu 19 Nov, 12:00" in page
    assert "office 10:00" in page
    assert call.job.code in page


def test_the_list_filters_sorts_and_gives_out_what_it_shows(theo, mara):
    booked(theo, verifier=user_of(mara))
    other = booked(theo, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(14)))
    booking.cancel(other, why="us", reason="Mara is ill", by=theo)
    client = client_of(theo)

    page = client.get(reverse("calls"), {"state": "open", "sort": "-time"}).content.decode()
    file = b"".join(client.get(reverse("calls_export", kwargs={"ending": "csv"}), {"state": "cancelled"})).decode()

    assert other.job.code not in page
    lines = file.splitlines()
    assert len(lines) == 2
    assert other.job.code in lines[1]
    assert "Mara is ill" in lines[1]
    assert client.get(reverse("calls"), {"from_on": "yesterday"}).status_code == 422


def test_homes_to_book_stand_by_worth_without_amounts_for_the_scheduler(theo, dana):
    older, newer = ready_job(), ready_job(day_one=dt.date(2026, 6, 15))
    add(newer, k.GATEWAY_REPORT, when=When(at=dt.datetime(2026, 11, 17, 18, tzinfo=dt.UTC)), value={"state": "closed"})
    waiting = ready_job(without="software")
    visit = ready_job()
    add(visit, k.MEDICAL_ANSWER, when=When(on=TODAY), value={"answer": "yes"})

    page = client_of(theo).get(reverse("calls_ready")).content.decode()

    # Nine weeks against three at $20: the longer wait is worth more.
    assert page.index(older.code) < page.index(newer.code)
    assert "The software update, confirmed since the fitting" in page
    assert page.index(waiting.code) < page.index(visit.code)
    assert "$" not in page.split("</header>", 1)[1]
    assert "$180.00" in client_of(dana).get(reverse("calls_ready")).content.decode()


@pytest.mark.parametrize("left_out", READY)
def test_the_page_refuses_a_home_with_a_missing_fact_as_the_act_does(left_out, theo, mara):
    job, verifier = ready_job(without=left_out), give_hours(user_of(mara))
    client, url = client_of(theo), reverse("call_book", kwargs={"code": job.code})

    page = client.get(url).content.decode()
    answer = client.post(url, {"slot": slot(verifier), "person": person_of(job).pk, "how": "book"})

    assert "This home is not ready for a call" in page
    assert 'name="slot"' not in page
    assert answer.status_code == 422
    assert not Appointment.objects.exists()


def test_a_home_with_a_medical_yes_is_offered_no_time_on_the_page(theo, mara):
    job = ready_job()
    add(job, k.MEDICAL_ANSWER, when=When(on=TODAY), value={"answer": "yes"})

    page = client_of(theo).get(reverse("call_book", kwargs={"code": job.code})).content.decode()

    assert "never offered a call. Plan a site visit" in page
    assert 'name="slot"' not in page


def test_booking_chooses_nothing_in_advance_and_books_what_was_chosen(theo, mara):
    job, verifier = ready_job(), give_hours(user_of(mara))
    client, url = client_of(theo), reverse("call_book", kwargs={"code": job.code})

    page = client.get(url).content.decode()
    assert " checked" not in page
    answer = client.post(url, {"slot": slot(verifier), "person": person_of(job).pk, "how": "confirmed"}, follow=True)

    call = Appointment.objects.get()
    assert (call.local_date, call.local_time, call.state) == (TOMORROW, dt.time(10), AppointmentState.CONFIRMED)
    assert "Booked: Thu 19 Nov, 10:00 MST, Mara Quist" in answer.content.decode()


def test_a_refused_time_keeps_what_was_typed(theo, mara):
    booked(theo, verifier=user_of(mara))
    job = ready_job()
    url = reverse("call_book", kwargs={"code": job.code})

    answer = client_of(theo).post(url, {"slot": slot(user_of(mara)), "person": person_of(job).pk, "how": "offer"})

    page = answer.content.decode()
    assert answer.status_code == 422
    assert "has another call at 10:00" in page
    assert f'value="{person_of(job).pk}"' in page
    assert page.count(" checked") == 2  # the person and what was agreed; the time itself is gone


def test_a_made_up_time_is_refused(theo, mara):
    job = ready_job()
    answer = client_of(theo).post(
        reverse("call_book", kwargs={"code": job.code}), {"slot": "tomorrow", "person": person_of(job).pk, "how": "book"}
    )

    assert answer.status_code == 422
    assert "none of the times shown" in answer.content.decode()


def test_a_verifier_works_own_calls_only(theo, mara):
    other = booked(theo, verifier=make_user("verifier", "Joel Amadi"))
    client = client_of(mara)

    assert client.get(reverse("call", kwargs={"uid": other.uid})).status_code == 200
    for name in ("call_move", "call_cancel", "call_answer"):
        assert client.get(reverse(name, kwargs={"uid": other.uid})).status_code == 404
    assert client.post(reverse("call_begin", kwargs={"uid": other.uid})).status_code == 404


def test_moving_and_giving_up_by_page(theo, mara):
    call = booked(theo, verifier=user_of(mara))
    client = client_of(theo)

    client.post(reverse("call_move", kwargs={"uid": call.uid}), {"slot": slot(user_of(mara), "2026-11-19T14:00")})
    call.refresh_from_db()
    assert (call.local_time, call.sequence) == (dt.time(14), 1)

    confirm = client.get(reverse("call_cancel", kwargs={"uid": call.uid})).content.decode()
    assert "Mara Quist is free then" in confirm
    call.refresh_from_db()
    assert call.is_open
    client.post(reverse("call_cancel", kwargs={"uid": call.uid}), {"why": "homeowner", "reason": "travelling"})
    call.refresh_from_db()
    assert (call.state, call.ended_why) == (AppointmentState.CANCELLED, "homeowner")


def test_hours_are_typed_a_line_a_day(theo, mara):
    client, url = client_of(theo), reverse("verifier_hours", kwargs={"uid": user_of(mara).uid})

    refused = client.post(url, {"day0": "9 to 5", "day1": "09:00-13:00"})
    assert refused.status_code == 422
    assert "&quot;9 to 5&quot; is not a stretch of hours" in refused.content.decode()
    assert "09:00-13:00" in refused.content.decode()
    assert not VerifierHours.objects.exists()

    client.post(url, {"day0": "9:00-13:00, 14:00-17:00", "day1": ""})
    assert [(row.weekday, row.start.hour, row.end.hour) for row in VerifierHours.objects.all()] == [(0, 9, 13), (0, 14, 17)]
    off = {"from_on": "20 Nov 2026", "from_time": "09:00", "to_on": "21 Nov 2026", "to_time": "09:00"}
    assert client.post(reverse("time_off", kwargs={"uid": user_of(mara).uid}), off).status_code == 302
    assert client.get(reverse("hours")).status_code == 200


def test_days_with_the_same_hours_are_said_together(theo, mara):
    give_hours(user_of(mara), start=9, end=18)
    client = client_of(theo)
    assert "Mon to Sun 09:00-18:00" in client.get(reverse("hours")).content.decode()

    client.post(
        reverse("verifier_hours", kwargs={"uid": user_of(mara).uid}), {"day0": "9:00-17:00", "day1": "9:00-17:00", "day5": "10:00-14:00"}
    )
    assert "Mon and Tue 09:00-17:00; Sat 10:00-14:00" in client.get(reverse("hours")).content.decode()


def test_today_shows_the_scheduler_calls_offers_and_homes_to_book(theo, mara):
    booked(theo, verifier=user_of(mara))
    booking.offer(ready_job(), verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(15)), by=theo)
    ready_job()

    told = {section.name: section.count for section in attention.for_user(user_of(theo)).sections}

    assert told == {
        "islanded": 0, "calls": 2, "unconfirmed": 1, "unanswered": 1, "ready": 1, "visits": 0, "site_visits": 0,
        "likely": 0, "tentative": 0, "missed": 0,
    }  # fmt: skip
    assert {section.name for section in attention.for_user(user_of(mara)).sections} == {
        "islanded",
        "own_calls",
        "unfinished",
        "site_visits",
    }


def test_a_call_islanded_for_a_quarter_of_an_hour_stands_first_for_schedulers_and_managers(dana, theo, mara):
    call = led(mara)
    verification.see(call, what="mid_open", by=mara)

    def first(minutes: int) -> list[int]:
        with time_machine.travel(dt.datetime(2026, 11, 18, 18, minutes, tzinfo=dt.UTC)):
            return [min(attention.for_user(user_of(by)).sections, key=lambda section: section.order).count for by in (dana, theo)]

    assert first(14) == [0, 0]
    assert first(16) == [1, 1]
    verification.see(call, what="mid_closed", by=mara)
    assert first(40) == [0, 0]


def test_what_must_hold_holds_and_a_breach_is_a_sentence(theo, mara):
    verification.record_result(seen_passing(led(mara), mara), result="passed", put_back="yes", by=mara)
    call = booked(theo, verifier=user_of(mara))
    assert list(reconcile.breaches()) == []

    Appointment.objects.filter(pk=call.pk).update(local_time=dt.time(11))
    assert list(reconcile.breaches()) == [
        f"Job {call.job.code}: the call does not stand at its promised 11:00 on 2026-11-19, America/Denver.",
        f"Job {call.job.code}: its call booked for 2026-11-19 11:00 has no fact that says so.",
    ]


def test_the_call_page_is_read_by_others_and_pressed_by_its_verifier(theo, mara):
    call = begun(mara)
    url = reverse("call", kwargs={"uid": call.appointment.uid})

    assert "Heard and understood" in client_of(mara).get(url).content.decode()
    assert "Heard and understood" not in client_of(theo).get(url).content.decode()
    assert client_of(theo).post(reverse("call_caution", kwargs={"uid": call.appointment.uid, "name": "medical"})).status_code == 403
