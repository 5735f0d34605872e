"""The page on which a call is led, pressed as a verifier presses it."""

from __future__ import annotations

import datetime as dt

import pytest
from django.test import Client
from django.urls import reverse

from jobs.appointments import callsteps, verification
from jobs.appointments.models import Appointment, CallRecord, Press, VerificationRecord
from jobs.appointments.times import Wish
from jobs.core import cautions, rules
from jobs.core.states import S
from tests.appointments.homes import TODAY, begun, booked, led, seen_passing
from tests.appointments.test_home_page import words_of
from tests.appointments.test_pages import client_of
from tests.make import SYSTEM

pytestmark = pytest.mark.django_db

READ = {"load_name": "refrigerator", "load_w": "640", "soc_percent": "82", "battery_w": "0", "pv_w": "410", "grid_w": "-230"}


@pytest.fixture
def call(mara) -> Appointment:
    return booked(mara, wish=Wish(TODAY, dt.time(12)), confirmed=True)


def url(view: str, call: Appointment, **kwargs: str) -> str:
    return reverse(view, kwargs={"uid": call.uid, **kwargs})


def test_a_whole_call_by_its_page(mara, call):
    client = client_of(mara)

    client.post(url("call_begin", call))
    for name in callsteps.CAUTIONS:
        client.post(url("call_caution", call, name=name), {"key": name})
    for check in callsteps.CHECKS:
        safe = next(answer.value for answer in check.answers if answer.safe)
        client.post(url("call_check", call, name=check.name), {"answer": safe})
    client.post(url("call_readings", call), READ)
    client.post(url("call_seen", call, what="mid_open"))
    client.post(url("call_seen", call, what="utility_power"), {"watts": "4"})
    client.post(url("call_seen", call, what="load_served"), {"watts": "640", "load": "refrigerator"})
    page = client.get(url("call", call)).content.decode()
    assert "In island mode since 11:00:" in words_of(page)
    client.post(url("call_seen", call, what="mid_closed"))
    assert "import or export as usual was not seen since the return" in client.get(url("call", call)).content.decode()
    client.post(url("call_seen", call, what="normal"), {"watts": "230"})
    client.post(url("call_result", call), {"result": "passed", "put_back": "yes", "statement": "the lights stayed on"})

    call.job.refresh_from_db()
    assert call.job.state == S.BACKUP_VERIFIED
    page = words_of(client.get(url("call", call)).content.decode())
    assert "Passed . Recorded by Mara Quist." in page
    assert "not an inspection, a permission to operate, a warranty or an approval" in page


def test_the_page_shows_every_caution_and_the_numbers_in_their_order(mara, call):
    rules.set_rule("emergency_on_call", value="Ana Ortiz, (303) 555-0177", valid_from=TODAY, by=SYSTEM)
    verification.begin(call, by=mara)

    page = words_of(client_of(mara).get(url("call", call)).content.decode()).replace("&#x27;", "'").replace("&#39;", "'")

    # TRADE.md section 4: those marked for the call page, the call script, the pre-check and the verifier's page.
    for name in ("medical", "lifts", "generator", "alarms", "pumps", "abort", "recording", "no_commands"):
        assert cautions.of(name).en in page
    order = [page.index(told) for told in ("911", "(303) 555-0190", "Ana Ortiz", "The home, Guadalupe")]
    assert order == sorted(order)


def test_in_island_mode_the_page_says_what_to_do_when_the_line_is_lost(mara):
    call = led(mara)
    says = "Telephone the home first."
    assert says not in client_of(mara).get(url("call", call.appointment)).content.decode()
    verification.see(call, what="mid_open", by=mara)
    assert says in client_of(mara).get(url("call", call.appointment)).content.decode()


@pytest.mark.parametrize("upto", ["begun", "checks", "readings", "island", "ended"])
def test_the_abort_caution_is_in_view_on_every_state_of_the_page(upto, mara):
    call = begun(mara) if upto == "begun" else led(mara, upto="checks" if upto == "checks" else "readings")
    if upto == "island":
        verification.see(call, what="mid_open", by=mara)
    if upto == "ended":
        verification.record_result(call, result="not finished", reason="the line was lost", by=mara)

    page = client_of(mara).get(url("call", call.appointment)).content.decode()

    # On a call that has ended the box does not follow the reader any more, and no bar of it is left.
    assert ('<details class="stopbar">' in page) == (upto != "ended")
    aside = page.split(f'<aside class="side abort{"" if upto == "ended" else " sticky"}"')[1].split("</aside>")[0]
    assert "Stop at once if: a smell, heat, sparks" in aside
    assert "<details" not in aside, "it is never folded"


def test_no_answer_is_chosen_in_advance(mara, call):
    verification.begin(call, by=mara)

    assert " checked" not in client_of(mara).get(url("call", call)).content.decode()


def test_an_unsafe_answer_ends_the_call_on_the_page(mara, call):
    verification.begin(call, by=mara)
    client = client_of(mara)

    client.post(url("call_check", call, name="generator"), {"answer": "on"})

    page = words_of(client.get(url("call", call)).content.decode())
    assert "Not finished : a generator was on or connected. Recorded by Mara Quist." in page
    assert "Record as passed" not in page


def test_no_answer_at_all_is_asked_again(mara, call):
    verification.begin(call, by=mara)

    answer = client_of(mara).post(url("call_check", call, name="adult"), {})

    assert answer.status_code == 422
    assert "Choose one of the answers" in words_of(answer.content.decode())
    assert not VerificationRecord.objects.exists()


def test_a_press_sent_twice_is_seen_once(mara):
    call = led(mara)
    client = client_of(mara)

    for _ in range(2):
        client.post(url("call_seen", call.appointment, what="mid_open"), {"key": "k-mid_open"})

    assert Press.objects.filter(what="mid_open").count() == 1


def test_readings_that_are_refused_are_kept_as_typed(mara):
    call = led(mara, upto="checks")

    answer = client_of(mara).post(url("call_readings", call.appointment), READ | {"soc_percent": "400"})

    page = answer.content.decode()
    assert answer.status_code == 422
    assert "A state of charge of 400" in page
    assert 'value="refrigerator"' in page
    assert 'value="400"' in page


def test_passed_cannot_be_pressed_and_says_what_is_missing(mara):
    call = led(mara)
    client = client_of(mara)

    page = client.get(url("call", call.appointment)).content.decode()
    assert "Not passed yet, because: disconnected was not seen" in words_of(page)
    answer = client.post(url("call_result", call.appointment), {"result": "passed"})

    assert answer.status_code == 422
    assert "cannot be recorded as passed" in answer.content.decode()


def test_a_result_in_island_mode_is_asked_for_the_return_before_anything_else(mara):
    call = led(mara)
    client, result = client_of(mara), url("call_result", call.appointment)
    verification.see(call, what="mid_open", by=mara)

    early = client.post(result, {"result": "not finished", "reason": "the line was lost"})

    assert early.status_code == 422
    assert "Record the return as seen or as not seen first" in words_of(early.content.decode())
    assert "Reserve and mode put back" not in words_of(early.content.decode())
    verification.see(call, what="not_returned", by=mara)
    page = words_of(client.get(url("call", call.appointment)).content.decode())
    assert "Reserve and mode put back" in page
    assert "Say first whether the return was seen" not in page
    client.post(result, {"result": "not finished", "reason": "the return was not seen", "put_back": "no"})
    assert VerificationRecord.objects.get().put_back == "no"


def test_where_the_line_is_lost_the_homes_number_stands_before_all_else_on_a_phone_too(mara):
    call = led(mara)
    verification.see(call, what="mid_open", by=mara)
    client, address = client_of(mara), url("call", call.appointment)
    assert 'class="with-side"' in client.get(address).content.decode()

    verification.see(call, what="line_lost", by=mara)

    assert 'class="with-side lost"' in client.get(address).content.decode()  # office.css leaves the box "Stop" after it


def test_the_return_not_seen_opens_the_emergency_page(mara):
    call = led(mara)
    verification.see(call, what="mid_open", by=mara)

    answer = client_of(mara).post(url("call_seen", call.appointment, what="not_returned"))

    assert answer.status_code == 302
    assert answer.headers["Location"] == f"/emergency/?job={call.job.code}"


def test_an_entry_is_corrected_with_its_reason_and_kept(mara):
    call = led(mara)
    opened = verification.see(call, what="mid_open", by=mara)
    press = verification.see(call, what="utility_power", watts=420, by=mara)
    client = client_of(mara)
    address = url("call_correct", call.appointment, press_uid=str(press.uid))

    assert "Watts that were seen" in client.get(address).content.decode()
    without = client.get(url("call_correct", call.appointment, press_uid=str(opened.uid))).content.decode()
    assert "Watts that were seen" not in without, "nothing is read as the MID opens"

    assert client.post(address, {"watts": "4", "reason": ""}).status_code == 422
    client.post(address, {"watts": "4", "reason": "read the wrong line"})

    page = words_of(client.get(url("call", call.appointment)).content.decode())
    assert "corrects an entry" in page
    assert "read the wrong line" in page
    assert Press.objects.filter(what="utility_power").count() == 2


def test_the_manager_voids_by_a_confirmation_page(dana, mara):
    call = seen_passing(led(mara), mara)
    verification.record_result(call, result="passed", put_back="yes", by=mara)
    client = client_of(dana)

    assert "The record stays as it is" in client.get(url("call_void", call.appointment)).content.decode()
    assert VerificationRecord.objects.get().additions.count() == 0
    client.post(url("call_add", call.appointment), {"text": "the meter was exchanged that week"})
    client.post(url("call_void", call.appointment), {"reason": "the load was on the main panel"})

    call.job.refresh_from_db()
    assert call.job.state == S.COLLAR_ENERGIZED
    page = words_of(client.get(url("call", call.appointment)).content.decode())
    assert "the meter was exchanged that week" in page
    assert "the load was on the main panel" in page


def test_a_stranger_begins_nothing(call):
    assert Client().post(url("call_begin", call)).status_code == 302
    assert not CallRecord.objects.exists()
