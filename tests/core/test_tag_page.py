"""The public page behind a bag tag: it holds nothing of the home, and what is told there is a proposal that can be told a hundred times."""

from __future__ import annotations

import datetime as dt
import io

import pytest
import zxingcpp
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from jobs.core import actors, clock, dayone, secrets, tags
from jobs.core.models import BagReport, BagTag, Fact, Trace
from jobs.core.refusals import OutOfSight, Refused
from jobs.core.states import S
from tests.core.test_bag_tag import picture_of
from tests.make import SYSTEM, make_job, serial_of
from tests.utilities.made import make_request, make_service, make_utility
from utilities import attention_papers

pytestmark = pytest.mark.django_db


def a_tag(**fields) -> BagTag:
    return tags.make_tag(make_job(S.AWAITING_UTILITY, **fields), by=SYSTEM)


def address(token: str) -> str:
    return reverse("tag_page", args=[token])


def test_the_token_stands_on_the_paper_only():
    tag = a_tag()

    assert len(tag.token) == 16
    kept = BagTag.objects.get(pk=tag.pk)
    assert kept.token == ""
    assert kept.token_hash == tags.hash_of(tag.token)
    assert tags.opened(tag.token.lower()) == tag  # as it may be typed
    assert not Trace.objects.filter(on__contains=tag.token).exists()


def test_a_token_changed_by_one_letter_opens_nothing(client: Client):
    tag = a_tag()
    other = ("3" if tag.token[5] != "3" else "4").join([tag.token[:5], tag.token[6:]])

    answer = client.get(address(other))

    assert answer.status_code == 404
    assert "This tag is not known" in answer.content.decode()
    assert client.post(address(other), {"what": "fitted"}).status_code == 404
    assert not BagReport.objects.exists()


def test_the_page_holds_nothing_of_the_home_its_people_or_its_request(client: Client):
    # Marked data in every place from which a page could take it.
    job = make_job(
        S.GRID_TIED, owner="Markedname Zebrawood", street="7719 Markedstreet Lane", contractor_number="MARKED-NUMBER", language="es"
    )
    job.site.unit, job.site.postal_code, job.site.access_note, job.site.city = "MARKEDUNIT", "80999", "MARKED dog", "Markedcity"
    job.site.save()
    secrets.keep_code(job, name="gate", code="90417", by=SYSTEM)
    utility = make_utility("Markedutility Light", emergency_phone="+13035550199")
    request = make_request(make_service(job, utility=utility, meter_number="MARKEDMETER", account_number="MARKEDACCOUNT"))
    tag = tags.make_tag(job, by=SYSTEM)

    pages = [client.get(address(tag.token), {"lang": lang}).content.decode() for lang in ("en", "es")]
    pages.append(client.post(address(tag.token), {"what": ""}).content.decode())
    pages.append(client.post(address(tag.token), {"what": "fitted"}, follow=True).content.decode())

    owner = job.parties.get(role="owner").person
    marked = ["Marked", "MARKED", "Zebrawood", "80999", "90417", job.code, request.code, serial_of(job), owner.email, "555-0142", "5550142",
              "555-0199", str(job.uid), str(request.uid)]  # fmt: skip
    for page in pages:
        assert [data for data in marked if data in page] == []
    assert "Your own utility&#x27;s rules come first." in pages[0]


def test_what_is_told_is_a_proposal_on_today_and_never_a_fact(client: Client, theo):
    job = make_job(S.GRID_TIED)
    make_request(make_service(job))
    tag = tags.make_tag(job, by=SYSTEM)
    facts = Fact.objects.count()

    answer = client.post(address(tag.token), {"what": "fitted", "order_number": "WO 17"}, follow=True)

    assert "You told us: It is fitted." in answer.content.decode()
    job.refresh_from_db()
    assert (job.state, Fact.objects.count()) == (S.AWAITING_UTILITY, facts)
    assert theo.user is not None
    (section,) = [one for one in attention_papers.sections(theo.user) if one.name == "bag_reports"]
    assert [row.cells for row in section.rows] == [("fitted", "whoever read the tag")]

    tags.settle_report(BagReport.objects.get(), how="recorded as fitted", by=theo)
    assert not BagReport.objects.waiting().exists()


def test_a_stranger_who_tells_a_hundred_times_leaves_one_report_and_one_trace(client: Client):
    tag = a_tag()

    answers = [client.post(address(tag.token), {"what": "not found"}) for _ in range(100)]

    assert {answer.status_code for answer in answers} == {302}
    assert BagReport.objects.count() == 1
    assert Trace.objects.filter(act="jobs.core.tags.tell").count() == 1


def test_a_tag_that_tells_too_often_is_asked_to_telephone_and_may_again_later(client: Client, theo):
    tag = a_tag()
    for _ in range(tags.MOST_AN_HOUR):
        client.post(address(tag.token), {"what": "fitted"})
        tags.settle_report(BagReport.objects.waiting().get(), how="set aside: nobody was there", by=theo)

    answer = client.post(address(tag.token), {"what": "fitted"})
    assert answer.status_code == 429
    assert "Please telephone the number printed on it." in answer.content.decode()
    assert not BagReport.objects.waiting().exists()

    with clock.pretend(clock.now() + dt.timedelta(hours=1, minutes=1)):
        assert client.post(address(tag.token), {"what": "fitted"}).status_code == 302


def test_a_renewed_or_swapped_tag_is_out_of_use_and_says_so(client: Client, theo):
    job = make_job(S.AWAITING_UTILITY)
    first, second = tags.make_tag(job, by=theo), tags.make_tag(job, by=theo)
    assert client.get(address(first.token)).status_code == 200  # one that hangs already goes on

    third = tags.make_tag(job, end_older=True, by=theo)
    for gone in (first, second):
        assert client.get(address(gone.token)).status_code == 410
    assert client.get(address(third.token)).status_code == 200

    dayone.record_collar_registered(job, on=dt.date(2026, 11, 18), serial="LL-888888", by=theo)
    answer = client.get(address(third.token))
    assert answer.status_code == 410
    assert "out of use" in answer.content.decode()
    with pytest.raises(Refused, match="out of use"):
        tags.tell(BagTag.objects.get(pk=third.pk), what="fitted", by=SYSTEM)


def test_a_tag_may_tell_of_its_own_home_only():
    mine, other = a_tag(), a_tag()
    by = actors.at_the_bag(mine)

    assert by.may("core.tell_by_tag")
    assert not by.may("core.record_requests")
    with pytest.raises(OutOfSight):
        tags.tell(other, what="fitted", by=by)


def test_printing_gives_a_page_that_carries_the_new_code(theo):
    job = make_job(S.AWAITING_UTILITY)
    client = Client()
    assert theo.user is not None
    client.force_login(theo.user, backend="django.contrib.auth.backends.ModelBackend")

    answer = client.post(reverse("bag_tag", args=[job.code]), {"size": "one", "older": "keep"})

    assert answer["Content-Type"] == "application/pdf"
    (read,) = zxingcpp.read_barcodes(picture_of(answer.content))
    token = read.text.rstrip("/").rpartition("/")[2]
    assert tags.opened(token) == BagTag.objects.get(job=job)
    text = PdfReader(io.BytesIO(answer.content)).pages[0].extract_text()
    assert job.homeowner not in text
    assert theo.name not in text


def test_the_office_is_led_from_a_report_to_the_record_that_it_would_be(client: Client, theo):
    job = make_job(S.GRID_TIED)
    request = make_request(make_service(job))
    tag = tags.make_tag(job, by=SYSTEM)
    assert theo.user is not None
    client.force_login(theo.user, backend="django.contrib.auth.backends.ModelBackend")

    for what, ways in (("fitted", ("request_reported", "request_fitted")), ("could not get in", ("request_visit",))):
        report = tags.tell(tag, what=what, by=SYSTEM)
        page = client.get(reverse("bag_report", kwargs={"uid": report.uid})).content.decode()
        for way in ways:
            assert reverse(way, kwargs={"uid": request.uid}) in page
        assert client.post(reverse("bag_report", kwargs={"uid": report.uid}), {"how": ""}).status_code == 422
        client.post(reverse("bag_report", kwargs={"uid": report.uid}), {"how": "recorded"})

    assert not BagReport.objects.waiting().exists()
