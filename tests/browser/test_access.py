"""WCAG 2.2 AA, as far as a machine can see it, on the main pages with something on them."""

from __future__ import annotations

import datetime as dt

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import Page, ViewportSize

from jobs.appointments import booking
from jobs.appointments.times import Wish
from jobs.core import actors, importing, links, rights
from jobs.core.models import Crew, CrewMember, User
from jobs.core.states import S
from jobs.notices.models import Message
from tests.appointments.homes import TOMORROW, give_hours, led, person_of, ready_job
from tests.billing.made import planned_job, released
from tests.core.phone import two_versions
from tests.homelist import HOMES, utilities
from tests.make import make_job, make_user
from tests.utilities.made import make_past, make_request, make_service, make_utility
from utilities import tasks as forecast_tasks

pytestmark = [pytest.mark.needs_browser, pytest.mark.django_db(transaction=True)]

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
WIDE = ViewportSize(width=1366, height=900)
PHONE = ViewportSize(width=390, height=844)


def violations(page: Page) -> list[str]:
    """Each rule that is broken, with the first places."""
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": TAGS}, "resultTypes": ["violations"]})
    return [
        f"{page.url}: {broken['id']}, {broken['help']}: {[node['html'][:160] for node in broken['nodes'][:3]]}"
        for broken in found.response["violations"]
    ]


@pytest.fixture
def dana(db: None) -> User:
    return make_user(rights.MANAGER, "Dana Ruiz")


@pytest.fixture
def farida(db: None) -> User:
    return make_user(rights.FINANCE, "Farida Novak")


@pytest.fixture
def mara(db: None) -> User:
    return give_hours(make_user(rights.VERIFIER, "Mara Quist", languages=["en", "es"]))


def looked_at(page: Page, url: str, *paths: str) -> list[str]:
    """What is broken on these pages, wide and on a phone; folded parts are opened."""
    found = []
    for path in paths:
        page.set_viewport_size(WIDE)
        page.goto(f"{url}{path}")
        page.evaluate("document.querySelectorAll('details').forEach(fold => fold.open = true)")
        found += violations(page)
        page.set_viewport_size(PHONE)
        found += violations(page)
    return found


def test_a_picture_without_words_and_pale_grey_letters_are_found(office):
    page = office.window("anybody")
    pale = '<p style="color:#bbb;background:#fff">pale</p><img src="data:,">'
    page.set_content(f'<html lang="en"><title>A page</title><main><h1>A page</h1>{pale}</main></html>')

    found = violations(page)

    assert [rule for rule in ("color-contrast", "image-alt") if any(rule in broken for broken in found)] == ["color-contrast", "image-alt"]


def test_the_operations_managers_pages_break_no_rule(office, dana):
    utility = make_utility()
    for n in range(6):
        make_past(utility, filed_on=dt.date(2025, 9, 1) + dt.timedelta(days=20 * n), waited=60 + 9 * n)
    home = make_job(S.GRID_TIED, owner="Łukasz Wiśniewski")
    request = make_request(make_service(home, utility=utility))
    forecast_tasks.refresh_stale()
    utilities()
    run = importing.prepare("jobs", name="homes.csv", data=HOMES.read_bytes(), columns={}, by=actors.person(dana))

    found = looked_at(
        office.sign_in(dana),
        office.url,
        reverse("today"),
        reverse("jobs"),
        reverse("job", kwargs={"code": home.code}),
        reverse("utilities"),
        reverse("utility", kwargs={"uid": utility.uid}),
        reverse("requests"),
        reverse("request", kwargs={"code": request.code}),
        reverse("request_visit", kwargs={"uid": request.uid}),
        reverse("import_run", kwargs={"uid": run.uid}),
        reverse("emergency"),
        reverse("rules"),
    )

    assert found == []


def test_finances_pages_break_no_rule(office, farida):
    planned_job()  # a draft
    invoice = released(planned_job())

    found = looked_at(
        office.sign_in(farida),
        office.url,
        reverse("today"),
        reverse("invoices"),
        reverse("invoice", kwargs={"uid": invoice.uid}),
        reverse("invoices_release"),
        f"{reverse('payment_new')}?payer={invoice.payer.uid}",
        reverse("job_plan", kwargs={"code": invoice.job.code}),
    )

    assert found == []


def test_the_call_page_breaks_no_rule(office, mara):
    call = led(actors.person(mara))

    found = looked_at(office.sign_in(mara), office.url, reverse("calls"), reverse("call", kwargs={"uid": call.appointment.uid}))

    assert found == []


@pytest.mark.parametrize("lang", ["en", "es"])
def test_the_homeowners_page_and_the_message_that_leads_there_break_no_rule(office, dana, mara, lang):
    home = ready_job(language=lang)
    call = booking.offer(home, verifier=mara, wish=Wish(TOMORROW, dt.time(10)), by=actors.person(dana))
    token = links.make("call", job=home, person=person_of(home), about=str(call.uid))
    message = Message.objects.get(job=home, kind="call_offered")

    found = looked_at(office.window("homeowner"), office.url, f"{reverse('homeowner_call', args=[token])}?lang={lang}")
    found += looked_at(office.sign_in(dana), office.url, reverse("notice_release", kwargs={"uid": message.uid}))

    assert found == []


def test_signing_in_and_what_is_refused_there_break_no_rule(office):
    page = office.window("stranger")

    found = looked_at(page, office.url, reverse("sign_in"))
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("alert").wait_for()
    found += violations(page)

    assert found == []


def test_the_crews_pages_break_no_rule(office):
    joel, team = make_user(rights.CREW, "Joel Amadi"), Crew.objects.create(name="North crew")
    CrewMember.objects.create(crew=team, user=joel, from_on=dt.date(2026, 1, 1))
    job = make_job(crew=team, install_on=dt.date(2026, 11, 18))
    row = two_versions(job)
    page = office.sign_in(joel)

    assert looked_at(page, office.url, "/crew/", f"/crew/{job.code}/?lang=es", f"/crew/versions/{row.uid}/") == []
