"""A crew's phone at a meter: the network cut and restored, the page closed and reopened between. Nothing lost, nothing twice."""

from __future__ import annotations

import datetime as dt
import io
import urllib.parse
from collections.abc import Iterator

import pytest
from PIL import Image
from playwright.sync_api import BrowserContext, ConsoleMessage, FilePayload, Page, ViewportSize, expect

from jobs.core import files
from jobs.core import kinds as k
from jobs.core.models import Crew, CrewMember, Document, Fact, Job, PhonePart, User
from jobs.core.models.phone import Outcome
from tests.browser import driver
from tests.browser.wire import Wire, wire
from tests.make import PASSWORD, make_job, make_user, put

pytestmark = [pytest.mark.needs_browser, pytest.mark.django_db(transaction=True)]

TODAY = dt.date(2026, 11, 18)  # at the server; the phone's own clock is another, so its day is typed
PHONE = ViewportSize(width=390, height=844)


@pytest.fixture
def cable(live_server) -> Iterator[Wire]:
    with wire(urllib.parse.urlsplit(live_server.url).port) as made:
        yield made


@pytest.fixture
def joel(db) -> User:
    return make_user("crew", "Joel Amadi")


@pytest.fixture
def job(joel: User) -> Job:
    crew = Crew.objects.create(name="North crew")
    CrewMember.objects.create(crew=crew, user=joel, from_on=dt.date(2026, 1, 1))
    return make_job(crew=crew, install_on=TODAY)


@pytest.fixture
def phone(browser) -> Iterator[BrowserContext]:
    context = browser.new_context(locale="en-US", timezone_id="America/Denver", viewport=PHONE, has_touch=True, is_mobile=True)
    context.set_default_timeout(15_000)
    faults: list[str] = []
    context.on("weberror", lambda fault: faults.append(str(fault.error)))
    context.on("console", lambda line: faults.append(line.text) if is_fault(line) else None)
    context.clock.set_fixed_time(dt.datetime(2026, 11, 18, 18, 0, tzinfo=dt.UTC))
    yield context
    context.close()
    assert not faults, faults


def is_fault(line: ConsoleMessage) -> bool:
    """A wire that is cut, and a refusal, are printed as errors too."""
    return line.type == "error" and "Failed to load resource" not in line.text and "net::ERR_" not in line.text


def sign_in(context: BrowserContext, cable: Wire, user: User) -> Page:
    page = context.new_page()
    driver.sign_in(page, url=cable.url, email=user.email, password=PASSWORD)
    return page


def open_form(page: Page, cable: Wire, job: Job, *, kept: bool = True) -> None:
    page.goto(f"{cable.url}/crew/{job.code}/?lang=en")
    page.locator("html[data-begun]").wait_for()
    if kept:
        expect(page.locator("#opens")).to_have_text("This page is kept on the phone and opens without reception.")


def part(page: Page, name: str):
    return page.locator(f"#part-{name}")


def send(page: Page) -> None:
    page.get_by_role("button", name="Send what is filled in").click()


def of(job: Job, kind: str) -> list[Fact]:
    return list(job.facts.standing().of_kind(kind))


def photo(name: str) -> FilePayload:
    """As large as a camera takes it, in pixels."""
    out = io.BytesIO()
    Image.new("RGB", (4000, 3000), "grey").save(out, "JPEG")
    return {"name": name, "mimeType": "image/jpeg", "buffer": out.getvalue()}


def test_nothing_is_lost_and_nothing_sent_twice_when_the_network_is_cut_and_the_page_closed(phone, cable, joel, job):
    page = sign_in(phone, cable, joel)
    open_form(page, cable, job)

    # No reception: everything typed is kept, a photo scaled and kept with it.
    cable.cut()
    part(page, "seal").get_by_label("intact").check()
    part(page, "commissioned").get_by_label("grid-tied, no backup").check()
    part(page, "commissioned").get_by_label("Wi-Fi").check()
    part(page, "commissioned").get_by_label("Reserve state of charge").fill("20")
    part(page, "collar-staged").get_by_label("Where the bag hangs").fill("left of the meter")
    part(page, "collar-staged").get_by_label("Photo of the bag").set_input_files(photo("bag.jpg"))
    at_the_field = part(page, "collar-staged").locator(".field", has_text="Photo of the bag")
    expect(at_the_field.get_by_text("Photo kept: bag.jpg.")).to_be_visible()
    send(page)
    expect(page.locator("#told")).to_have_text(
        "3 to send, kept on this phone. No reception. Nothing is lost: it is sent when reception returns."
    )
    assert not job.facts.exists()

    # Closed and opened again, still without reception: the page is there, and all that was filled in.
    page.close()
    page = phone.new_page()
    open_form(page, cable, job, kept=False)
    expect(part(page, "seal").get_by_label("intact")).to_be_checked()
    expect(part(page, "commissioned").get_by_label("Reserve state of charge")).to_have_value("20")
    expect(part(page, "collar-staged").get_by_label("Where the bag hangs")).to_have_value("left of the meter")
    expect(part(page, "collar-staged").get_by_text("Photo kept: bag.jpg.")).to_be_visible()

    # Reception returns for a moment: the first part arrives and is recorded, its answer is lost.
    cable.mend()
    cable.swallow_answers()
    send(page)
    cable.wait_for_a_lost_answer()
    expect(page.locator("#told")).to_contain_text("3 to send")
    assert [fact.value["state"] for fact in of(job, k.SEAL_SEEN)] == ["intact"]
    page.close()

    # And comes back for good: opening the page is enough.
    cable.mend()
    page = phone.new_page()
    open_form(page, cable, job)
    expect(page.locator("#told")).to_have_text("All that was filled in is sent.")
    assert len(of(job, k.SEAL_SEEN)) == len(of(job, k.COMMISSIONED)) == len(of(job, k.COLLAR_STAGED)) == 1
    assert Fact.objects.filter(job=job).count() == 3
    assert {fact.source for fact in job.facts.all()} == {"phone"}
    assert list(PhonePart.objects.values_list("outcome", flat=True)) == [Outcome.RECORDED] * 3
    document = Document.objects.get(job=job)
    with Image.open(io.BytesIO(files.read(document.file))) as kept:
        assert max(kept.size) == 2048
    expect(part(page, "seal").get_by_text("On record, Wednesday, November 18")).to_be_visible()


def test_what_is_changed_after_a_lost_answer_is_another_version_and_a_person_chooses(phone, cable, joel, job):
    put(job, k.SEAL_SEEN, on=TODAY, value={"state": "intact"})
    page = sign_in(phone, cable, joel)
    open_form(page, cable, job)
    part(page, "sheet-given").get_by_label("Given to").fill("Sam Uttley")
    cable.swallow_answers()
    send(page)
    cable.wait_for_a_lost_answer()
    expect(page.locator("#told")).to_contain_text("No reception")
    part(page, "sheet-given").get_by_label("Given to").fill("Sam and Ana Uttley")
    expect(part(page, "sheet-given").get_by_text("Kept on this phone; not sent yet.")).to_be_visible()

    cable.mend()
    send(page)

    part(page, "sheet-given").get_by_role("link", name="Look at both and choose").click()
    page.get_by_role("button", name="Record the phone's version").click()
    expect(page.get_by_text("The phone's version is recorded; the other stays in view.")).to_be_visible()
    assert [fact.value["to"] for fact in of(job, k.SHEET_GIVEN)] == ["Sam and Ana Uttley"]


def test_signed_out_while_away_the_phone_keeps_all_for_its_own_person(phone, cable, joel, job):
    page = sign_in(phone, cable, joel)
    open_form(page, cable, job)
    cable.cut()
    part(page, "seal").get_by_label("broken").check()
    part(page, "seal").get_by_label("What was seen").fill("cut through")
    send(page)
    expect(page.locator("#told")).to_contain_text("No reception")
    phone.clear_cookies()
    cable.mend()

    send(page)
    expect(page.locator("#told")).to_contain_text("You are signed out. Nothing is lost")

    ruth = make_user("operations manager", "Ruth Osei")
    other = sign_in(phone, cable, ruth)
    open_form(other, cable, job)
    expect(other.locator("#told")).to_have_text("All that was filled in is sent.")
    send(page)
    expect(page.locator("#told")).to_contain_text("Somebody else has signed in")
    assert not job.facts.exists()

    other.get_by_role("button", name="Sign out").click()
    other.get_by_label("E-mail").wait_for()
    page = sign_in(phone, cable, joel)
    open_form(page, cable, job)
    expect(page.locator("#told")).to_have_text("All that was filled in is sent.")
    (seal,) = of(job, k.SEAL_SEEN)
    assert (seal.value, seal.recorded_by) == ({"state": "broken", "remark": "cut through"}, joel)


def test_a_refused_part_keeps_what_was_typed_and_a_photo_of_a_wrong_kind_takes_nothing_along(phone, cable, joel, job, tmp_path):
    page = sign_in(phone, cable, joel)
    open_form(page, cable, job)
    note = part(page, "commissioned").get_by_label("Note")
    note.fill("the gate is stiff")
    expect(page.locator("#told")).to_have_text("1 to send, kept on this phone.")
    note.fill("")
    expect(page.locator("#told")).to_have_text("All that was filled in is sent.")
    wrong: FilePayload = {"name": "bag.heic", "mimeType": "image/heic", "buffer": b"not a picture"}
    photos = part(page, "photos")
    photos.get_by_label("Photo: main panel").set_input_files(wrong)
    expect(
        photos.locator(".field", has_text="main panel").get_by_text("“bag.heic” is not a picture that this phone can read")
    ).to_be_visible()
    with open(tmp_path / "huge.jpg", "wb") as huge:
        huge.truncate(60 * 1024 * 1024)
    photos.get_by_label("Photo: main panel").set_input_files(tmp_path / "huge.jpg")
    expect(photos.get_by_text("“huge.jpg” has 60 MB; at most 50 MB are taken.")).to_be_visible()
    photos.get_by_label("Photo: main panel").set_input_files(photo("panel.jpg"))
    expect(photos.get_by_role("row", name="main panel")).to_be_visible()
    collar = part(page, "collar-registered")
    collar.get_by_label("Serial of the collar").fill("LL/42")
    collar.get_by_role("button", name="Record registration").click()

    expect(collar.get_by_role("link", name="Serial of the collar")).to_be_visible()
    expect(collar.get_by_label("Serial of the collar")).to_have_value("LL/42")
    expect(collar.get_by_text("Not recorded. What you typed is kept")).to_be_visible()
    collar.get_by_label("Serial of the collar").fill("LL-424242")
    send(page)

    expect(collar.get_by_text("LL-424242")).to_be_visible()
    assert [fact.value["serial"] for fact in of(job, k.COLLAR_REGISTERED)] == ["LL-424242"]
    assert Document.objects.get(job=job).subject == "main panel"

    # The home was given to another crew meanwhile: the phone is told, and still has what was filled in.
    Job.objects.filter(pk=job.pk).update(crew=None)
    collar.locator("summary").click()
    collar.get_by_label("Serial of the collar").fill("LL-515151")
    send(page)
    expect(collar.get_by_text("this home is not your crew's any more")).to_be_visible()
    expect(collar.get_by_label("Serial of the collar")).to_have_value("LL-515151")
