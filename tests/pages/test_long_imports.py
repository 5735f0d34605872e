"""A file too long for a page to check: its rows are checked by a worker, and the page says how far it has come and what was found."""

from __future__ import annotations

import datetime as dt

import pytest
import time_machine
from django.urls import reverse

from jobs.core import importing, tasks, waking
from jobs.core.models import ImportRun, Job
from tests.homelist import half_done, home, sheet, utilities
from tests.make import user_of
from tests.pages.test_import_pages import client_of, page, press, send

pytestmark = pytest.mark.django_db

NAME = "jobs.core.tasks.check_import"
GOOD = [home(n) for n in range(1, 4)]
WRONG = home(4, State="Colorada")


@pytest.fixture(autouse=True)
def woken(monkeypatch) -> list[tuple[str, int]]:
    """Four rows are long here."""
    woken: list[tuple[str, int]] = []
    monkeypatch.setattr(waking, "_send", lambda task, args: woken.append((task, *args)))
    monkeypatch.setattr(importing, "LARGE", 3)
    utilities()
    return woken


def brought_in(client, *rows) -> ImportRun:
    assert send(client, sheet(*rows)).status_code == 302
    return ImportRun.objects.latest("pk")


def test_a_long_file_is_checked_by_a_worker_and_its_page_says_how_far_it_came(dana, woken, monkeypatch, django_capture_on_commit_callbacks):
    client = client_of(dana)
    with django_capture_on_commit_callbacks(execute=True):
        run = brought_in(client, *GOOD, WRONG)
    assert woken == [(NAME, run.pk)]
    assert "4 rows are being checked: <i>they wait for their turn</i>. Nothing is written." in page(client)
    assert 'hx-trigger="every 2s"' in page(client, "import_progress")

    seen: list[tuple[int, str]] = []
    note = importing.note_checking

    def noted(run, *, tenths):
        note(run, tenths=tenths)
        shown = page(client, "import_progress")
        seen.append((shown.count('class="done"'), shown.partition("<i>")[2].partition("</i>")[0]))

    monkeypatch.setattr(importing, "note_checking", noted)
    tasks.check_import(run.pk)

    assert seen == [
        (0, "the file is being read"),
        (1, "their cells are being read"),
        (3, "each is held against the others and the records"),
        (6, "what applying them would do is being worked out"),
    ]
    assert client.get(reverse("import_progress", kwargs={"uid": run.uid})).headers["HX-Refresh"] == "true"
    assert "Three rows are ready, 1 needs correcting.</b> Nothing is written until Apply." in page(client)
    assert not Job.objects.exists()


def test_what_was_found_in_a_long_file_is_not_looked_for_again_by_its_pages(dana, monkeypatch, django_capture_on_commit_callbacks):
    client = client_of(dana)
    run = brought_in(client, *GOOD, WRONG)
    tasks.check_import(run.pk)
    monkeypatch.setattr(importing, "look", lambda run, *, by: pytest.fail("its rows were checked while a page waited"))

    assert "Colorada" in page(client)
    remarks = b"".join(client.get(reverse("import_errors", kwargs={"uid": run.uid}))).decode("utf-8-sig")
    assert (remarks.count("\r\n"), "LL-4" in remarks) == (2, True)
    assert press(client, "import_apply", rows="all").status_code == 422
    press(client, "import_apply", rows="good")
    tasks.apply_import(run.pk)

    assert "<b>Applied.</b> One row was left out." in page(client)
    assert Job.objects.count() == 3


def test_a_long_file_whose_reading_is_open_says_so_and_is_checked_anew_once_it_is_answered(dana, woken, django_capture_on_commit_callbacks):
    client = client_of(dana)
    run = brought_in(client, *(home(n, Signed="3/2/26") for n in range(1, 5)))
    tasks.check_import(run.pk)
    assert "<b>The rows cannot be checked yet.</b>" in page(client)
    assert "is 3/2/26 2 March 2026 (month/day/year)" in page(client)
    places = {f"place_{place}": name for place, name in enumerate(("number", "owner", "street", "city", "region", "contract_signed_on"))}
    woken.clear()

    with django_capture_on_commit_callbacks(execute=True):
        press(client, "import_columns", **places, days_contract_signed_on="month")

    assert woken == [(NAME, run.pk)]
    assert "they wait for their turn" in page(client)
    tasks.check_import(run.pk)
    assert "Four rows are ready, 0 need correcting." in page(client)


def test_a_check_that_was_killed_is_begun_anew_and_one_that_goes_on_is_left_alone(dana, woken, django_capture_on_commit_callbacks):
    client = client_of(dana)
    run = brought_in(client, *(half_done(n) for n in range(1, 5)))
    minutes = [run.created_at + dt.timedelta(minutes=minute) for minute in (7, 8, 16)]

    with django_capture_on_commit_callbacks(execute=True), time_machine.travel(minutes[0], tick=False):
        tasks.sweep_imports()
        importing.note_checking(run, tenths=3)
    assert woken == []
    with django_capture_on_commit_callbacks(execute=True), time_machine.travel(minutes[1], tick=False):
        tasks.sweep_imports()
        assert "Nothing has moved" not in page(client)
    assert woken == []
    with django_capture_on_commit_callbacks(execute=True), time_machine.travel(minutes[2], tick=False):
        tasks.sweep_imports()
        client.force_login(user_of(dana), backend="django.contrib.auth.backends.ModelBackend")
        assert "Nothing has moved for a while" in page(client)
    assert woken == [(NAME, run.pk)]

    tasks.check_import(run.pk)
    tasks.check_import(run.pk)  # woken twice, checked once
    run.refresh_from_db()
    assert (run.checked["good"], run.checked["wrong"]) == (4, 0)


@pytest.mark.parametrize("meanwhile", ["dropped", "matched anew"])
def test_what_a_person_does_while_a_long_file_is_checked_counts(dana, meanwhile, monkeypatch):
    run = brought_in(client_of(dana), *GOOD, WRONG)
    look = importing.look

    def slow(seen: ImportRun, **given):
        found = look(seen, **given)
        if meanwhile == "dropped":
            importing.drop(ImportRun.objects.get(pk=run.pk), by=dana)
        else:
            importing.match_columns(ImportRun.objects.get(pk=run.pk), columns={"region": "City"}, by=dana)
        return found

    monkeypatch.setattr(importing, "look", slow)
    tasks.check_import(run.pk)

    run.refresh_from_db()
    assert (run.checked, run.refusals.count()) == ({}, 0)
