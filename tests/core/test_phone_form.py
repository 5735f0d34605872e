"""The crew's long form: keys honoured once, versions that are chosen between, bad input with its contents kept, two languages."""

from __future__ import annotations

import datetime as dt
import io
import re
from html import unescape
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image

from jobs.core import crew_es, crewform, ctcheck, files, homefacts, phoneparts, reconcile, verdicts_es
from jobs.core import kinds as k
from jobs.core.actors import Actor, person
from jobs.core.crewform import BY_NAME, PARTS
from jobs.core.ctsignatures import Load, Service, conditions, signature
from jobs.core.models import CrewMember, Document, Fact, Job, PhonePart
from jobs.core.models.phone import Outcome
from jobs.core.refusals import Refused
from tests.core.phone import COMMISSIONED, GIVEN, SHEET, key, part_to_receive, seen, standing, two_versions
from tests.make import DAY_ONE, PNG, make_job, make_user, put, user_of
from tests.races import race

TODAY = dt.date(2026, 11, 18)


@pytest.fixture
def job(crew) -> Job:
    return make_job(crew=crew, install_on=TODAY)


@pytest.fixture
def phone(joel: Actor) -> Client:
    return signed_in(joel)


def signed_in(by: Actor) -> Client:
    client = Client()
    client.force_login(user_of(by), backend="django.contrib.auth.backends.ModelBackend")
    return client


def send(client: Client, job: Job, part: str, data: dict[str, Any], *, lang: str = "en", alone: bool = True, **more: Any):
    address = f"{reverse('crew_part', kwargs={'code': job.code, 'name': part})}?lang={lang}"
    sent: dict[str, Any] = (
        {"key": key(), "seen": seen(job, BY_NAME[part].kind) if BY_NAME[part].kind else "", "on": "18 Nov 2026"} | data | more
    )
    return client.post(address, sent, headers={"X-Part": "1"} if alone else {})


def seal(client: Client, job: Job) -> None:
    assert send(client, job, "seal", {"state": "intact"}).status_code == 200


def readings(load_w: str = "1700") -> dict[str, str]:
    data = {"a_load_w": load_w, "b_load_w": load_w}
    for step in "ab":
        for reading in ("off_before", "on", "off_after"):
            rise = 1700 if reading == "on" else 0
            data |= {f"{step}_{reading}_a": str(400 + rise * (step == "a")), f"{step}_{reading}_b": str(400 + rise * (step == "b"))}
            data |= {f"{step}_{reading}_pv": "0"}
    return data


def text(answer) -> str:
    return unescape(answer.content.decode())


def typed(page: str, name: str) -> str:
    tag = re.search(rf'<input[^>]*name="{name}"[^>]*>', page)
    assert tag, name
    value = re.search(r'value="([^"]*)"', tag[0])
    return value[1] if value else ""


# A key is honoured once


def test_a_part_sent_twice_with_its_key_is_recorded_once_and_the_fact_keeps_the_key(phone, job):
    seal(phone, job)
    sent: dict[str, Any] = {"key": "3f1c0f5e-made-on-the-phone", "seen": seen(job, k.COMMISSIONED)}

    answers = [send(phone, job, "commissioned", COMMISSIONED, **sent) for _ in range(2)]

    assert [answer.status_code for answer in answers] == [200, 200]
    (fact,) = standing(job, k.COMMISSIONED)
    assert (fact.source, fact.source_key) == ("phone", "3f1c0f5e-made-on-the-phone/commissioned")
    assert fact.value == {"mode": "grid-tied", "communications": "Wi-Fi", "reserve_percent": 20}
    assert PhonePart.objects.filter(part="commissioned").count() == 1


def test_a_key_comes_back_with_other_contents_and_nothing_is_recorded(phone, job):
    seal(phone, job)
    sent: dict[str, Any] = {"key": "once", "seen": seen(job, k.COMMISSIONED)}
    send(phone, job, "commissioned", COMMISSIONED, **sent)

    answer = send(phone, job, "commissioned", COMMISSIONED | {"reserve_percent": "35"}, **sent)

    assert answer.status_code == 422
    assert "sent before with other contents" in text(answer)
    assert typed(text(answer), "reserve_percent") == "35"
    assert len(standing(job, k.COMMISSIONED)) == 1


def test_a_part_without_a_key_is_refused(phone, job):
    answer = send(phone, job, "seal", {"state": "intact"}, key="")

    assert answer.status_code == 422
    assert "not sent by one of our pages" in text(answer)
    assert not job.facts.exists()


@pytest.mark.needs_postgres
@pytest.mark.django_db(transaction=True)
def test_two_sendings_with_one_key_at_once_record_one_fact(dana):
    job, kwargs = part_to_receive(make_job())

    answers = race(*[lambda: str(phoneparts.receive(job, by=dana, **kwargs).pk)] * 2)

    assert len(set(answers)) == 1
    assert len(standing(job, k.SHEET_GIVEN)) == 1


@pytest.mark.needs_postgres
@pytest.mark.django_db(transaction=True)
def test_of_two_phones_at_once_one_is_recorded_and_the_other_waits_for_a_choice(dana):
    job, first = part_to_receive(make_job())
    _, second = part_to_receive(job)
    second["given"] = GIVEN | {"to": "the tenant"}

    race(*[lambda kwargs=kwargs: phoneparts.receive(job, by=dana, **kwargs).outcome for kwargs in (first, second)])

    assert sorted(PhonePart.objects.values_list("outcome", flat=True)) == [Outcome.RECORDED, Outcome.WAITING]
    assert len(standing(job, k.SHEET_GIVEN)) == 1


# Two phones, and an office that recorded meanwhile


def test_two_phones_that_send_the_same_record_it_once(phone, job, crew):
    ruth = make_user("crew", "Ruth Osei")
    CrewMember.objects.create(crew=crew, user=ruth, from_on=dt.date(2026, 1, 1))
    seal(phone, job)
    saw = seen(job, k.COMMISSIONED)
    send(phone, job, "commissioned", COMMISSIONED, seen=saw)

    answer = send(signed_in(person(ruth)), job, "commissioned", COMMISSIONED, seen=saw)

    assert answer.status_code == 200
    assert "nothing was recorded twice" in text(answer)
    assert len(standing(job, k.COMMISSIONED)) == 1
    assert PhonePart.objects.filter(outcome=Outcome.SAME, sent_by=ruth).count() == 1


def test_a_form_kept_for_three_weeks_stands_beside_what_the_office_changed_until_a_person_chooses(phone, joel, dana, job, time_machine):
    time_machine.move_to(dt.datetime(2026, 10, 28, 18, 0, tzinfo=dt.UTC))
    saw = seen(job, k.SURVEYED)
    kept = {"on": "28 Oct 2026", "service_voltage": "120/240", "clearance": "clear", "meter_form": "2S", "service_a": "200"}
    send(phone, job, "seal", {"state": "intact", "on": "28 Oct 2026"})
    time_machine.move_to(dt.datetime(2026, 11, 18, 18, 0, tzinfo=dt.UTC))
    phone = signed_in(joel)  # whoever signed in then is signed out by now
    other = {"service_voltage": "120/208", "clearance": "clear", "meter_form": "12S"}
    office = put(job, k.SURVEYED, on=dt.date(2026, 11, 2), value=other, by=dana)

    answer = send(phone, job, "survey", kept, seen=saw, key="kept", filled_at="2026-10-28T18:05:00Z")

    assert answer.status_code == 409
    assert "Both are kept" in text(answer)
    assert standing(job, k.SURVEYED) == [office]
    assert send(phone, job, "survey", kept, seen=saw, key="kept").status_code == 409  # sent again, it waits once
    row = PhonePart.objects.get(part="survey")
    address = reverse("crew_versions", kwargs={"uid": row.uid})
    page = text(phone.get(address))
    assert "12S" in page
    assert "2S" in page
    assert "Recorded meanwhile by Dana Ruiz, for 2 November 2026." in page

    # A crew corrects on the day only: what the office recorded on another day, the operations manager changes.
    time_machine.move_to(dt.datetime(2026, 11, 19, 18, 0, tzinfo=dt.UTC))
    refused = signed_in(joel).post(address, {"keep": "phone"})
    assert refused.status_code == 422
    assert "only the operations manager corrects it" in text(refused)
    assert standing(job, k.SURVEYED) == [office]
    signed_in(dana).post(address, {"keep": "phone"})

    (fact,) = standing(job, k.SURVEYED)
    assert (fact.day, fact.value["meter_form"], fact.source_key) == (dt.date(2026, 10, 28), "2S", "kept/surveyed")
    again = signed_in(dana).post(address, {"keep": "record"})
    assert "has chosen meanwhile" in text(again)
    assert standing(job, k.SURVEYED) == [fact]


def test_what_is_on_record_can_be_kept_and_the_phones_version_is_put_aside(dana, job):
    row = two_versions(job)
    client = signed_in(dana)
    address = reverse("crew_versions", kwargs={"uid": row.uid})

    client.post(address, {"keep": "record"})

    row.refresh_from_db()
    assert (row.outcome, row.chosen_by_name, row.contents) == (Outcome.DROPPED, "Dana Ruiz", SHEET)
    assert [fact.value["to"] for fact in standing(job, k.SHEET_GIVEN)] == ["the neighbour"]


def test_two_versions_stand_on_the_operations_managers_today(dana, job):
    two_versions(job)

    page = text(signed_in(dana).get("/"))

    assert "Two versions of day one" in page
    assert "Look at both and choose" in page


def test_readings_taken_for_a_service_that_the_office_changed_wait_for_a_choice(phone, job):
    seal(phone, job)
    saw = seen(job, k.CT_CHECK)
    Job.objects.filter(pk=job.pk).update(service="120/208")

    answer = send(phone, job, "ct-check", readings(), seen=saw)

    assert answer.status_code == 409
    assert PhonePart.objects.get(part="ct-check").changed == ["The service was changed from 120/240 V to 120/208 V."]
    assert standing(job, k.CT_CHECK) == []


def test_readings_of_cts_that_the_home_has_no_more_are_refused_and_kept(phone, job):
    seal(phone, job)
    saw = seen(job, k.CT_CHECK)
    Job.objects.filter(pk=job.pk).update(has_battery=False)

    for alone in (True, False):
        answer = send(phone, job, "ct-check", readings(), seen=saw, alone=alone)

        assert answer.status_code == 422
        assert "This home has no battery, so it has no consumption CTs to check." in text(answer)
        assert typed(text(answer), "a_on_a") == "2100"
    assert standing(job, k.CT_CHECK) == []


def test_a_part_sent_again_is_the_same_though_the_seal_and_the_home_were_changed_meanwhile(phone, job):
    seal(phone, job)
    sent: dict[str, Any] = {"key": "once", "seen": seen(job, k.COMMISSIONED)}
    send(phone, job, "commissioned", COMMISSIONED, **sent)
    put(job, k.SEAL_SEEN, on=TODAY, value={"state": "broken"})
    Job.objects.filter(pk=job.pk).update(has_battery=False)

    assert send(phone, job, "commissioned", COMMISSIONED, **sent).status_code == 200
    assert len(standing(job, k.COMMISSIONED)) == 1


def test_reconcile_finds_what_a_phone_sent_without_its_fact_and_the_other_way(phone, job):
    seal(phone, job)
    send(phone, job, "installed", {})
    assert list(reconcile.breaches()) == []

    PhonePart.objects.filter(part="installed").update(fact=None)
    PhonePart.objects.filter(part="seal").update(key="another")

    assert sum("a fact is named" in one or "another or none" in one or "no sending is kept" in one for one in reconcile.breaches()) == 3


def test_a_part_of_a_job_cancelled_meanwhile_waits_for_a_choice(phone, dana, job):
    seal(phone, job)
    saw = seen(job, k.INSTALLED)
    homefacts.cancel(job, on=TODAY, reason="sold the house", by=dana)

    assert send(phone, job, "installed", {}, seen=saw).status_code == 409
    assert standing(job, k.INSTALLED) == []


def test_filled_in_anew_on_the_same_day_a_part_takes_the_place_of_the_one_before(phone, job):
    seal(phone, job)
    send(phone, job, "commissioned", COMMISSIONED)

    answer = send(phone, job, "commissioned", COMMISSIONED | {"reserve_percent": "30"})

    assert answer.status_code == 200
    (fact,) = standing(job, k.COMMISSIONED)
    assert fact.value["reserve_percent"] == 30
    assert Fact.objects.filter(job=job, kind=k.COMMISSIONED, withdrawn=True, reason="filled in anew on the phone").count() == 1


# What is asked


def test_the_seal_is_answered_once_and_goes_with_every_part_of_that_day(phone, job):
    before = send(phone, job, "installed", {})
    assert before.status_code == 422
    assert crewform.SEAL_FIRST in text(before)

    send(phone, job, "seal", {"state": "broken", "photo": SimpleUploadedFile("seal.png", PNG)})
    after = send(phone, job, "installed", {})

    assert after.status_code == 200
    assert [fact.value["state"] for fact in standing(job, k.SEAL_SEEN)] == ["broken"]
    assert Document.objects.get(job=job).subject == "seal at the meter"


@pytest.mark.parametrize(
    ("fields", "absent"), [({"has_battery": False}, {"cts-fitted", "ct-check", "pv-check"}), ({"has_pv": False}, {"pv-check"})]
)
def test_a_home_is_asked_only_about_what_it_has(phone, crew, fields, absent):
    job = make_job(crew=crew, install_on=TODAY, **fields)

    page = text(phone.get(reverse("crew_form", kwargs={"code": job.code})))

    asked = set(re.findall(r'data-part="([a-z-]+)"', page))
    assert asked == {part.name for part in PARTS} - absent


def test_the_form_names_what_is_missing_and_keeps_nothing_medical_on_the_phone(phone, job):
    page = text(phone.get(reverse("crew_form", kwargs={"code": job.code})))

    assert "Before the home is grid-tied complete, this is missing: the commissioning date; a consumption-CT check" in page
    assert not re.search(r'name="(answer|code)"', page)


def test_a_crew_sees_its_own_sites_of_the_day_on_the_phone_and_no_other_home(phone, job, crew):
    other, later = make_job(install_on=TODAY), make_job(crew=crew, install_on=dt.date(2026, 11, 25))

    page = text(phone.get(reverse("crew_day")))

    assert job.code in page
    assert other.code not in page
    assert later.code not in page
    assert phone.get(reverse("crew_form", kwargs={"code": other.code})).status_code == 404


def test_the_verdict_stands_in_the_answer_with_its_caution(phone, job):
    seal(phone, job)

    page = text(send(phone, job, "ct-check", readings()))

    assert "<b>Consistent.</b>" in page
    assert "not a measurement of accuracy and not an approval" in page


# Bad input: a sentence, contents kept, nothing recorded


@pytest.mark.parametrize(
    ("part", "data", "field", "says", "in_spanish"),
    [
        ("ct-check", {"a_on_a": "21O0"}, "a_on_a", "is not a reading. Whole watts with their sign", "no es una lectura"),
        ("ct-check", {"a_load_w": "-1700"}, "a_load_w", "A load draws power: its watts are wanted", "Una carga consume"),
        ("ct-check", {"b_load_w": "1700 W"}, "b_load_w", "A whole number is wanted here", "Aquí va un número entero"),
        ("meter-timed", {"mark": "impulses per kWh", "constant": "1000", "taps": "0, 2, two", "direction": "import"}, "taps",
         "is not an instant", "no es un instante"),
        ("collar-registered", {"serial": "LL/42"}, "serial", "is not a serial", "no es un número de serie"),
        ("commissioned", COMMISSIONED | {"mode": "backup"}, "reserve_percent", "the home has no backup", "la casa no tiene respaldo"),
        ("survey", {"service_voltage": "120/240", "clearance": "obstructed", "meter_form": "2S"}, "meter_form", "what stands in the way",
         "qué estorba"),
    ],
)  # fmt: skip
def test_what_cannot_be_right_is_refused_with_a_sentence_in_either_language_and_kept(phone, job, part, data, field, says, in_spanish):
    seal(phone, job)
    data = (readings() if part == "ct-check" else {}) | data

    for lang, sentence in (("en", says), ("es", in_spanish)):
        answer = send(phone, job, part, data, lang=lang)

        page = text(answer)
        assert answer.status_code == 422
        assert sentence in page
        assert ("Day at the home" in page) is (lang == "en")
        assert typed(page, field) == data[field]
    assert job.facts.exclude(kind=k.SEAL_SEEN).count() == 0


@pytest.mark.parametrize(
    ("name", "size", "says"),
    [
        ("bag.jpg", 60, "has 60 MB; at most 20 MB are taken."),
        ("bag.heic", 1, "is not a JPEG, PNG or PDF file"),
        ("bag.jpg", 1, "is not what its name says"),
    ],
)
def test_a_photo_that_is_too_large_or_of_a_wrong_kind_is_refused_and_the_rest_kept(phone, job, name, size, says):
    seal(phone, job)
    photo = SimpleUploadedFile(name, b"\0" * (size * 1024 * 1024))

    answer = send(phone, job, "collar-staged", {"place": "left of the meter", "photo": photo})

    page = text(answer)
    assert answer.status_code == 422
    assert says in page
    assert typed(page, "place") == "left of the meter"
    assert not Document.objects.filter(job=job).exists()


def test_photos_go_by_subject_each_once_upright_and_without_their_position(phone, job):
    picture, out = Image.new("RGB", (40, 20), "grey"), io.BytesIO()
    exif = picture.getexif()
    exif[0x8825] = {1: "N", 2: (39.0, 44.0, 21.0)}
    picture.save(out, "JPEG", exif=exif)
    sent: dict[str, Any] = {"key": "a photo"}

    for _ in range(2):
        assert send(phone, job, "photos", {"panel": SimpleUploadedFile("panel.jpg", out.getvalue())}, **sent).status_code == 200

    (document,) = Document.objects.filter(job=job)
    assert (document.subject, document.taken_on, document.added_by) == ("main panel", TODAY, "Joel Amadi")
    with Image.open(io.BytesIO(files.read(document.file))) as kept:
        assert not kept.getexif()
    page = text(phone.get(reverse("crew_form", kwargs={"code": job.code})))
    assert "<td>Wednesday, November 18</td><td>Joel Amadi</td>" in page


def test_a_staged_collars_photo_is_said_to_be_kept_and_not_by_its_number(phone, job):
    seal(phone, job)

    page = text(send(phone, job, "collar-staged", {"place": "by the gate", "photo": SimpleUploadedFile("bag.png", PNG)}))

    assert "<dd>kept</dd>" in page
    assert str(Document.objects.get(job=job).uid) not in page


def test_a_waiting_version_keeps_its_photo_and_records_it_when_chosen(phone, dana, job):
    seal(phone, job)
    saw = seen(job, k.COLLAR_STAGED)
    put(job, k.COLLAR_STAGED, on=DAY_ONE, value={"reason": "no bag left"}, by=dana)

    answer = send(phone, job, "collar-staged", {"place": "by the gate", "photo": SimpleUploadedFile("bag.png", PNG)}, seen=saw)
    assert answer.status_code == 409
    assert not Document.objects.filter(job=job).exists()
    signed_in(dana).post(reverse("crew_versions", kwargs={"uid": PhonePart.objects.get(part="collar-staged").uid}), {"keep": "phone"})

    assert Document.objects.get(job=job).subject == "collar staged"
    assert standing(job, k.COLLAR_STAGED)[-1].value["place"] == "by the gate"


def test_without_script_a_part_is_sent_like_any_form(phone, job):
    seal(phone, job)

    refused = send(phone, job, "commissioned", COMMISSIONED | {"reserve_percent": "a lot"}, alone=False)
    done = send(phone, job, "commissioned", COMMISSIONED, alone=False)

    assert refused.status_code == 422
    assert "<html" in text(refused)
    assert typed(text(refused), "reserve_percent") == "a lot"
    assert done.status_code == 302
    assert done.headers["Location"].endswith("#part-commissioned")
    assert "Commissioned grid-tied: Recorded." in text(phone.get(done.headers["Location"]))


def test_a_phone_learns_who_is_signed_in_and_gets_a_token(phone, joel):
    told = phone.get(reverse("crew_hello")).json()

    assert told["user"] == str(user_of(joel).uid)
    assert len(told["token"]) == 64


# Two languages


def test_every_word_of_every_part_has_its_spanish(job):
    unknown = set()
    for part in PARTS:
        form = crewform.form_of(part, job)
        texts = [part.spec.title, part.spec.button]
        for field in form.fields.values():
            if not field.widget.is_hidden:
                texts += [str(field.label or ""), str(field.help_text), *(str(said) for _, said in getattr(field, "choices", []))]
        # A figure, a name of a standard or of a kind of network is the same in both.
        unknown |= {text for text in texts if re.search("[a-z]{2}", text) and crew_es.said(text) == text and text not in crew_es.LABELS}

    assert unknown == set()


def test_the_page_speaks_spanish_to_who_speaks_it(crew, job):
    rosa = make_user("crew", "Rosa Lind", languages=["es"])
    CrewMember.objects.create(crew=crew, user=rosa, from_on=dt.date(2026, 1, 1))

    page = text(signed_in(person(rosa)).get(reverse("crew_form", kwargs={"code": job.code})))

    assert '<html lang="es">' in page
    assert "El sello de la compañía eléctrica en el medidor" in page
    assert "PELIGRO" in page
    assert "falta: la fecha de la puesta en marcha" in page
    assert "Send what is filled in" not in page


def test_every_fault_that_the_check_can_name_is_said_in_spanish():
    english = []
    for condition in conditions():
        off = ctcheck.Reading(400, 400)

        def step(load: Load, condition=condition, off=off) -> ctcheck.StepTest:
            rise = signature(condition, load=load, load_w=1700, service=Service.SPLIT_120_240)
            return ctcheck.StepTest(off, ctcheck.Reading(400 + round(rise.a_w), 400 + round(rise.b_w)), off, load_w=1700)

        verdict = ctcheck.check(ctcheck.TwoSteps(step(Load.LEG_A), step(Load.LEG_B)))
        english += [one for one in (verdict.cause, verdict.next_test) if one and verdicts_es.in_spanish(one) is None]

    assert english == []


def test_a_sentence_with_a_part_that_has_no_spanish_stays_whole_in_english():
    assert verdicts_es.in_spanish("CT A is reversed and the moon is full") is None
    assert verdicts_es.in_spanish("CT A is reversed.") == "El CT A está al revés."


@pytest.mark.parametrize("text", ["", "a|b", "a|b|yes|no|perhaps", "a|b|yes|no|yes|no"])
def test_what_no_page_of_ours_saw_is_no_seen(text):
    assert crewform.Seen.read(text) is None


def test_a_choice_is_refused_by_the_act_once_it_was_made(dana, job):
    row = two_versions(job)
    phoneparts.choose(row, phones=False, by=dana)

    with pytest.raises(Refused, match="has chosen meanwhile"):
        phoneparts.choose(row, phones=True, given=GIVEN, by=dana)
