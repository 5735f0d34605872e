"""What the call's page leads through beyond evidence: the line lost, the test stopped, the balance, the return awaited, two windows."""

from __future__ import annotations

import datetime as dt
import re

import pytest
import time_machine
from django.urls import reverse

from jobs.appointments import attention, callpage, records, sights, verification
from jobs.appointments.callsteps import CHECKS, Readings
from jobs.appointments.limits import Balance
from jobs.appointments.models import CallRecord, Press, VerificationRecord
from jobs.appointments.sights import Stand, line_is_lost, possible, why_not
from jobs.core import cautions, cutover, homefacts, rights
from jobs.core.refusals import OutOfSight, Refused
from tests.appointments.homes import READINGS, led, seen_passing
from tests.make import SYSTEM, make_user, user_of

pytestmark = pytest.mark.django_db


def at(hour: int, minute: int, second: int = 0) -> time_machine.travel:
    return time_machine.travel(dt.datetime(2026, 11, 18, hour, minute, second, tzinfo=dt.UTC), tick=False)


def html_of(client, mara, call: CallRecord) -> str:
    client.force_login(user_of(mara))
    return str(client.get(reverse("call", kwargs={"uid": call.appointment.uid})).content.decode())


def island(call: CallRecord, mara) -> CallRecord:
    verification.see(call, what="mid_open", by=mara)
    verification.see(call, what="utility_power", watts=4, by=mara)
    verification.see(call, what="load_served", watts=640, load="refrigerator", by=mara)
    return call


READY = Stand(ready=True, islanded=False, opened=False)
ISLANDED = Stand(ready=True, islanded=True, opened=True)


@pytest.mark.parametrize(
    ("what", "stand", "can"),
    [
        ("mid_open", READY, True),
        ("mid_open", Stand(ready=False, islanded=False, opened=False), False),
        ("mid_open", Stand(ready=True, islanded=False, opened=True, stopped=True), False),
        ("mid_open", Stand(ready=True, islanded=False, opened=False, line_lost=True), False),
        ("balance", READY, False),
        ("balance", ISLANDED, True),
        ("mid_closed", Stand(ready=False, islanded=True, opened=True), True),  # the return is never refused for what came before
        ("normal", ISLANDED, False),
        ("normal", Stand(ready=True, islanded=False, opened=True), True),
        ("line_back", READY, False),
        ("stopped", ISLANDED, True),
    ],
)
def test_what_may_be_pressed_follows_from_where_the_call_stands(what, stand, can):
    assert possible(what, stand) == can
    assert can or not stand.ready or why_not(what, stand)


def test_the_newest_word_on_the_line_counts():
    assert not line_is_lost([])
    assert line_is_lost(["line_lost", "load_served"])
    assert not line_is_lost(["line_lost", "line_back"])
    assert line_is_lost(["line_lost", "line_back", "line_lost"])


def test_a_lost_line_begins_the_page_with_the_homes_number_and_stands_on_today_at_once(client, mara, theo, dana):
    call = island(led(mara), mara)
    verification.see(call, what="line_lost", by=mara)

    html = html_of(client, mara, call)
    assert html.index('Telephone the home: <a href="tel:') < html.index("In island mode since")
    for who in (theo, dana, mara):
        first = min(attention.for_user(user_of(who)).sections, key=lambda section: section.order)
        assert (first.name, first.count) == ("islanded", 1)
        assert "the line was lost" in first.rows[0].cells[1]
    with pytest.raises(Refused, match="on record as lost already"):
        verification.see(call, what="line_lost", by=mara)

    verification.see(call, what="line_back", by=mara)
    call.refresh_from_db()
    assert call.line_lost_at is None
    assert call.islanded_at is not None, "a line that is back returns no home"


def test_a_test_that_was_stopped_is_not_passed_whatever_was_seen(client, mara):
    call = island(led(mara), mara)
    verification.see(call, what="stopped", words="a smell at the panel", by=mara)

    html = html_of(client, mara, call)
    assert "The test was stopped at" in html
    assert "a smell at the panel" in html
    verification.see(call, what="return_begun", by=mara)
    verification.see(call, what="mid_closed", by=mara)
    verification.see(call, what="normal", watts=230, by=mara)
    with pytest.raises(Refused, match="the test was stopped"):
        verification.record_result(call, result="passed", put_back="yes", by=mara)
    with pytest.raises(Refused, match="end this call, and book another"):
        verification.see(call, what="mid_open", by=mara)
    record = verification.record_result(call, result="not passed", reason="a smell", cause="device", put_back="yes", by=mara)
    assert (record.cause, record.return_visit_avoided) == ("device", False)


def test_the_return_is_expected_five_minutes_after_it_was_begun(client, mara):
    with at(18, 30):
        call = island(led(mara), mara)
    with at(18, 31, 12):
        verification.see(call, what="return_begun", by=mara)
        verification.see(call, what="not_yet", by=mara)
    with at(18, 34):
        html = html_of(client, mara, call)
        assert "The return is expected by 11:36:12" in html
        assert "“not yet” is not “failed”" in html
    with at(18, 36, 13):
        assert "The five minutes were over at 11:36:12" in html_of(client, mara, call)


def test_the_balance_says_what_is_left_over_and_counts_as_a_reading_of_the_utility(client, mara):
    # Row R6 with another load: 1200 + 1900 + 0 - 3050 = 50 W.
    call = led(mara)
    verification.see(call, what="mid_open", by=mara)
    verification.note_balance(call, balance=Balance(1_200, 1_900, 0, 3_050), volts=241.5, by=mara)

    page = callpage.page_of(call)
    assert page.balance is not None
    assert dict(page.balance.rows)["Left over"] == "50\u202fW"
    assert page.balance.words == "50\u202fW left over: the readings agree"
    assert records.evidence_of(call).disconnected, "the utility's power was read as none"

    verification.note_balance(call, balance=Balance(1_200, 900, 420, 3_050), by=mara)
    page = callpage.page_of(call)
    assert page.balance is not None
    assert "do not agree" in page.balance.words
    assert "not disconnected" in page.balance.utility
    assert "420" in html_of(client, mara, call)


@pytest.mark.parametrize(
    ("balance", "more", "sentence", "field"),
    [
        (Balance(1, 1, 1, 200_000), {}, "cannot be at a home", "load_w"),
        (Balance(-1, 1, 1, 1), {}, "cannot be negative", "pv_w"),
        (Balance(1, 1, 1, 1), {"volts": 900}, "900 V cannot be", "volts"),
        (Balance(1, 1, 1, 1), {"hertz": 600}, "600 Hz cannot be", "hertz"),
    ],
)
def test_readings_that_cannot_be_are_refused_in_island_mode(balance, more, sentence, field, mara):
    call = led(mara)
    verification.see(call, what="mid_open", by=mara)

    with pytest.raises(Refused, match=sentence) as refused:
        verification.note_balance(call, balance=balance, by=mara, **more)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"leg_a_w": 400}, "Read both legs"),
        ({"leg_a_w": -10, "leg_b_w": 650}, "cannot be negative"),
        ({"leg_a_w": 2_400, "leg_b_w": 600}, "The legs add up to 3000 W, and the load was read as 640 W"),
        ({"reserve_percent": 400}, "400 % cannot be"),
    ],
)
def test_legs_and_reserve_that_cannot_be_are_refused(changed, sentence):
    fault = Readings(**{**READINGS.__dict__, **changed}).fault()
    assert fault is not None
    assert sentence in fault[1]


def test_the_load_stands_beside_the_limits_and_who_entered_them(client, mara):
    call = led(mara)
    assert "Nobody has entered limits." in html_of(client, mara, call)

    cutover.record_backup_limits(
        call.job, on=dt.date(2026, 11, 17), entered_by="Ana Ortiz", continuous_w=600, usable_wh=13_500, floor_percent=20, by=SYSTEM
    )

    html = html_of(client, mara, call)
    assert "The limits were entered by Ana Ortiz." in html
    assert "Outside: 640\u202fW, entered 600\u202fW" in html
    assert "Cannot tell: the load of each leg is missing" in html
    # 13,500 Wh * 62 % / 640 W = 13.08 h; over 1.25 and 0.75.
    assert "About 10 to 17 hours" in html


def test_a_second_window_and_a_second_press_double_nothing(client, mara):
    call = led(mara)
    client.force_login(user_of(mara))
    address = reverse("call_seen", kwargs={"uid": call.appointment.uid, "what": "mid_open"})

    first = client.post(address, {"key": "one-mid_open"})
    again = client.post(address, {"key": "one-mid_open"})
    other = client.post(address, {"key": "two-mid_open"})

    assert (first.status_code, again.status_code, other.status_code) == (302, 302, 422)
    assert "The MID is reported open already." in other.content.decode()
    assert Press.objects.filter(what="mid_open").count() == 1


def test_another_verifier_sees_the_call_and_presses_nothing(client, mara):
    call = island(led(mara), mara)
    idris = make_user(rights.VERIFIER, "Idris Vale")
    client.force_login(idris)

    page = client.get(reverse("call", kwargs={"uid": call.appointment.uid})).content.decode()
    assert "In island mode since" in page
    assert "Seen now" not in page
    address = reverse("call_seen", kwargs={"uid": call.appointment.uid, "what": "mid_closed"})
    assert client.post(address, {"key": "x"}).status_code == 404
    from jobs.core.actors import person

    with pytest.raises(OutOfSight):
        verification.see(call, what="mid_closed", by=person(idris))


def test_a_storm_hold_that_comes_during_the_call_stops_the_island_test(dana, mara):
    call = led(mara)
    homefacts.hold(call.job, kind="storm", stops=["calls"], review_on=dt.date(2026, 11, 20), reason="ice", by=dana)

    with pytest.raises(Refused, match="hold on calls"):
        verification.see(call, what="mid_open", by=mara)
    assert not Press.objects.filter(what="mid_open").exists()


# TRADE.md section 4: what is marked for the verifier's page, call script, pre-check, readiness and results, and where it must be found.
FROM_THE_START = ("medical", "lifts", "generator", "alarms", "pumps", "abort", "recording", "no_commands")
WITH_READINGS = ("run_time", "check_only")
IN_ISLAND_MODE = ("line_lost",)


def test_every_caution_of_this_page_is_found_in_it(client, mara):
    call = led(mara)
    html = html_of(client, mara, call)
    for name in (*FROM_THE_START, *WITH_READINGS):
        assert _shown(cautions.of(name).en) in html, name

    island(call, mara)
    html = html_of(client, mara, call)
    for name in (*FROM_THE_START, *IN_ISLAND_MODE):
        assert _shown(cautions.of(name).en) in html, name


def _shown(text: str) -> str:
    return text.replace("'", "&#x27;")


# What a button may do is record; one more opens a page, one finds a home, one signs out.
RECORDS = re.compile(
    r"^(Record\b|Seen now|Not seen|Not yet|Heard and understood|The test was stopped|The line (was lost|is back)|Find|Sign out)"
)
NEVER = (
    "approved",
    "safe to",
    "is safe",
    "accurate",
    "certified",
    "guarantee",
    "all clear",
    "go off-grid",
    "open the mid",
    "close the mid",
)


def test_nothing_on_the_page_can_be_read_as_a_command_or_an_approval(client, mara):
    call = led(mara)
    pages = [html_of(client, mara, call)]
    island(call, mara)
    pages.append(html_of(client, mara, call))
    verification.see(call, what="mid_closed", by=mara)
    verification.see(call, what="normal", watts=230, by=mara)
    pages.append(html_of(client, mara, call))

    for html in pages:
        for button in re.findall(r"<button[^>]*>(.*?)</button>", html, re.S):
            words = " ".join(re.sub(r"<[^>]+>", "", button).split())
            assert RECORDS.match(words), words
        text = " ".join(re.sub(r"<[^>]+>", " ", html).split()).lower()
        for word in NEVER:
            assert word not in text, word
    assert "This tool sends no commands." in pages[0]


def test_every_check_of_the_trade_is_asked_and_each_has_an_answer_that_stops():
    # TRADE.md D8, in its order.
    assert [check.name for check in CHECKS] == [
        "adult", "others", "consent", "medical", "lift", "generator", "communications", "collar", "battery", "load", "storm", "alarms",
        "pv", "working",
    ]  # fmt: skip
    for check in CHECKS:
        stops = [answer for answer in check.answers if not answer.safe]
        assert stops, check.name
        assert all(answer.reason for answer in stops)


def test_who_else_is_at_home_is_kept_and_frozen_with_the_record(client, mara):
    from tests.appointments.homes import begun

    call = begun(mara)
    for name in ("medical", "lifts", "generator", "alarms", "pumps"):
        verification.acknowledge(call, caution=name, by=mara)
    verification.answer_check(call, check="adult", answer="yes", note="Guadalupe Hernández", by=mara)
    verification.answer_check(call, check="others", answer="told", note="her mother and two children", by=mara)

    assert "her mother and two children" in html_of(client, mara, call)
    record = verification.record_result(call, result="not finished", reason="they had to leave", cause="home", by=mara)
    kept = {press["what"]: press["value"] for press in record.presses}
    assert kept["check:others"] == {"answer": "told", "note": "her mother and two children"}
    assert record.cause == "home"


def test_a_homeowner_who_does_not_answer_is_a_no_show_and_no_failure(mara):
    from tests.appointments.homes import begun

    call = begun(mara)
    verification.answer_check(call, check="adult", answer="nobody", by=mara)

    record = VerificationRecord.objects.get()
    assert record.result == "not finished"
    assert record.appointment is not None
    assert record.appointment.state == "missed"
    assert record.cause == "", "an absent homeowner is counted among no reasons"


def test_a_passed_test_avoided_a_drive_and_keeps_the_software_it_ran_on(mara):
    call = led(mara)
    homefacts.record_gateway_report(
        call.job, at=dt.datetime(2026, 11, 18, 17, 0, tzinfo=dt.UTC), state="closed", firmware="4.2.1", by=SYSTEM
    )
    record = verification.record_result(seen_passing(call, mara), result="passed", put_back="yes", by=mara)

    assert record.return_visit_avoided
    assert record.equipment["firmware"] == "4.2.1"
    assert record.equipment["serial"]


def test_the_page_of_sights_knows_each_of_its_presses():
    assert set(records.SIGHTINGS) == set(sights.SIGHTS)
    assert all(sight.title for sight in sights.SIGHTS.values())
