"""A real browser in front of a real server on the test database."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Generator, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Error, Page, Playwright, expect, sync_playwright

from jobs.core.models import User
from tests.browser import driver
from tests.make import PASSWORD

# Playwright keeps an event loop in this thread, in which Django would refuse the database.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"

_LONGEST = 15_000  # milliseconds that a page may take on a machine that is busy with other tests
_failed = pytest.StashKey[bool]()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if report.when == "call":
        item.stash[_failed] = report.failed
    return report


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    with sync_playwright() as playwright:
        expect.set_options(timeout=_LONGEST)
        yield playwright


@pytest.fixture
def browser(playwright: Playwright) -> Iterator[Browser]:
    """One for each test: it starts in a second, and if it dies it takes no other test along."""
    browser = driver.launch(playwright)
    yield browser
    browser.close()


class Office:
    """The server's address and the windows of the people before it; each person has their own."""

    def __init__(self, browser: Browser, url: str) -> None:
        self.browser = browser
        self.url = url
        self.windows: dict[str, Page] = {}
        self.faults: list[str] = []

    def window(self, name: str, *, locale: str = driver.LOCALE, zone: str = driver.ZONE) -> Page:
        """A window of somebody who has not signed in."""
        context = self.browser.new_context(locale=locale, timezone_id=zone, viewport={"width": 1366, "height": 900})
        page = context.new_page()
        page.set_default_timeout(_LONGEST)
        page.on("pageerror", lambda fault: self.faults.append(f"{name}: {fault}"))
        page.on("console", lambda line: self._console(name, line))
        self.windows[name] = page
        return page

    def _console(self, name: str, line: ConsoleMessage) -> None:
        # A refusal (422) is printed as an error too, and is none.
        if line.type == "error" and "Failed to load resource" not in line.text:
            self.faults.append(f"{name}: {line.text}")

    def sign_in(self, user: User) -> Page:
        page = self.window(user.name)
        driver.sign_in(page, url=self.url, email=user.email, password=PASSWORD)
        return page


@pytest.fixture
def office(browser: Browser, live_server, settings, request: pytest.FixtureRequest) -> Iterator[Office]:
    # The links in messages lead to where the server answers.
    settings.BASE_URL = live_server.url
    office = Office(browser, live_server.url)
    yield office
    if request.node.stash.get(_failed, False):
        _keep_pictures(office, request.node.name)
    for page in office.windows.values():
        page.context.close()
    assert not office.faults, office.faults


def _keep_pictures(office: Office, test: str) -> None:
    folder = Path(tempfile.mkdtemp(prefix=f"{test}-"))
    for name, page in office.windows.items():
        try:
            page.screenshot(path=folder / f"{name}.png", full_page=True)
        except Error as fault:
            print(f"no picture of {name}: {fault}")  # noqa: T201
    print(f"Pictures of what stood there: {folder}")  # noqa: T201


@pytest.fixture
def sign_in(office: Office) -> Callable[[User], Page]:
    return office.sign_in
