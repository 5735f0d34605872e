"""A visit to the home: survey, seal, commissioning, CTs, the meter timed; and what follows from a seal that is not intact."""

from __future__ import annotations

import datetime as dt

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from jobs.core import clock, dayone, due, facts, homefacts, metering, sitevisit
from jobs.core import kinds as k
from jobs.core.ctpv import PVTest
from jobs.core.metering import Pulses
from jobs.core.metertiming import Mark
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.core.states import S
from tests.make import DAY_ONE, PNG, SYSTEM, make_job, steps_seen, user_of

pytestmark = pytest.mark.django_db

NEXT_DAY = DAY_ONE + dt.timedelta(days=1)
NET, LOAD_SIDE = PVTest(900, -2_050, 0, 3_000), PVTest(900, 900, 0, 3_000)


@pytest.fixture
def page(client, dana):
    client.force_login(user_of(dana), backend="django.contrib.auth.backends.ModelBackend")
    return client


def address(job: Job, what: str) -> str:
    return reverse("record", kwargs={"code": job.code, "what": what})


def survey(**changes: str) -> dict[str, str]:
    return {"on": "4 May 2026", "seal": "intact", "service_voltage": "120/240", "clearance": "clear", **changes}


def timing(**changes: str) -> dict[str, str]:
    return {
        "on": "4 May 2026", "seal": "intact", "mark": Mark.KH.value, "constant": "1", "taps": "0, 2, 4, 6, 8", "factor": "1",
        "direction": "import", **changes,
    }  # fmt: skip


# The seal.


@pytest.mark.parametrize(
    "what", ["survey", "installed", "commissioned", "cts-fitted", "ct-check", "pv-check", "meter-timed", "collar-staged"]
)
def test_each_record_of_a_visit_asks_for_the_seal_and_nothing_is_kept_without_it(page, what):
    job = make_job()

    found = page.post(address(job, what), {"on": "4 May 2026"})

    assert found.status_code == 422
    assert ">The utility&#x27;s seal at the meter</a>: Nothing is chosen here, and a choice is wanted." in found.content.decode()
    assert not job.facts.exists()


@pytest.mark.parametrize("state", ["broken", "absent"])
def test_a_seal_that_is_not_intact_is_reported_to_the_utility_the_same_day(page, state):
    job = make_job(S.GRID_TIED)

    told = page.post(address(job, "installed"), {"on": "4 May 2026", "seal": state}, follow=True).content.decode()

    job.refresh_from_db()
    assert job.next_act == f"Report the {state} seal to the utility"
    assert (job.next_role, job.next_due_on, job.waiting_on) == ("scheduler", DAY_ONE, "us")
    assert f"The seal at the meter is {state}: do not touch it; the utility is to be told today." in told
    assert "Never cut or refit a seal." in told
    assert job.state == S.GRID_TIED


def test_the_schedulers_today_holds_the_report_on_the_day_of_the_visit(dana, theo):
    job = make_job(S.AWAITING_UTILITY)
    today = clock.office_today()
    sitevisit.record_seal(job, on=today, state="broken", by=dana)

    rows = [row for section in due.for_user(user_of(theo)).sections if section.name == "due" for row in section.rows]

    assert [(row.next_act, row.late) for row in rows] == [("Report the broken seal to the utility", "")]


def test_the_report_closes_it_and_what_was_next_is_next_again(page, dana):
    job = make_job(S.GRID_TIED)
    before = job.next_act
    sitevisit.record_seal(job, on=DAY_ONE, state="broken", by=dana, photo=dayone.Photo("seal.png", PNG))

    page.post(address(job, "seal-reported"), {"on": "4 May 2026", "how": "by telephone", "who": "dispatcher", "reference": "77-1"})

    job.refresh_from_db()
    assert job.next_act == before
    assert job.facts.of_kind(k.SEAL_REPORTED).get().value == {"how": "by telephone", "who": "dispatcher", "reference": "77-1"}
    assert [paper.subject for paper in job.facts.of_kind(k.SEAL_SEEN).get().evidence.all()] == ["seal at the meter"]


def test_a_seal_still_broken_on_a_later_visit_is_reported_again(dana):
    job = make_job(S.GRID_TIED)
    sitevisit.record_seal(job, on=DAY_ONE, state="broken", by=dana)
    sitevisit.record_seal_reported(job, on=DAY_ONE, how="by telephone", by=dana)

    sitevisit.record_seal(job, on=NEXT_DAY, state="broken", by=dana)

    job.refresh_from_db()
    assert (job.next_act, job.next_due_on) == ("Report the broken seal to the utility", NEXT_DAY)


def test_a_finished_home_with_a_broken_seal_waits_on_us_and_stays_finished(dana):
    job = make_job(S.BACKUP_VERIFIED)

    sitevisit.record_seal(job, on=dt.date(2026, 10, 1), state="absent", by=dana)

    job.refresh_from_db()
    assert (job.state, job.next_act) == (S.BACKUP_VERIFIED, "Report the absent seal to the utility")


def test_an_answer_given_twice_on_a_day_is_on_record_once(dana):
    job = make_job()
    dayone.record_installed(job, on=DAY_ONE, seal="intact", by=dana)
    dayone.record_commissioned(job, on=DAY_ONE, seal="intact", by=dana)

    assert job.facts.of_kind(k.SEAL_SEEN).count() == 1
    dayone.record_collar_staged(job, on=DAY_ONE, reason="no place yet", seal="broken", by=dana)
    assert [fact.value["state"] for fact in job.facts.of_kind(k.SEAL_SEEN).order_by("pk")] == ["intact", "broken"]


def test_an_intact_seal_needs_no_report(dana):
    job = make_job()
    dayone.record_installed(job, on=DAY_ONE, seal="intact", by=dana)

    with pytest.raises(Refused, match="No broken or absent seal is on record"):
        sitevisit.record_seal_reported(job, on=DAY_ONE, how="by telephone", by=dana)


def test_a_report_before_the_seal_was_seen_broken_is_refused(dana):
    job = make_job()
    sitevisit.record_seal(job, on=NEXT_DAY, state="broken", by=dana)

    with pytest.raises(Refused, match="it was reported on or after that day"):
        sitevisit.record_seal_reported(job, on=DAY_ONE, how="by telephone", by=dana)


# The survey and commissioning.


def test_the_survey_is_kept_and_its_voltage_is_that_of_the_ct_check(page):
    job = make_job()

    page.post(
        address(job, "survey"),
        survey(
            meter_form="2s", meter_class="200", socket="ringless", jaws="four", service_voltage="120/208", service_a="200", generator="on"
        ),
    )

    value = job.facts.of_kind(k.SURVEYED).get().value
    assert value == {
        "meter_form": "2S", "meter_class": 200, "socket": "ringless", "jaws": "four", "service_voltage": "120/208", "service_a": 200,
        "clearance": "clear", "generator": True,
    }  # fmt: skip
    job.refresh_from_db()
    assert job.service == "120/208"
    assert "for a service of 120/208 V" in page.get(address(job, "ct-check")).content.decode()


def test_a_service_of_another_voltage_has_no_computed_check(dana):
    job = make_job()
    sitevisit.record_surveyed(job, on=DAY_ONE, service_voltage="another", clearance="clear", by=dana)

    with pytest.raises(Refused, match="neither 120/240 nor 120/208 V"):
        dayone.record_ct_check(job, on=DAY_ONE, tests=steps_seen(), by=dana)

    assert not job.facts.of_kind(k.CT_CHECK).exists()


def test_an_obstructed_meter_says_by_what(page):
    job = make_job()

    found = page.post(address(job, "survey"), survey(clearance="obstructed", meter_form="2S"))

    assert found.status_code == 422
    assert "Say what stands in the way of the meter" in found.content.decode()
    assert 'value="2S"' in found.content.decode()
    assert not job.facts.exists()


def test_commissioning_keeps_mode_reserve_and_communications(page):
    job = make_job()
    given = {
        "on": "4 May 2026",
        "seal": "intact",
        "mode": "grid-tied",
        "reserve_percent": "20",
        "communications": "cellular",
        "export_limit_w": "0",
    }

    page.post(address(job, "commissioned"), given)

    value = job.facts.of_kind(k.COMMISSIONED).get().value
    assert value == {"mode": "grid-tied", "reserve_percent": 20, "communications": "cellular", "export_limit_w": 0}
    assert "mode grid-tied; reserve 20 %; communications: cellular" in page.get(reverse("job", kwargs={"code": job.code})).content.decode()


def test_a_mode_that_expects_backup_is_refused(page):
    job = make_job()

    found = page.post(address(job, "commissioned"), {"on": "4 May 2026", "seal": "intact", "mode": "backup", "communications": "Wi-Fi"})

    assert found.status_code == 422
    assert "Set the mode to grid-tied, then record." in found.content.decode()
    assert not job.facts.exists()


def test_a_commissioned_home_warns_until_the_permission_to_operate_is_on_record(page):
    job, warning = make_job(S.GRID_TIED), "the utility&#x27;s permission to operate is not on record"
    home = reverse("job", kwargs={"code": job.code})

    assert warning.replace("&#x27;", "'") in page.get(home).content.decode().replace("&#x27;", "'")
    page.post(address(job, "permission-to-operate"), {"on": "4 May 2026", "reference": "PTO-1"})
    assert "permission to operate is not on record" not in page.get(home).content.decode()


def test_what_grid_tied_complete_still_wants_is_said_in_words_and_no_percentage(page, dana):
    job = make_job()
    dayone.record_commissioned(job, on=DAY_ONE, seal="intact", by=dana)
    dayone.record_ct_check(job, on=DAY_ONE, tests=steps_seen(), by=dana)
    dayone.record_collar_registered(job, on=DAY_ONE, serial="LL-424242", by=dana)

    told = page.get(reverse("job", kwargs={"code": job.code})).content.decode()

    assert (
        "Grid-tied complete wants two facts more: the collar staged, with place and photo or a reason; and the hand-over sheet, "
        "given to the homeowner." in told
    )
    assert "%" not in told.split('class="waiting"')[1].split("</p>")[0]


# CTs and PV.


def test_a_ct_too_small_for_the_service_is_refused(page):
    job = make_job()
    page.post(address(job, "survey"), survey(service_a="200"))
    cts = {"on": "4 May 2026", "seal": "intact", "place": "between the meter and every source", "rated_a": "100", "ratio_set_a": "100"}

    found = page.post(address(job, "cts-fitted"), cts | {"older_pv": "with its own CT"})

    assert found.status_code == 422
    assert "a CT rated 100 A is too small for it" in found.content.decode()
    page.post(address(job, "cts-fitted"), cts | {"older_pv": "with its own CT", "rated_a": "200"})
    assert job.facts.of_kind(k.CTS_FITTED).get().value["older_pv"] == "with its own CT"


@pytest.mark.parametrize("what", ["cts-fitted", "ct-check", "pv-check"])
def test_a_home_without_a_battery_is_not_asked_about_consumption_cts(page, what):
    job = make_job(has_battery=False)

    assert page.get(address(job, what)).status_code == 404
    assert address(job, what) not in page.get(reverse("job", kwargs={"code": job.code})).content.decode()


def test_a_home_without_pv_is_not_asked_what_happened_when_pv_came_on(page):
    job = make_job(has_pv=False)

    assert page.get(address(job, "pv-check")).status_code == 404


def test_pv_that_changes_nothing_on_day_one_keeps_the_home_in_build(dana):
    job = make_job()
    metering.record_pv_check(job, on=DAY_ONE, test=LOAD_SIDE, by=dana)
    assert job.facts.of_kind(k.PV_CHECK).get().value["verdict"] == "inconsistent"
    job = make_job(S.GRID_TIED)

    metering.record_pv_check(job, on=DAY_ONE, test=LOAD_SIDE, by=dana)

    job.refresh_from_db()
    assert (job.state, job.next_act) == (S.IN_BUILD, "Send an electrician to the consumption CTs")
    dayone.record_ct_check(job, on=NEXT_DAY, tests=steps_seen(), by=dana)
    job.refresh_from_db()
    assert job.state == S.GRID_TIED


def test_pv_that_changes_nothing_weeks_later_is_an_electricians_errand_and_undoes_no_state(dana):
    job = make_job(S.AWAITING_UTILITY)

    metering.record_pv_check(job, on=dt.date(2026, 6, 20), test=LOAD_SIDE, by=dana)

    job.refresh_from_db()
    assert (job.state, job.next_act) == (S.AWAITING_UTILITY, "Send an electrician to the consumption CTs")


def test_pv_that_lowers_the_import_changes_nothing(dana):
    job = make_job(S.GRID_TIED)
    before = job.next_act

    fact = metering.record_pv_check(job, on=DAY_ONE, test=NET, by=dana)

    job.refresh_from_db()
    assert (fact.value["verdict"], job.state, job.next_act) == ("consistent", S.GRID_TIED, before)


def test_pv_that_takes_power_is_refused_with_what_was_typed_kept(page):
    job = make_job()
    given = {
        "on": "4 May 2026",
        "seal": "intact",
        "import_before_w": "900",
        "import_after_w": "-2050",
        "pv_before_w": "0",
        "pv_after_w": "-3000",
    }

    found = page.post(address(job, "pv-check"), given)

    assert found.status_code == 422
    assert "PV gives power and takes none" in found.content.decode()
    assert 'value="-2050"' in found.content.decode()
    assert not job.facts.exists()


# The meter.


def test_the_meter_timed_by_taps_says_its_power_its_doubt_and_its_direction(page):
    job = make_job()

    page.post(address(job, "meter-timed"), timing(ct_total_w="1790"))

    value = job.facts.of_kind(k.METER_TIMED).get().value
    # Five taps 2 s apart of 1 Wh: 1,800 W, U = 114 W.
    assert value["direction"] == "import"
    assert value["numbers"] == {"power_w": 1800.0, "expanded_w": 113.8, "tap_s": 0.2, "ct_total_w": 1790, "difference_w": -10.0}
    assert "1,800 ± 114 W from 4 in 8.0 s, each tap taken as right within 0.2 s." in value["told"]


def test_the_meter_timed_by_a_count_needs_its_seconds(page):
    job = make_job()

    page.post(address(job, "meter-timed"), timing(mark=Mark.IMPULSES.value, constant="1000", taps="", count="48", seconds="60"))
    refused = page.post(address(job, "meter-timed"), timing(taps="", count="48"))

    assert job.facts.of_kind(k.METER_TIMED).get().value["numbers"]["power_w"] == 2880
    assert refused.status_code == 422
    assert "Either a tap at each pulse is wanted, or the number of pulses and the seconds they took." in refused.content.decode()


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"taps": "0, 2, four"}, "is not an instant"),
        ({"taps": "0, 2"}, "At least 3 taps are wanted"),
        ({"constant": "7,2o"}, "A number is wanted here as on the meter"),
        ({"constant": "-7.2"}, "must be more than 0, as its face shows it"),
        ({"direction": ""}, "a choice is wanted"),
    ],
)
def test_a_wrong_timing_is_refused_in_a_sentence_and_the_rest_is_kept(page, wrong, sentence):
    job = make_job()

    found = page.post(address(job, "meter-timed"), timing(ct_total_w="1790", **wrong))

    assert found.status_code == 422
    assert sentence in found.content.decode()
    assert 'value="1790"' in found.content.decode()
    assert not job.facts.exists()


def test_an_export_is_compared_by_its_sign(dana):
    job = make_job()

    fact = metering.record_meter_timed(
        job, on=DAY_ONE, pulses=Pulses(Mark.KH, 1, count=30, seconds=60), direction="export", ct_total_w=1_790, by=dana
    )

    # The CTs say import, the meter export: 1,790 - (-1,800).
    assert fact.value["numbers"]["difference_w"] == 3590


# The page of a check.


def test_a_check_leads_to_its_page_with_numbers_band_and_caution(page, dana):
    job = make_job()
    fact = dayone.record_ct_check(job, on=DAY_ONE, tests=steps_seen(b=(0, -1700)), by=dana)

    told = page.get(reverse("ct_check", kwargs={"uid": fact.uid})).content.decode()

    assert "Consumption-CT check: inconsistent" in told
    assert "CT B is reversed" in told
    assert "A check for gross errors, not a measurement of accuracy and not an approval." in told
    assert "Outside its band: load on B, leg B" in told
    assert "−1,700\u202fW" in told
    # 2 sqrt(((1.5 * 2100/1700)^2 + (0.5 * 2100/1700)^2 + 5^2) / 30000 + 1.5 (100^2/12 + 50^2) / 1700^2) = 0.104, of leg B 0.102.
    assert "CT A 1.00 ± 0.10, CT B −1.00 ± 0.10." in told
    assert "The known load" in told


def test_the_page_says_where_in_the_range_of_the_cts_the_load_stood(page, dana):
    job = make_job()
    metering.record_cts_fitted(
        job, on=DAY_ONE, place=facts.CT_PLACES[0], rated_a=200, ratio_set_a=200, older_pv="none", accuracy_class="1", by=dana
    )
    fact = dayone.record_ct_check(job, on=DAY_ONE, tests=steps_seen(), by=dana)

    told = page.get(reverse("ct_check", kwargs={"uid": fact.uid})).content.decode()

    # 1,700 W at 120 V are 14.17 A, 7.1 % of 200 A; IEC 61869-2 Table 201, class 1 from 5 % on: 3 %.
    assert "7.1 % of the 200 A that the CTs are rated for; there class 1 may err by 3 % (IEC 61869-2)." in told


@pytest.mark.parametrize("what", [k.CT_CHECK, k.PV_CHECK, k.METER_TIMED])
def test_what_was_computed_from_readings_is_not_typed_anew(dana, what):
    job = make_job()
    acts = {
        k.CT_CHECK: lambda: dayone.record_ct_check(job, on=DAY_ONE, tests=steps_seen(), by=dana),
        k.PV_CHECK: lambda: metering.record_pv_check(job, on=DAY_ONE, test=NET, by=dana),
        k.METER_TIMED: lambda: metering.record_meter_timed(
            job, on=DAY_ONE, pulses=Pulses(Mark.KH, 1, count=30, seconds=60), direction="import", by=dana
        ),
    }
    fact = acts[what]()

    with pytest.raises(Refused, match="record a new check"):
        homefacts.correct(fact, value={**fact.value, "verdict": "consistent"}, reason="it was right", by=dana)

    assert fact.value == job.facts.of_kind(what).get().value


def test_an_imported_check_has_a_page_without_numbers(page):
    job = make_job()
    fact = facts.record(
        job, k.CT_CHECK, when=facts.When(on=DAY_ONE), said_by=facts.Said("contractor's list"), by=SYSTEM,
        value={"verdict": "consistent", "readings": {}, "numbers": {}},
    )  # fmt: skip

    told = page.get(reverse("ct_check", kwargs={"uid": fact.uid})).content.decode()

    assert "came with the contractor" in told


def test_the_photo_of_a_seal_that_is_no_picture_is_refused(page):
    job = make_job()
    photo = SimpleUploadedFile("seal.png", b"no picture", "image/png")

    found = page.post(address(job, "seal"), {"on": "4 May 2026", "state": "broken", "remark": "wire cut", "photo": photo})

    assert found.status_code == 422
    assert "its contents are not PNG" in found.content.decode()
    assert 'value="wire cut"' in found.content.decode()
    assert not job.facts.exists()
