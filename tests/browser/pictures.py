"""Pictures of every address of the URL configuration, to be looked at one by one:  python -m tests.browser.pictures OUT [--only NAME ...]

Starts the demo in an empty place, signs in by the page as the role that uses each page most, and writes for each page what a window
of 1366 and of 390 shows, and what the printer gets. OUT/index.html lists them. Ends with the count; exit status 1 if an address has
no example, the demo has none to show, or a page answered otherwise than expected.
"""

from __future__ import annotations

import argparse
import html
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from playwright.sync_api import Browser, BrowserContext, Error, Page, Playwright, Response, sync_playwright

from tests.browser import driver
from tests.browser.embedded import ROOT, Embedded, demo

if TYPE_CHECKING:
    from tests.browser.shots import File, Shot

WIDE, NARROW, HIGH = 1366, 390, 900
PAPER_PAGES = 4  # the first ones: a list of thousands of rows is the same all along
PAPER_DPI = "70"


@dataclass
class Taken:
    """One line of the index."""

    name: str
    label: str
    role: str
    address: str
    files: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)


class Album:
    def __init__(self, office: Embedded, playwright: Playwright, out: Path) -> None:
        self.office = office
        self.playwright = playwright
        self.browser: Browser = driver.launch(playwright)
        self.out = out
        self.taken: list[Taken] = []
        self._contexts: dict[str, BrowserContext] = {}

    def surviving(self, take: Callable[[], None]) -> None:
        """Hundreds of pages take minutes: where Chromium itself dies meanwhile, the page is taken once more in another."""
        try:
            take()
        except Error:
            if self.browser.is_connected():
                raise
            say("Chromium died; another goes on.")
            self.browser = driver.launch(self.playwright)
            self._contexts.clear()
            take()

    def context(self, role: str) -> BrowserContext:
        """The signed-in window of a role; a stranger's is new each time."""
        from tests.browser import demo_rows

        if role in self._contexts:
            return self._contexts[role]
        context = self.browser.new_context(locale=driver.LOCALE, timezone_id=driver.ZONE, viewport={"width": WIDE, "height": HIGH})
        if role:
            from django.conf import settings

            page = context.new_page()
            driver.sign_in(page, url=self.office.url, email=demo_rows.user(role).email, password=settings.DEMO_PASSWORD)
            page.close()
            self._contexts[role] = context
        return context

    def shoot(self, name: str, number: int, shot: Shot) -> None:
        line = self._line(name, shot)
        if line is None:
            return
        stem = _stem(name, shot.label, number)
        page = self.context(shot.role).new_page()
        said: list[str] = []
        page.on("pageerror", lambda fault: said.append(str(fault)))
        page.on("console", lambda words: said.append(words.text) if words.type == "error" and "Failed to load" not in words.text else None)
        try:
            response = self._open(page, line.address, shot)
            if response.status != shot.status:
                line.faults.append(f"answered {response.status}, expected {shot.status}")
            self._three(page, stem, line)
        except Error as fault:
            if not self.browser.is_connected():
                raise
            line.faults.append(str(fault).splitlines()[0])
        self._leave(page)
        line.remarks += said
        self.taken.append(line)

    def _leave(self, page: Page) -> None:
        if page.context in self._contexts.values():
            page.close()
        else:
            page.context.close()  # a stranger's

    def _line(self, name: str, shot: Shot | File) -> Taken | None:
        from django.urls import reverse
        from django.utils.http import urlencode

        from tests.browser.demo_rows import NotInDemo

        line = Taken(name, getattr(shot, "label", "") or getattr(shot, "why", ""), shot.role, "")
        try:
            query = urlencode(shot.query())
            line.address = f"{reverse(name, kwargs=shot.kwargs())}{'?' if query else ''}{query}"
        except NotInDemo as fault:
            line.faults.append(str(fault))
            self.taken.append(line)
            return None
        return line

    def _open(self, page: Page, address: str, shot: Shot) -> Response:
        url = self.office.url + address
        response = page.goto(url)
        assert response is not None
        # Once more: fonts that came too late for the first view stand in the cache now, as for everybody who works here.
        response = page.goto(url)
        assert response is not None
        if shot.press:
            button = page.locator("main").get_by_role("button", name=shot.press, exact=True).first
            with page.expect_response(lambda answer: answer.request.method == "POST") as pressed:
                button.click()
            page.wait_for_load_state()
            response = pressed.value
        page.evaluate("document.fonts.ready")
        return response

    def _three(self, page: Page, stem: str, line: Taken) -> None:
        self._screen(page, f"{stem}-1366.png", line)
        pdf = self.out / f"{stem}.pdf"
        page.pdf(path=pdf, prefer_css_page_size=True, print_background=True)
        line.files += self._paper(pdf, f"{stem}-paper")
        pdf.unlink()
        page.set_viewport_size({"width": NARROW, "height": 844})
        self._screen(page, f"{stem}-390.png", line)
        wide = page.evaluate("document.scrollingElement.scrollWidth")
        if wide > NARROW:
            line.remarks.append(f"at {NARROW} it is {wide} wide and scrolls sideways")
        if (heads := page.locator("h1").count()) != 1:
            line.remarks.append(f"{heads} h1")

    def _screen(self, page: Page, file: str, line: Taken) -> None:
        page.screenshot(path=self.out / file, full_page=True)
        line.files.append(file)

    def _paper(self, pdf: Path, stem: str) -> list[str]:
        subprocess.run(
            ["pdftoppm", "-r", PAPER_DPI, "-l", str(PAPER_PAGES), "-png", str(pdf), str(self.out / stem)], check=True, capture_output=True
        )
        return sorted(path.name for path in self.out.glob(f"{stem}-*.png"))

    def fetch(self, name: str, number: int, file: File) -> None:
        line = self._line(name, file)
        if line is None:
            return
        answer = self.context(file.role).request.get(self.office.url + line.address)
        kind = answer.headers.get("content-type", "")
        body = answer.body()
        line.remarks.append(f"no page: {kind}, {len(body):,} bytes")
        if not answer.ok:
            line.faults.append(f"answered {answer.status}")
        elif kind == "application/pdf":
            pdf = self.out / f"{_stem(name, '', number)}.pdf"
            pdf.write_bytes(body)
            line.files += [pdf.name, *self._paper(pdf, pdf.stem)]
        elif kind.startswith("image/"):
            picture = self.out / f"{_stem(name, '', number)}.{kind.removeprefix('image/')}"
            picture.write_bytes(body)
            line.files.append(picture.name)
        self.taken.append(line)

    def errors(self) -> None:
        """What is shown when something is refused, not there, or our fault."""
        from jobs.core.states import S
        from tests.browser import demo_rows
        from tests.browser.shots import Shot

        code = demo_rows.one(demo_rows.homes(S.AWAITING_UTILITY)(), "job").code
        near = code[:-1] + ("K" if code[-1] != "K" else "M")
        for label, role, address, status in (
            ("403, a page of another role", "scheduler", "/people/", 403),
            ("404, a job's code mistyped", "scheduler", f"/jobs/{near}/", 404),
            ("404, no such address", "scheduler", "/nothing/here/", 404),
            ("404, a homeowner's link cut short", "", "/h/cut-short/", 404),
        ):
            self.surviving(partial(self._error, label, Shot(role, status=status), address))
        for take in (self._our_fault, self._stale_form, self._locked_out):
            self.surviving(take)

    def _error(self, label: str, shot: Shot, address: str) -> None:
        line = Taken("error", label, shot.role, address)
        page = self.context(shot.role).new_page()
        response = self._open(page, address, shot)
        if response.status != shot.status:
            line.faults.append(f"answered {response.status}, expected {shot.status}")
        self._three(page, _stem("error", label, 0), line)
        self._leave(page)
        self.taken.append(line)

    def _our_fault(self) -> None:
        """No page fails on purpose: the page for it is made here, and stands before the server's own styles."""
        from django.test import RequestFactory
        from django.urls import get_resolver

        answer = get_resolver().resolve_error_handler(500)(RequestFactory().get("/"))
        line = Taken("error", "500, our fault", "", "/our-fault/")
        page = self.context("").new_page()
        page.route(
            "**/our-fault/", lambda route: route.fulfill(status=500, body=answer.content.decode(), content_type="text/html; charset=utf-8")
        )
        page.goto(f"{self.office.url}/our-fault/")
        self._three(page, _stem("error", line.label, 0), line)
        self._leave(page)
        self.taken.append(line)

    def _stale_form(self) -> None:
        line = Taken("error", "403, a page open since before the last sign-in", "", "/sign-in/")
        page = self.context("").new_page()
        page.goto(f"{self.office.url}/sign-in/")
        page.context.clear_cookies()
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_load_state()
        self._three(page, _stem("error", line.label, 0), line)
        self._leave(page)
        self.taken.append(line)

    def _locked_out(self) -> None:
        from django.conf import settings

        line = Taken("error", "locked out after too many tries", "", "/sign-in/")
        page = self.context("").new_page()
        for _ in range(settings.AXES_FAILURE_LIMIT + 1):
            page.goto(f"{self.office.url}/sign-in/")
            page.get_by_label("E-mail").fill("stranger@elsewhere.example")
            page.get_by_label("Password").fill("not the password")
            page.get_by_role("button", name="Sign in").click()
            page.wait_for_load_state()
        self._three(page, _stem("error", line.label, 0), line)
        self._leave(page)
        self.taken.append(line)

    def bring_in_a_list(self) -> None:
        """The list with three bad rows, checked and not applied, so that the pages of an import have something to show."""
        page = self.context("operations manager").new_page()
        page.goto(f"{self.office.url}/imports/")
        page.get_by_label("Homes").check()
        page.get_by_label("File", exact=True).set_input_files(str(ROOT / "tests" / "data" / "homes.csv"))
        page.get_by_role("button", name="Check this file").click()
        page.wait_for_load_state()
        page.close()


def _stem(name: str, label: str, number: int) -> str:
    words = re.sub(r"[^a-z0-9]+", "-", f"{name} {label}".lower()).strip("-")
    return f"{words[:70]}-{number}" if number else words[:70]


def addresses() -> Iterator[tuple[str, bool]]:
    """Each named address, and whether it shows something on GET."""
    from tests.pages.addresses import named, table

    rows = table()
    for name in named():
        row = rows.get(name)
        yield name, row is None or row.get is not None


def take(album: Album, only: list[str]) -> None:
    from tests.browser.shots import EXAMPLES, File

    for name, shows in addresses():
        if only and name not in only:
            continue
        if not shows and name not in EXAMPLES:
            album.taken.append(
                Taken(name, "takes POST only", "", "", remarks=["it shows nothing by itself: it is a button on another page"])
            )
            continue
        if name not in EXAMPLES:
            album.taken.append(Taken(name, "", "", "", faults=["has no example in tests/browser/shots.py"]))
            continue
        for number, shot in enumerate(EXAMPLES[name], start=1):
            if isinstance(shot, File):
                album.surviving(partial(album.fetch, name, number, shot))
            else:
                album.surviving(partial(album.shoot, name, number, shot))
    if not only or "error" in only:
        album.errors()


def write_index(out: Path, taken: list[Taken]) -> None:
    def pictures(files: list[str]) -> str:
        shown = [
            f'<a href="{name}"><img src="{name}" alt="{name}" style="max-height:180px;max-width:260px;border:1px solid #999"></a>'
            if name.endswith((".png", ".jpeg"))
            else f'<a href="{name}">{name}</a>'
            for name in files
        ]
        return " ".join(shown)

    def row(line: Taken) -> str:
        about = "<br>".join(html.escape(words) for words in (line.label, line.role, line.address, *line.remarks))
        wrong = "".join(f"<p><b>{html.escape(words)}</b></p>" for words in line.faults)
        return f"<tr><th>{html.escape(line.name)}</th><td>{about}{wrong}</td><td>{pictures(line.files)}</td></tr>\n"

    rows = "".join(row(line) for line in taken)
    page = f'<!doctype html><meta charset="utf-8"><title>Pictures</title><table border="1">{rows}</table>'
    (out / "index.html").write_text(page, encoding="utf-8")


def say(words: str) -> None:
    print(words, flush=True)  # noqa: T201


def main(argv: list[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("out", type=Path)
    parser.add_argument("--only", nargs="*", default=[], metavar="NAME", help="names of addresses, or “error”")
    given = parser.parse_args(argv)
    given.out.mkdir(parents=True, exist_ok=True)
    if shutil.which("chromium") is None or shutil.which("pdftoppm") is None:
        say("Chromium and pdftoppm are wanted (Debian: chromium, poppler-utils).")
        return 1
    began = time.monotonic()
    with tempfile.TemporaryDirectory(prefix="pictures-") as var, demo(Path(var)) as office:
        say(f"The demo answers at {office.url} after {time.monotonic() - began:.0f} s.")
        os.environ.update(office.environment, DJANGO_ALLOW_ASYNC_UNSAFE="true")
        taken = _photographed(office, given.out, given.only)
    write_index(given.out, taken)
    for line in taken:
        for words in line.faults:
            say(f"FAULT {line.name} ({line.label}): {words}")
        if line.files:
            for words in line.remarks:
                say(f"remark {line.name} ({line.label}): {words}")
    faults = sum(len(line.faults) for line in taken)
    pages = sum(1 for line in taken if line.files)
    say(f"{pages} pages, {sum(len(line.files) for line in taken)} pictures, {faults} faults, {time.monotonic() - began:.0f} s.")
    return 1 if faults else 0


def _photographed(office: Embedded, out: Path, only: list[str]) -> list[Taken]:
    import django

    django.setup()
    from tests.browser.arranged import arrange

    arrange()
    with sync_playwright() as playwright:
        album = Album(office, playwright, out)
        album.bring_in_a_list()
        take(album, only)
        album.browser.close()
    return album.taken


if __name__ == "__main__":
    sys.exit(main())
