"""Chromium, as tests and pictures drive it."""

from __future__ import annotations

import shutil

from playwright.sync_api import Browser, Page, Playwright

ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
LOCALE = "en-US"
ZONE = "America/Denver"


def launch(playwright: Playwright) -> Browser:
    """The machine's own Chromium; Playwright's is not downloaded."""
    return playwright.chromium.launch(executable_path=shutil.which("chromium"), args=ARGS)


def sign_in(page: Page, *, url: str, email: str, password: str) -> None:
    """By the page, as a person does."""
    page.goto(f"{url}/sign-in/")
    page.get_by_label("E-mail").fill(email)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Sign out").wait_for()
