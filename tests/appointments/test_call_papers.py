"""The verification record and hand-over sheet two on paper."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io

import pytest
from django.urls import reverse
from pypdf import PdfReader

from jobs.appointments import recordpapers, records, verification
from jobs.appointments.limits import Balance
from jobs.appointments.models import VerificationRecord
from jobs.core import cautions, cutover
from jobs.core.papers.handovertwo import sheet_two
from jobs.core.papers.verification import BOUNDS
from jobs.core.papers.verification import verification as paper
from jobs.core.refusals import Refused
from tests.appointments.homes import led
from tests.make import SYSTEM, user_of

pytestmark = pytest.mark.django_db


def text_of(data: bytes) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages).split())


@pytest.fixture
def record(mara) -> VerificationRecord:
    call = led(mara)
    cutover.record_backup_limits(call.job, on=dt.date(2026, 11, 17), entered_by="Ana", usable_wh=13_500, floor_percent=20, by=SYSTEM)
    verification.see(call, what="mid_open", by=mara)
    wrong = verification.see(call, what="utility_power", watts=420, by=mara)
    verification.correct_press(wrong, watts=4, reason="read the wrong line", by=mara)
    verification.note_balance(call, balance=Balance(410, 236, 0, 640), by=mara)
    seen_after(call, mara)
    return verification.record_result(call, result="passed", put_back="yes", statement="The lights stayed on: ¡qué bien!", by=mara)


def seen_after(call, mara) -> None:
    verification.see(call, what="load_served", watts=640, load="refrigerator", by=mara)
    verification.see(call, what="mid_closed", by=mara)
    verification.see(call, what="normal", watts=230, by=mara)


def test_the_record_says_what_was_seen_to_the_second_and_what_it_is_not(record, dana):
    records.add_to_record(record, text="The meter's number is 55 806 528.", by=dana)
    told = recordpapers.record_of(record)
    text = text_of(paper(told))

    for part in ("Passed", "Both seen together", "MID reported open", "read the wrong line", "qué bien", "55 806 528", "Left over", BOUNDS):
        assert " ".join(part.split()) in text, part
    assert record.overlap_from is not None
    assert f"{record.overlap_from - dt.timedelta(hours=7):%H:%M:%S}" in text, "by the clock in Denver, to the second"
    struck = [line for line in told.seen if line.corrected]
    assert [(line.what, line.told) for line in struck] == [("Utility power", "420\u202fW")]


def test_the_record_keeps_the_medical_answer_to_itself(record):
    told = recordpapers.record_of(record)
    assert all("edical" not in line.what for line in told.answers if not line.what.startswith("Caution"))
    assert any(line.what == "Consent" for line in told.answers)


def test_a_voided_record_says_so_first(record, dana):
    records.void_verification(record, reason="the load was on the main panel", by=dana)
    fresh = VerificationRecord.objects.get()
    assert "This record proves nothing any more: the load was on the main panel" in text_of(paper(recordpapers.record_of(fresh)))
    with pytest.raises(Refused, match="does not stand"):
        recordpapers.sheet_two_of(fresh, lang="en")


@pytest.mark.parametrize("lang", ["en", "es"])
def test_sheet_two_tells_the_home_in_its_language_with_its_cautions(record, lang):
    record.job.refresh_from_db()
    told = recordpapers.sheet_two_of(record, lang=lang)
    text = text_of(sheet_two(told))

    for name in ("medical", "battery", "run_time", "seals", "live_conductors", "house_dark", "emergency", "pumps", "deferral"):
        assert " ".join(cautions.of(name).text(lang).split()) in text, name
    assert "refrigerator" in text
    # 13,500 Wh * 62 % / 640 W = 13.08 h: a range a quarter of the load either way, 10.46 to 17.44.
    assert told.hours == pytest.approx((10.46, 17.44), abs=0.01)
    assert ("10 to 17 hours" if lang == "en" else "10 a 17 horas") in text
    assert ("18 de noviembre" if lang == "es" else "November 18") in text
    for word in ("guarantee", "garantiza", "always works", "approved"):
        assert word not in text


def test_without_limits_no_time_is_told(record):
    told = dataclasses.replace(recordpapers.sheet_two_of(_fresh(record), lang="en"), hours=None)
    text = text_of(sheet_two(told))
    assert "It depends on what runs." in text
    assert "hours from the charge" not in text


def _fresh(record: VerificationRecord) -> VerificationRecord:
    return VerificationRecord.objects.select_related("job__site", "appointment").get(pk=record.pk)


def test_both_papers_are_downloads_and_a_sheet_that_would_not_be_true_is_a_sentence(client, record, mara, dana):
    client.force_login(user_of(mara))
    pdf = client.get(reverse("verification_pdf", kwargs={"uid": record.uid}))
    assert (pdf.headers["Content-Type"], pdf.content[:5]) == ("application/pdf", b"%PDF-")
    assert "attachment" in pdf.headers["Content-Disposition"]
    sheet = reverse("sheet_two", kwargs={"uid": record.uid, "lang": "es"})
    assert client.get(sheet).content[:5] == b"%PDF-"

    records.void_verification(record, reason="another panel", by=dana)

    assert "of this home that does not stand" in client.get(sheet, follow=True).content.decode()
