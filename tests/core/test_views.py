"""Pages of a home's record: they record, and they refuse with what was typed kept."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from jobs.core import kinds as k
from jobs.core import rules
from jobs.core.models import Job, Trace, User
from jobs.core.recordings import RECORDINGS
from jobs.core.states import S
from tests.make import DAY_ONE, PASSWORD, PNG, SYSTEM, make_job, make_user, put, user_of

pytestmark = pytest.mark.django_db

COMMISSIONED = {"on": "4 May 2026", "note": "", "seal": "intact", "mode": "grid-tied", "reserve_percent": "20", "communications": "Wi-Fi"}
LEGS = {"a": (1700, 0), "b": (0, 1700)}


@pytest.fixture
def page(client, dana):
    client.force_login(user_of(dana), backend="django.contrib.auth.backends.ModelBackend")
    return client


def address(job: Job, what: str) -> str:
    return reverse("record", kwargs={"code": job.code, "what": what})


def readings(**changes: str) -> dict[str, str]:
    given = {"on": "4 May 2026", "seal": "intact"}
    for leg, rise in LEGS.items():
        given[f"{leg}_load_w"] = "1700"
        for reading in ("off_before", "on", "off_after"):
            for seen, up in zip("ab", rise, strict=True):
                given[f"{leg}_{reading}_{seen}"] = str(400 + (up if reading == "on" else 0))
            given[f"{leg}_{reading}_pv"], given[f"{leg}_{reading}_battery"] = "0", ""
    return given | changes


@pytest.mark.parametrize("what", RECORDINGS)
def test_each_page_opens_with_its_cautions_and_one_button(page, what):
    job = make_job()

    found = page.get(address(job, what))

    if RECORDINGS[what].right == "core.record_medical":
        assert found.status_code == 403  # the manager sees the answer; others ask it
        return
    assert found.status_code == 200
    assert RECORDINGS[what].button in found.content.decode()


def test_the_day_one_record_brings_the_home_to_grid_tied_complete(page):
    job = make_job()

    page.post(address(job, "commissioned"), COMMISSIONED)
    page.post(address(job, "ct-check"), readings())
    page.post(address(job, "collar-registered"), {"on": "5/4/26", "serial": "ll-000777", "revision": ""})
    photo = SimpleUploadedFile("bag.png", PNG, "image/png")
    page.post(
        address(job, "collar-staged"), {"on": "4 May 2026", "place": "left of the meter", "reason": "", "photo": photo, "seal": "intact"}
    )
    last = page.post(address(job, "sheet-given"), {"on": "2026-05-04", "to": "owner", "language": "English"})

    job.refresh_from_db()
    assert last.status_code == 302
    assert job.state == S.GRID_TIED
    assert job.facts.of_kind(k.CT_CHECK).get().value["verdict"] == "consistent"


def test_a_reading_with_a_letter_is_refused_and_the_others_are_kept(page):
    job = make_job()

    found = page.post(address(job, "ct-check"), readings(a_on_a="21oo"))

    assert found.status_code == 422
    text = found.content.decode()
    assert "21oo" in text
    assert text.count('value="1700"') == 2
    assert not job.facts.exists()


def test_a_negative_known_load_is_refused_and_what_was_typed_is_kept(page):
    job = make_job()

    found = page.post(address(job, "ct-check"), readings(b_load_w="-1700"))

    assert found.status_code == 422
    text = found.content.decode()
    assert "A load draws power: its watts are wanted, more than 0, such as 1500." in text
    assert 'value="-1700"' in text
    assert text.count('value="2100"') == 2
    assert not job.facts.exists()


def test_a_home_with_pv_says_what_pv_gave_at_each_reading(page):
    job = make_job()

    found = page.post(address(job, "ct-check"), readings(a_off_before_pv=""))

    assert found.status_code == 422
    assert "Before, load on A: PV, W (0 when off)</a>: Nothing is filled in here" in found.content.decode()


def test_a_begun_step_across_both_legs_is_wanted_whole(page):
    job = make_job()

    found = page.post(address(job, "ct-check"), readings(c_load_w="3800"))

    assert found.status_code == 422
    assert found.content.decode().count("The step across both legs is begun; this reading is wanted too") == 2 * 9
    assert not job.facts.exists()


def test_the_third_step_and_a_measured_load_are_kept_and_the_page_of_the_check_follows(page):
    job = make_job()
    across = {"c_load_w": "3800"}
    for reading, rise in (("off_before", 0), ("on", 1900), ("off_after", 0)):
        across |= {f"c_{reading}_{leg}": str(400 + rise) for leg in "ab"} | {f"c_{reading}_pv": "0"}

    found = page.post(address(job, "ct-check"), readings(measured="yes", **across))

    fact = job.facts.of_kind(k.CT_CHECK).get()
    assert found.headers["Location"] == reverse("ct_check", kwargs={"uid": fact.uid})
    assert fact.value["verdict"] == "consistent"
    assert fact.value["readings"]["across"]["load_w"] == 3800
    assert fact.value["readings"]["budget"]["load_percent"] == 1
    assert fact.value["numbers"]["across_step_total_w"] == 3800


def test_a_serial_that_another_site_holds_is_refused_on_its_field(page):
    first, second = make_job(), make_job()
    page.post(address(first, "collar-registered"), {"on": "4 May 2026", "serial": "LL-000777"})

    found = page.post(address(second, "collar-registered"), {"on": "4 May 2026", "serial": "LL-000777"})

    assert found.status_code == 422
    assert first.code in found.content.decode()
    assert 'value="LL-000777"' in found.content.decode()


def test_a_second_press_of_the_same_button_records_nothing_more(page):
    job = make_job()
    key = re.search(r'name="key" value="([^"]+)"', page.get(address(job, "commissioned")).content.decode())
    assert key is not None
    form = {**COMMISSIONED, "key": key.group(1)}

    page.post(address(job, "commissioned"), form)
    page.post(address(job, "commissioned"), form)

    assert job.facts.of_kind(k.COMMISSIONED).count() == 1


def test_a_fact_is_corrected_on_its_page_and_the_reason_is_kept(page):
    job = make_job(S.GRID_TIED)
    fact = job.facts.of_kind(k.COMMISSIONED).get()

    found = page.post(
        reverse("correct", kwargs={"uid": fact.uid}), {"withdraw": "", "on": "6 May 2026", "after_on": "", "reason": "typed wrong"}
    )

    assert found.status_code == 302
    assert str(job.facts.standing().of_kind(k.COMMISSIONED).get().day) == "2026-05-06"
    assert job.facts.get(replaces=fact).reason == "typed wrong"


def test_a_correction_that_says_nothing_is_refused(page):
    fact = put(make_job(), k.COMMISSIONED, on=DAY_ONE)

    found = page.post(reverse("correct", kwargs={"uid": fact.uid}), {"withdraw": "", "on": "", "after_on": "", "reason": "x"})

    assert found.status_code == 422
    assert "which day is right" in found.content.decode()


def test_a_gate_code_is_shown_for_a_purpose_only_and_never_cached(page):
    job = make_job()
    page.post(address(job, "gate-code"), {"code": "4711#"})

    empty = page.post(reverse("reveal", kwargs={"code": job.code}), {"purpose": ""})
    shown = page.post(reverse("reveal", kwargs={"code": job.code}), {"purpose": "visit today"})

    assert empty.status_code == 422
    assert "4711#" not in empty.content.decode()
    assert "4711#" in shown.content.decode()
    assert shown.headers["Cache-Control"] == "no-store"
    assert Trace.objects.filter(job=job, act__startswith="shown: gate").count() == 1


def test_a_new_job_gets_a_code_and_its_people(page):
    form = {
        "owner": "Łukasz O'Brien-Őrsi", "at_home": "", "phone": "(303) 555-0142", "email": "lukasz@homes.example", "language": "es",
        "street": "4417 Old Sawmill Road", "unit": "", "city": "Ottermere", "region": "co", "postal_code": "80301",
        "zone": "America/Denver", "access_note": "", "contractor_number": "A-17", "has_battery": "on", "service": "120/240", "crew": "",
        "install_on": "",
        "request_planned_on": "",
    }  # fmt: skip

    found = page.post(reverse("job_new"), form)

    job = Job.objects.get()
    assert found.headers["Location"].endswith(f"/jobs/{job.code}/")
    assert job.homeowner == "Łukasz O'Brien-Őrsi"
    assert {party.role for party in job.parties.all()} == {"owner", "account_holder", "at_home"}
    assert page.post(reverse("job_new"), form).status_code == 422
    assert Job.objects.count() == 1


def test_a_new_home_stands_in_the_offices_zone_until_another_is_chosen(page):
    rules.set_rule("office_zone", value="America/Chicago", valid_from=dt.date(2026, 11, 18), by=SYSTEM)

    form = page.get(reverse("job_new")).content.decode()

    assert '<option value="America/Chicago" selected>Central Time (America/Chicago)</option>' in form
    assert form.split('name="zone"')[1].split("</select>")[0].count(" selected") == 1


def test_a_home_without_a_gate_code_offers_to_keep_one(page):
    job = make_job()

    told = page.get(reverse("reveal", kwargs={"code": job.code})).content.decode()

    assert "No gate code is kept for this home." in told
    assert "What the code is needed for" not in told


def test_the_last_manager_cannot_shut_themselves_out(page, dana):
    user = user_of(dana)

    found = page.post(
        reverse("person", kwargs={"uid": user.uid}), {"name": "Dana", "roles": ["scheduler"], "zone": "America/Denver", "is_active": "on"}
    )

    assert found.status_code == 422
    assert "only operations manager" in found.content.decode()
    assert user.groups.get().name == "operations manager"


def test_a_person_is_added_and_signs_in(page, client):
    page.post(
        reverse("person_new"),
        {
            "name": "Rosa Lind", "email": "rosa@larchlantern.example", "password": "wading-heron-at-noon", "roles": ["finance"],
            "zone": "America/Denver", "languages": ["en"], "crew": "",
        },
    )  # fmt: skip
    page.post(reverse("sign_out"))

    found = client.post(reverse("sign_in"), {"username": "rosa@larchlantern.example", "password": "wading-heron-at-noon"})

    assert found.status_code == 302
    assert User.objects.get(email="rosa@larchlantern.example").role_words == "finance"


def test_a_wrong_password_is_refused_with_the_address_kept(client, db):
    user = make_user("scheduler")

    found = client.post(reverse("sign_in"), {"username": user.email, "password": "wrong"})

    assert found.status_code == 422
    assert user.email in found.content.decode()
    assert client.post(reverse("sign_in"), {"username": user.email, "password": PASSWORD}).status_code == 302


def test_a_rule_outside_its_bounds_is_refused_with_them(page):
    found = page.post(reverse("rule", kwargs={"name": "quiet_opens"}), {"value": "7", "valid_from": "18 Nov 2026"})

    assert found.status_code == 422
    assert "outside 8 to 12" in found.content.decode()


def test_a_demo_sign_in_opens_nothing_while_the_demo_is_off(client, settings):
    user = make_user("finance", is_demo=True)
    form = {"username": user.email, "password": PASSWORD}

    assert client.post(reverse("sign_in"), form).status_code == 422
    settings.DEMO = True
    assert client.post(reverse("sign_in"), form).status_code == 302
