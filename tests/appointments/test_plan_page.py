"""The plan of calls on its page: accepted whole, in part, changed, and made again; time off over booked calls; day, week and paper."""

from __future__ import annotations

import datetime as dt
import html
import io
import re
from dataclasses import replace

import pypdf
import pytest
from django.urls import reverse

from jobs.appointments import booking, planning, times
from jobs.appointments.models import Appointment, AppointmentState, TimeOff
from jobs.appointments.times import Wish
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.core.rights import VERIFIER
from tests.appointments.homes import TOMORROW, booked, give_hours, person_of, ready_job
from tests.appointments.test_pages import client_of
from tests.make import make_user, user_of

pytestmark = pytest.mark.django_db

MONDAY = dt.date(2026, 11, 23)
THANKSGIVING = dt.date(2026, 11, 26)  # TRADE.md H9's rule: the fourth Thursday


def values(page: str) -> list[str]:
    return [html.unescape(value) for value in re.findall(r'name="every" value="([^"]+)"', page)]


def text(page: str) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub("<[^>]*>", " ", page)))


def test_the_plan_is_accepted_in_part_and_made_again_keeps_what_was_accepted(theo, mara):
    give_hours(user_of(mara), start=9, end=11)
    jobs = [ready_job() for _ in range(3)]
    client, url = client_of(theo), reverse("calls_plan")
    first = client.get(url).content.decode()
    assert not Appointment.objects.exists()
    proposed = values(first)
    # All are worth the same: the codes in order take the earliest places of Monday and Tuesday.
    assert [value.split("|")[0] for value in proposed] == sorted(job.code for job in jobs)
    assert [value.split("|")[2] for value in proposed] == ["2026-11-23T09:00", "2026-11-23T10:00", "2026-11-24T09:00"]

    answer = client.post(url, {"every": proposed, "offer": proposed[1:2]})

    assert answer.status_code == 302
    call = Appointment.objects.get()
    assert (call.state, call.local_date, call.local_time) == (AppointmentState.OFFERED, MONDAY, dt.time(10))
    again = client.get(url).content.decode()
    assert [value.split("|")[2] for value in values(again)] == ["2026-11-23T09:00", "2026-11-24T09:00"]
    assert "One call of this week stands already" in text(again)
    assert client.post(url, {"every": values(again), "all": "1"}).status_code == 302
    assert Appointment.objects.count() == 3
    assert values(client.get(url).content.decode()) == []


def test_a_plan_that_was_not_proved_the_best_says_how_much_another_may_gain(theo, mara, monkeypatch):
    give_hours(user_of(mara), start=9, end=11)
    ready_job()
    found = planning.plan_week(Job.objects.all(), asked=planning.Asked(MONDAY))
    assert "was ended" not in text(client_of(theo).get(reverse("calls_plan")).content.decode())

    ended = replace(found, at_most_more=found.gained_minor // 80 + 1)  # 1.25 % and a cent: rounded up
    monkeypatch.setattr(planning, "plan_week", lambda *_, **__: ended)

    assert "the best one gains at most 1.3 % more" in text(client_of(theo).get(reverse("calls_plan")).content.decode())


def test_a_changed_time_is_fixed_and_the_rest_is_planned_around_it(theo, mara):
    give_hours(user_of(mara), start=9, end=11)
    jobs = sorted((ready_job() for _ in range(2)), key=lambda job: job.code)
    keep = f"{jobs[1].code}|{user_of(mara).uid}|2026-11-23T09:00|0"

    page = client_of(theo).get(reverse("calls_plan"), {"week": "2026-11-23", "keep": keep}).content.decode()
    without = client_of(theo).get(reverse("calls_plan"), {"week": "2026-11-23", "drop": jobs[0].code}).content.decode()

    assert values(page)[0] == keep
    assert values(page)[1] == f"{jobs[0].code}|{user_of(mara).uid}|2026-11-23T10:00|0"
    assert "chosen by you" in page
    assert [value.split("|")[0] for value in values(without)] == [jobs[1].code]


def test_a_time_taken_meanwhile_is_refused_by_name_and_the_others_are_offered(theo, mara):
    give_hours(user_of(mara), start=9, end=11)
    jobs = sorted((ready_job() for _ in range(2)), key=lambda job: job.code)
    client, url = client_of(theo), reverse("calls_plan")
    proposed = values(client.get(url).content.decode())
    booking.book(ready_job(), verifier=user_of(mara), wish=Wish(MONDAY, dt.time(9)), by=theo)

    answer = client.post(url, {"every": proposed, "all": "1", "offer": []})

    assert answer.status_code == 422
    said = text(answer.content.decode())
    assert "One time offered; these were not:" in said
    assert f"{jobs[0].code}: Mara Quist has another call at 09:00 on 23 November 2026" in said
    assert Appointment.objects.filter(state=AppointmentState.OFFERED).get().job == jobs[1]


@pytest.mark.parametrize("offer", [[], ["nonsense"], ["KQ7M4E|x|y|z"], [f"KQ7M4E|{'-' * 36}|2026-02-31T10:00|0"]])
def test_made_up_times_offer_nothing_and_are_said(offer, theo, mara):
    answer = client_of(theo).post(reverse("calls_plan"), {"offer": offer})

    assert answer.status_code == 422
    assert "none of the plan" in text(answer.content.decode()) or "No time is marked" in text(answer.content.decode())
    assert not Appointment.objects.exists()


def test_the_plan_speaks_the_language_doubles_relay_calls_and_keeps_holidays(theo, mara):
    give_hours(user_of(mara), start=9, end=11)  # English and Spanish
    give_hours(make_user(VERIFIER, "Idris Bell"), start=9, end=11)
    spanish, relay = ready_job(language="es"), ready_job()
    person = person_of(relay)
    person.needs_relay = True
    person.save()

    page = client_of(theo).get(reverse("calls_plan")).content.decode()

    by_code = {value.split("|")[0]: value.split("|")[1:] for value in values(page)}
    assert by_code[spanish.code][0] == str(user_of(mara).uid)
    assert by_code[relay.code][1] == "2026-11-23T09:00"
    assert "relay: two places" in page
    free = text(page)
    assert "Wednesday, 25 November 2026" in free
    assert "Thursday, 26 November 2026" not in free
    with pytest.raises(Refused, match="none on that day"):
        booking.book(spanish, verifier=user_of(mara), wish=Wish(THANKSGIVING, dt.time(9)), by=theo)


def test_the_scheduler_sees_no_amount_and_the_manager_does(dana, theo, mara):
    give_hours(user_of(mara))
    ready_job()

    assert "$" not in text(client_of(theo).get(reverse("calls_plan")).content.decode())
    assert "$" in text(client_of(dana).get(reverse("calls_plan")).content.decode())


def off(**changes: str) -> dict[str, str]:
    return {"from_on": "2026-11-19", "from_time": "09:00", "to_on": "2026-11-19", "to_time": "12:00", "reason": "dentist"} | changes


def test_time_off_over_booked_calls_lists_them_and_asks_what_to_do(theo, mara):
    call = booked(theo, verifier=user_of(mara))
    idris = give_hours(make_user(VERIFIER, "Idris Bell"))
    busy = make_user(VERIFIER, "Joan Fairweather")  # without hours
    url = reverse("time_off", kwargs={"uid": user_of(mara).uid})

    asked = client_of(theo).post(url, off())

    page = text(asked.content.decode())
    assert asked.status_code == 422
    assert "One call lies in that time; nothing was recorded yet." in page
    assert "Idris Bell holds it at the same time" in page
    assert "Mara Quist holds it all the same" in page
    assert busy.name not in page
    assert not TimeOff.objects.exists()

    answer = client_of(theo).post(url, off() | {f"call-{call.uid}": str(idris.uid)})

    call.refresh_from_db()
    assert answer.status_code == 302
    assert (call.verifier, call.local_time, call.sequence) == (idris, dt.time(10), 1)
    assert TimeOff.objects.get().reason == "dentist"


def test_a_call_that_is_kept_all_the_same_stays_and_another_cannot_slip_in(theo, mara):
    call = booked(theo, verifier=user_of(mara))
    url = reverse("time_off", kwargs={"uid": user_of(mara).uid})

    answer = client_of(theo).post(url, off() | {f"call-{call.uid}": "keep"})

    assert answer.status_code == 302
    call.refresh_from_db()
    assert call.is_open
    assert times.free_times(user_of(mara), job=ready_job(), places=1, days=1)[0].local_time == dt.time(12)


@pytest.mark.parametrize("answer", ["nobody", "", "00000000-0000-0000-0000-000000000000"])
def test_a_made_up_answer_records_no_time_off(answer, theo, mara):
    call = booked(theo, verifier=user_of(mara))

    said = client_of(theo).post(reverse("time_off", kwargs={"uid": user_of(mara).uid}), off() | {f"call-{call.uid}": answer})

    assert said.status_code in (404, 422)
    assert not TimeOff.objects.exists()
    call.refresh_from_db()
    assert (call.verifier, call.sequence) == (user_of(mara), 0)


def test_day_and_week_show_the_sites_time_and_the_own(theo, mara):
    booked(theo, verifier=user_of(mara), job=ready_job(zone="America/New_York"), wish=Wish(TOMORROW, dt.time(12)))

    day = text(client_of(theo).get(reverse("calls_day"), {"on": "2026-11-19"}).content.decode())
    week = text(client_of(theo).get(reverse("calls_week"), {"on": "2026-11-19"}).content.decode())

    for page in (day, week):
        assert "12:00 10:00 Guadalupe Hernández" in page
    assert "One open call on 19 November 2026, one call not confirmed" in day


def test_the_run_sheet_has_a_block_for_each_open_call_with_cautions_and_no_secret(theo, mara):
    job = ready_job(owner="Łucja Ramírez-Whitfield de la Cruz y Montalbán")
    booked(theo, verifier=user_of(mara), job=job, confirmed=True)
    given_up = booked(theo, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(14)))
    booking.cancel(given_up, why="us", reason="Mara is ill", by=theo)

    answer = client_of(theo).get(reverse("run_sheet"), {"on": "2026-11-19"})
    nobody = client_of(theo).get(reverse("run_sheet"), {"on": "2026-11-20"})

    paper = pypdf.PdfReader(io.BytesIO(answer.content))
    said = re.sub(r"\s+", " ", " ".join(page.extract_text() for page in paper.pages))
    assert "One call: run sheet of all verifiers" in said
    assert "10:00 MST" in said
    assert "Łucja Ramírez-Whitfield de la Cruz y Montalbán, (303) 555-0142" in said
    assert "Lift or stair lift at the home: not asked." in said
    assert "A generator feeding the same wires can kill a lineworker." in said
    assert given_up.job.code not in said
    assert "Page 1 of 1" in said
    assert nobody.content[:4] == b"%PDF"


def test_calls_that_nobody_answered_are_counted_by_kind_and_to_be_booked_again(theo, mara):
    jobs = [ready_job() for _ in range(4)]
    give_hours(user_of(mara))
    for number, job in enumerate(jobs):
        call = booking.book(job, verifier=user_of(mara), wish=Wish(TOMORROW, dt.time(9 + number)), confirmed=number == 0, by=theo)
        call.state = AppointmentState.MISSED if number == 3 else AppointmentState.HELD
        call.save()

    page = text(client_of(theo).get(reverse("calls_missed")).content.decode())

    # Of four first calls one: 25.0 %, Wilson 4.6 to 69.9 (scipy.stats.binomtest); of the three not confirmed before one, 33.3 %.
    assert "4 First call to the home 1 25.0 4.6 to 69.9" in page
    assert "3 Not confirmed before 1 33.3" in page
    assert "1 Confirmed before 0 0.0" in page
    assert page.count("Book again") == 1
