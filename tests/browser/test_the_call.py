"""A whole call before a real browser: a page loaded anew in the middle of the island test, a connection and a line that are lost, and a
home left in island mode for sixteen minutes, which then stands first on Today.
"""

from __future__ import annotations

import datetime as dt
import re

import pytest
import time_machine
from playwright.sync_api import Page, expect

from jobs.appointments import callsteps, verification
from jobs.appointments.models import Press, VerificationRecord
from jobs.core import rights
from jobs.core.actors import person
from jobs.core.states import S
from tests.appointments.homes import TODAY, booked, led, ready_job
from tests.browser.conftest import Office
from tests.make import SYSTEM, make_user

pytestmark = [pytest.mark.needs_browser, pytest.mark.django_db(transaction=True)]


def see(page: Page, what: str, *, watts: str = "", press: str = "Seen now") -> None:
    row = page.get_by_role("row", name=re.compile(f"^{what}"))
    if watts:
        row.get_by_label("Watts").fill(watts)
    with page.expect_navigation():
        page.get_by_role("button", name=about(press, what)).click()


def about(press: str, what: str) -> re.Pattern[str]:
    """What a button does and, for ears only, with what."""
    return re.compile(f"^{re.escape(press)} ?: {re.escape(what)}$")


def test_a_call_outlives_a_reload_a_lost_connection_and_a_lost_line(office: Office):
    mara = make_user(rights.VERIFIER, "Mara Quist")
    call = booked(SYSTEM, verifier=mara, job=ready_job(), confirmed=True, wish=_noon())
    page = office.sign_in(mara)
    address = f"{office.url}/calls/{call.uid}/"
    page.goto(address)
    page.get_by_role("button", name="Begin the call").click()
    for _ in callsteps.CAUTIONS:
        with page.expect_navigation():
            page.get_by_role("button", name=re.compile("^Heard and understood")).first.click()
    for check in callsteps.CHECKS:
        asked = page.get_by_role("row").filter(has=page.get_by_text(check.title, exact=True))
        asked.get_by_role("radio", name=next(answer.words for answer in check.answers if answer.safe), exact=True).check()
        with page.expect_navigation():
            page.get_by_role("button", name=about("Record answer", check.title)).click()
    for label, typed in {
        "Load on the backed-up panel, such as the refrigerator": "refrigerator",
        "State of charge, %": "82", "Load, W": "640", "Battery, W": "0", "PV, W": "410", "Utility, W": "230",
    }.items():  # fmt: skip
        page.get_by_label(label, exact=True).fill(typed)
    with page.expect_navigation():
        page.get_by_role("button", name="Record readings").click()
    see(page, "MID reported open")
    expect(page.get_by_text("In island mode since")).to_be_visible()
    running = page.locator("[data-running]")
    first = running.inner_text()
    expect(running).not_to_have_text(first)

    # Loaded anew in the middle of it: all is there, and nothing twice.
    page.reload()
    see(page, "Utility power", watts="4")
    assert list(Press.objects.filter(what__in=["mid_open", "utility_power"]).values_list("what", flat=True)) == [
        "mid_open",
        "utility_power",
    ]

    # The connection goes just as a sighting is pressed; back, what was typed is there, and pressed again it is there once.
    row = page.get_by_role("row", name=re.compile("^Load served"))
    row.get_by_label("Watts").fill("640")
    page.context.set_offline(True)
    page.get_by_role("button", name=about("Seen now", "Load served")).click()
    page.wait_for_url("chrome-error://**")
    page.context.set_offline(False)
    page.goto(address)
    expect(page.get_by_text("In island mode since")).to_be_visible()
    assert not Press.objects.filter(what="load_served").exists()
    see(page, "Load served", watts="640")
    assert Press.objects.filter(what="load_served").count() == 1

    # The telephone's line goes: the page begins with the home's number.
    with page.expect_navigation():
        page.get_by_role("button", name="The line was lost").click()
    lead = page.locator("#now .waiting").first
    expect(lead).to_contain_text("Telephone the home: (303) 555-")
    with page.expect_navigation():
        page.get_by_role("button", name="The line is back").click()
    see(page, "Return begun")
    expect(page.get_by_text("The return is expected by")).to_be_visible()
    see(page, "Not yet returned", press="Not yet")
    see(page, "Return seen")
    see(page, "Import or export as usual", watts="230")
    page.get_by_role("group", name=re.compile("^Reserve and mode put back")).get_by_role("radio", name="Yes").check()
    with page.expect_navigation():
        page.get_by_role("button", name="Record as passed").click()
    expect(page.get_by_text("a return visit was avoided")).to_be_visible()

    call.job.refresh_from_db()
    assert call.job.state == S.BACKUP_VERIFIED
    assert VerificationRecord.objects.get().result == "passed"


def _noon():
    from jobs.appointments.times import Wish

    return Wish(TODAY, dt.time(12))


@pytest.mark.parametrize("role", [rights.SCHEDULER, rights.MANAGER])
def test_a_home_left_in_island_mode_for_sixteen_minutes_stands_first_on_today(office: Office, role: str):
    mara = person(make_user(rights.VERIFIER, "Mara Quist"))
    call = led(mara)
    verification.see(call, what="mid_open", by=mara)
    opened = call.presses.get(what="mid_open").at

    with time_machine.travel(opened + dt.timedelta(minutes=16), tick=True):
        page = office.sign_in(make_user(role, "Theo Lindgren"))
        first = page.locator("main section.section").first

        expect(first.get_by_role("heading", level=2)).to_have_text("In island mode, 15 minutes without a press or the line lost")
        expect(first.get_by_text("16 minutes ago")).to_be_visible()
        first.get_by_role("link", name=re.compile("^Telephone the home first")).click()

        expect(page.get_by_role("heading", level=1)).to_contain_text(call.job.homeowner)
        expect(page.get_by_text("What to ask, in this order")).to_be_visible()
