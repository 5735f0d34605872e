"""The whole way in a real browser, as five people and a homeowner: from a spreadsheet to a paid final invoice.

Set up by hand are the people, two utilities with their history, and the verifier's hours. All else is done on pages. No worker runs
here: where a worker's turn has come, the test calls the task's function.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.core.management import call_command
from playwright.sync_api import Page, expect

from jobs.appointments import callsteps
from jobs.core import rights, tasks
from jobs.core.models import Crew, CrewMember, ImportRun, User
from jobs.core.recordings import RECORDINGS
from jobs.notices import tasks as notice_tasks
from tests.appointments.homes import give_hours
from tests.browser.conftest import Office
from tests.homelist import HOMES, MENDED, OTTERMERE
from tests.make import PNG, make_user
from tests.utilities.made import make_past, make_utility
from utilities import tasks as forecast_tasks

pytestmark = [pytest.mark.needs_browser, pytest.mark.django_db(transaction=True)]

DENVER = ZoneInfo("America/Denver")
STREET = "6 Larch Terrace"  # the home that goes the whole way
OWNER = "Carol-Anne Beauregard"
SERIAL = "LC-30003"


@pytest.fixture
def people() -> dict[str, User]:
    """Five people, the crew's own crew, two utilities and the hours of the verifier."""
    people = {
        "dana": make_user(rights.MANAGER, "Dana Ruiz"),
        "theo": make_user(rights.SCHEDULER, "Theo Lindgren"),
        "farida": make_user(rights.FINANCE, "Farida Novak"),
        "mara": make_user(rights.VERIFIER, "Mara Quist", languages=["en", "es"]),
        "joel": make_user(rights.CREW, "Joel Amadi"),
    }
    crew = Crew.objects.create(name="North crew")
    CrewMember.objects.create(crew=crew, user=people["joel"], from_on=dt.date(2026, 1, 1))
    for name in (OTTERMERE, "Sable Fork Electric Cooperative"):
        utility = make_utility(name)
        for n in range(12):
            make_past(utility, filed_on=dt.date(2025, 9, 1) + dt.timedelta(days=20 * n), waited=60 + 9 * n)
    give_hours(people["mara"])
    return people


@pytest.fixture(autouse=True)
def _no_worker(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the sweep finds is delivered in its own turn, as a worker does it."""
    monkeypatch.setattr(notice_tasks.send_notice, "delay", notice_tasks.send_notice)


class Story:
    """Who sits before the browser, on which day."""

    def __init__(self, office: Office, people: dict[str, User]) -> None:
        self.office = office
        self.people = people
        self.pages: dict[str, Page] = {}

    @contextmanager
    def day(self, *local: int) -> Iterator[time_machine.Traveller]:
        """A day in the office, by the clock in Denver. Everybody signs in anew: no session lives through a night."""
        with time_machine.travel(dt.datetime(*local, tzinfo=DENVER), tick=True) as clock:  # type: ignore[arg-type, misc]
            yield clock
        for page in self.pages.values():
            page.context.close()
        self.pages.clear()
        self.office.windows.clear()

    def at(self, who: str) -> Page:
        """This person's window."""
        if who not in self.pages:
            self.pages[who] = self.office.sign_in(self.people[who])
        return self.pages[who]

    def home(self, who: str) -> Page:
        """This person finds the home by its street; one hit opens."""
        page = self.at(who)
        page.get_by_role("searchbox").fill(STREET)
        page.get_by_role("button", name="Find").click()
        expect(page.get_by_role("heading", level=1)).to_have_text(OWNER)
        return page


def choose(page: Page, act: str) -> None:
    """An act of the job page: it stands open, or under "Record something else"."""
    link = page.get_by_role("link", name=act, exact=True)
    if not link.first.is_visible():
        page.get_by_text("Record something else").click()
    link.first.click()


def record(page: Page, what: str, typed: dict[str, str], more: Callable[[], object] = lambda: None) -> None:
    """One thing about the home, by its link on the job page and its form. what: its name in the address."""
    spec = RECORDINGS[what]
    choose(page, f"Record {spec.title[:1].lower()}{spec.title[1:]}")
    expect(page.get_by_role("heading", level=1)).to_have_text(spec.title)
    fill(page, typed)
    more()
    press(page, spec.button)
    said(page, "on record for job")


def fill(page: Page, typed: dict[str, str]) -> None:
    for label, text in typed.items():
        page.get_by_label(label, exact=True).fill(text)


def press(page: Page, button: str) -> None:
    page.get_by_role("button", name=button, exact=True).click()


def press_about(page: Page, button: str, what: str) -> None:
    """A button that many rows have; its name says for the ear which one it is."""
    page.get_by_role("button", name=re.compile(rf"^{button}\s?: {re.escape(what)}$")).click()


def said(page: Page, words: str | re.Pattern[str]) -> None:
    """The Recorded box says it."""
    expect(page.get_by_role("status").filter(has_text=words).first).to_be_visible()


def day_of(local: dt.date) -> str:
    return f"{local.day} {local:%b %Y}"


def bring_in(page: Page, file: str | dict[str, object], *, ready: str) -> None:
    page.get_by_role("link", name="Imports", exact=True).click()
    page.get_by_label("Homes", exact=False).check()
    page.get_by_label("File", exact=True).set_input_files(file)  # type: ignore[arg-type]
    press(page, "Check this file")
    expect(page.get_by_text(ready)).to_be_visible()


def worked(page: Page, result: str) -> None:
    """The worker's turn; then the page brings the result by itself."""
    expect(page.get_by_text("rows applied")).to_be_visible()
    tasks.apply_import(ImportRun.objects.latest("pk").pk)
    expect(page.get_by_text("Applied.")).to_be_visible()
    expect(page.locator("dl.figures").get_by_text(result, exact=True)).to_be_visible()


def test_from_a_spreadsheet_row_to_a_paid_final_invoice(office, people, tmp_path, capsys):
    story = Story(office, people)
    with story.day(2026, 11, 18, 10, 0):
        bring_in_twenty_homes(story, tmp_path)
        nothing_was_sent_or_earned_twice(story)
        plan_the_home(story)
        record_day_one(story, tmp_path)
        send_the_request(story)
        release_first_invoice(story)
    with story.day(2026, 11, 20, 9, 30) as clock:
        record_fitting_and_what_readiness_needs(story)
        offer_a_call(story)
        link = link_of_the_offer(story, clock)
        starts_at = confirm_by_link(story, link)
    with story.day(*starts_at):
        hold_the_call(story)
        release_final_invoice_and_record_payments(story)
        expect(story.home("dana").get_by_text("Backup verified 23 November 2026")).to_be_visible()
        expect(story.at("dana").get_by_text("Nothing is owed")).to_be_visible()
    call_command("reconcile")
    assert "Everything holds." in capsys.readouterr().out


def bring_in_twenty_homes(story: Story, folder: Path) -> None:
    page = story.at("dana")
    bring_in(page, str(HOMES), ready="17 rows are ready, 3 need correcting.")
    # Twelve of the homes are half done; their thirteen milestones are opening balances, and the three bad rows' are not among them.
    expect(page.get_by_text("0 messages will be sent, 0 invoices drafted, 13 opening balances")).to_be_visible()
    with page.expect_download() as saved:
        page.get_by_role("link", name="Save all 3 with remarks as CSV").click()
    wrong = folder / "to-correct.csv"
    saved.value.save_as(wrong)
    press(page, "Apply the 17 good rows")
    worked(page, "17")

    text = wrong.read_text(encoding="utf-8")
    for bad, good in MENDED:
        assert bad in text or good in text
        text = text.replace(bad, good)
    mended = folder / "corrected.csv"
    mended.write_text(text, encoding="utf-8")
    bring_in(page, str(mended), ready="Three rows are ready, 0 need correcting.")
    press(page, "Apply 3 rows")
    worked(page, "3")

    bring_in(page, str(HOMES), ready="17 rows are ready, 3 need correcting.")
    expect(page.get_by_text("0 new, 0 changed, 17 unchanged.")).to_be_visible()
    press(page, "Drop this import")


def nothing_was_sent_or_earned_twice(story: Story) -> None:
    page = story.at("dana")
    page.get_by_role("link", name="Jobs", exact=True).click()
    expect(page.locator(".m .big").first).to_have_text("17")  # open ones; the backup of three is verified
    page.get_by_label(re.compile("^State")).select_option("backup verified")
    page.get_by_role("button", name="Show").click()
    expect(page.locator(".m .big").first).to_have_text("3")
    page.get_by_role("link", name="Notices", exact=True).click()
    expect(page.locator(".m .big").first).to_have_text("0")
    page.get_by_role("link", name="Invoices", exact=True).click()
    expect(page.locator(".m .big").first).to_have_text("0")


def plan_the_home(story: Story) -> None:
    """Finance changes the plan that the list brought; the scheduler names the crew."""
    page = story.home("farida")
    choose(page, "Contract and milestones")
    fill(page, {"Contract's price": "$43,460.00"})
    for number, share in ((1, "75"), (2, "25")):
        page.get_by_role("group", name=f"Milestone {number}", exact=True).get_by_label("Share in per cent").fill(share)
    press(page, "Record the plan")
    said(page, re.compile("Recorded"))

    page = story.home("theo")
    record(page, "assign", {"Install day (optional)": "18 Nov 2026"}, more=lambda: page.get_by_label("Crew").select_option("North crew"))


def record_day_one(story: Story, folder: Path) -> None:
    photo = folder / "bag.png"
    photo.write_bytes(PNG)
    page = story.home("joel")
    today = {"Day at the home": "18 Nov 2026"}

    record(page, "installed", today, more=lambda: check(page, "intact"))
    record(page, "commissioned", today, more=lambda: check(page, "intact", "grid-tied, no backup", "Wi-Fi"))
    record(page, "ct-check", today, more=lambda: type_readings(page))
    expect(page.get_by_role("heading", level=1)).to_have_text("Consumption-CT check: consistent")
    page.get_by_role("link", name="Back to the job").click()
    record(page, "collar-registered", today | {"Serial of the collar": SERIAL})
    record(
        page,
        "collar-staged",
        today | {"Where the bag hangs (optional)": "left of the meter, at eye height"},
        more=lambda: sealed_with_photo(page, photo),
    )
    record(page, "sheet-given", today | {"Given to (optional)": OWNER})
    expect(page).to_have_title(re.compile("grid-tied complete"))


def sealed_with_photo(page: Page, photo: Path) -> None:
    check(page, "intact")
    page.get_by_label("Photo of the bag").set_input_files(str(photo))


def check(page: Page, *radios: str) -> None:
    for name in radios:
        page.get_by_role("radio", name=name, exact=True).check()


def type_readings(page: Page) -> None:
    """1,700 W on leg A raise leg A by as much, and so on leg B: the CTs are right."""
    check(page, "intact")
    for leg in ("A", "B"):
        step = page.get_by_role("group", name=f"120 V load on leg {leg}")
        step.get_by_label(f"Known load on leg {leg}, W").fill("1700")
        for moment in ("Before", "During", "After"):
            for seen in ("A", "B"):
                loaded = moment == "During" and seen == leg
                step.get_by_label(f"{moment}, load on {leg}: leg {seen}, W").fill("2100" if loaded else "400")
            sun = step.get_by_label(f"{moment}, load on {leg}: PV, W (0 when off)")
            if sun.count():
                sun.fill("0")


def send_the_request(story: Story) -> None:
    page = story.home("theo")
    choose(page, "Record request sent")
    fill(page, {"Sent on": "18 Nov 2026", "How it was sent (optional)": "portal", "Number the utility gave it (optional)": "MR-22817"})
    press(page, "Record sending")
    said(page, "is on record as sent")
    expect(page).to_have_title(re.compile("awaiting utility"))
    forecast_tasks.refresh_stale()  # the worker's turn
    page.reload()
    expect(page.get_by_text("Half of such requests are fitted by")).to_be_visible()


def release_first_invoice(story: Story) -> None:
    release_the_draft(story, "$32,595.00")


def release_the_draft(story: Story, amount: str) -> None:
    page = story.at("farida")
    page.get_by_role("link", name="Invoices", exact=True).click()
    page.get_by_role("link", name=re.compile("^Release")).first.click()
    expect(page.get_by_text(amount).first).to_be_visible()
    page.get_by_role("button", name=re.compile("^Release")).click()
    said(page, re.compile("[Rr]eleased"))


def record_fitting_and_what_readiness_needs(story: Story) -> None:
    page = story.home("theo")
    choose(page, "Record visit")
    fill(page, {"Day of the visit": "19 Nov 2026", "If fitted: the serial on the collar (optional)": SERIAL})
    page.get_by_role("radio", name="fitted", exact=True).check()
    press(page, "Record visit")
    said(page, "on record")
    expect(page).to_have_title(re.compile("collar energized"))

    today = {"Day at the home": "20 Nov 2026"}
    record(
        page,
        "gateway-report",
        today | {"Time at the home": "09:00", "Serial as reported (optional)": SERIAL},
        more=lambda: page.get_by_label("Collar as the gateway reports it").select_option("closed"),
    )
    record(page, "communications", today | {"Time at the home": "09:05"})
    record(page, "software-updated", today | {"Version after the update (optional)": "4.2"})
    record(page, "medical-answer", today | {"Who said so": OWNER}, more=lambda: page.get_by_role("radio", name="no", exact=True).check())


def offer_a_call(story: Story) -> None:
    page = story.home("theo")
    choose(page, "Book the call")
    page.get_by_role("group", name="Free times, by the clock at the home").get_by_role("radio").last.check()
    page.get_by_role("radio", name=OWNER).check()
    page.get_by_role("radio", name=re.compile("^Nothing yet: offer it")).check()
    press(page, "Book or offer this time")
    said(page, "Offered")


def link_of_the_offer(story: Story, clock: time_machine.Traveller) -> str:
    """The scheduler reads and releases the message; it is captured, and its page shows the homeowner's link."""
    page = story.at("theo")
    page.get_by_role("link", name="Notices", exact=True).click()
    page.get_by_role("link", name=re.compile("^Read and release")).first.click()
    expect(page.get_by_text("Your home does not have backup power yet").first).to_be_visible()
    # That the collar is fitted, and that a time is offered.
    for box in page.get_by_label(f"Release this message to {OWNER}").all():
        box.check()
    press(page, "Release those marked")
    said(page, re.compile("[Rr]eleased"))
    clock.shift(dt.timedelta(minutes=2))  # the minute in which it can be taken back
    notice_tasks.sweep()
    story.home("theo").get_by_role("region", name="Conversation").get_by_role("link", name="Call offered", exact=True).click()
    expect(page.get_by_text("Captured: this message is kept")).to_be_visible()
    found = re.search(r"http://\S+/h/[^\s\"<]+", page.locator("main").inner_text())
    assert found is not None
    return found[0]


def confirm_by_link(story: Story, link: str) -> tuple[int, int, int, int, int]:
    page = story.office.window("homeowner")
    page.goto(link)
    times = page.get_by_role("group", name="Times, by the clock at your home").get_by_role("radio")
    page.get_by_role("group", name="Does anyone at home rely on powered medical equipment?").get_by_role(
        "radio", name="No", exact=True
    ).check()
    page.get_by_role("group", name="Is there an elevator, a stair lift or a platform lift at home?").get_by_role(
        "radio", name="No", exact=True
    ).check()
    kept = page.get_by_role("radio", name=re.compile("kept for you"))
    value = kept.get_attribute("value")
    assert value is not None
    assert times.count() > 1
    kept.check()
    press(page, "Book this time")
    expect(page.get_by_text("Your test is booked")).to_be_visible()
    page.context.close()
    at = dt.datetime.fromisoformat(value).astimezone(DENVER)
    return at.year, at.month, at.day, at.hour, at.minute


def hold_the_call(story: Story) -> None:
    page = story.at("mara")
    page.get_by_role("link", name="Calls", exact=True).click()
    page.get_by_role("link", name=re.compile("^Hold the call")).first.click()
    press(page, "Begin the call")
    for _ in range(5):
        page.get_by_role("button", name=re.compile("^Heard and understood")).first.click()
    expect(page.get_by_role("button", name=re.compile("^Heard and understood"))).to_have_count(0)
    for check in callsteps.CHECKS:
        asked = page.get_by_role("row").filter(has=page.get_by_text(check.title, exact=True))
        safe = next(answer.words for answer in check.answers if answer.safe)
        asked.get_by_role("radio", name=safe, exact=True).check()
        press_about(page, "Record answer", check.title)
    typed = {"State of charge, %": "82", "Load, W": "640", "Battery, W": "0", "PV, W": "410", "Utility, W": "230"}
    fill(page, {"Load on the backed-up panel, such as the refrigerator": "refrigerator"} | typed)
    press(page, "Record readings")
    expect(page.get_by_role("button", name="Record as passed")).to_be_disabled()
    press_about(page, "Seen now", "MID reported open")
    expect(page.get_by_text("In island mode since")).to_be_visible()
    page.get_by_role("row", name=re.compile("^Utility power")).get_by_label("Watts").fill("4")
    press_about(page, "Seen now", "Utility power")
    page.get_by_role("row", name=re.compile("^Load served")).get_by_label("Watts").fill("640")
    press_about(page, "Seen now", "Load served")
    press_about(page, "Seen now", "Return begun")
    press_about(page, "Seen now", "Return seen")
    page.get_by_role("row", name=re.compile("^Import or export as usual")).get_by_label("Watts").fill("230")
    press_about(page, "Seen now", "Import or export as usual")
    page.get_by_role("group", name=re.compile("^Reserve and mode put back")).get_by_role("radio", name="Yes").check()
    page.get_by_label("What the person at home said of it").fill("The lights stayed on.")
    press(page, "Record as passed")
    expect(page.get_by_text("passed").first).to_be_visible()


def release_final_invoice_and_record_payments(story: Story) -> None:
    release_the_draft(story, "$10,865.00")
    page = story.at("farida")
    pay(page, "$32,595.00", stands="Paid.")
    pay(page, "$5,000.00", stands="$5,865.00 is open")
    pay(page, "$5,865.00", stands="Paid.")


def pay(page: Page, amount: str, *, stands: str) -> None:
    """A payment of this home's owner, put to the oldest invoice that is open; and what the invoice then says of itself."""
    page.get_by_role("link", name="Payments", exact=True).click()
    page.get_by_role("link", name="Record payment", exact=True).click()
    fill(page, {"Payer, home or invoice number": OWNER})
    page.locator("main").get_by_role("button", name="Find").click()
    page.get_by_role("link", name=f"Record payment of {OWNER}").click()
    fill(page, {"Amount received": amount, "Reference (optional)": "check 1041"})
    page.locator("main table").get_by_role("row").nth(1).get_by_role("textbox").first.fill(amount)
    press(page, "Record payment")
    said(page, "Recorded")
    page.locator("main table").get_by_role("link").first.click()
    expect(page.get_by_text(stands).first).to_be_visible()
