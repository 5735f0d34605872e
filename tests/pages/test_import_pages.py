"""The import's pages: from the file to the result, and what they refuse."""

from __future__ import annotations

import datetime as dt
import re

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from jobs.core import importing, tasks, waking
from jobs.core.models import ImportRun, Job
from tests.homelist import HOMES, half_done, home, sheet, utilities
from tests.make import PNG, user_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def woken(monkeypatch) -> list[int]:
    """The tasks that pages start; done at once in `work`."""
    woken: list[int] = []
    monkeypatch.setattr(waking, "_send", lambda task, args: woken.extend(args))
    utilities()
    return woken


def client_of(by) -> Client:
    client = Client()
    client.force_login(user_of(by), backend="django.contrib.auth.backends.ModelBackend")
    return client


def send(client: Client, data: bytes, *, name="homes.csv", kind="jobs"):
    return client.post(reverse("imports"), {"kind": kind, "file": SimpleUploadedFile(name, data)})


def page(client: Client, name: str = "import_run") -> str:
    return re.sub(r"\s+", " ", client.get(reverse(name, kwargs={"uid": ImportRun.objects.latest("pk").uid})).content.decode())


def press(client: Client, name: str, **given):
    return client.post(reverse(name, kwargs={"uid": ImportRun.objects.latest("pk").uid}), given)


def test_from_the_file_to_the_result(dana, woken, django_capture_on_commit_callbacks):
    client = client_of(dana)

    answer = send(client, HOMES.read_bytes())

    run = ImportRun.objects.get()
    assert answer.headers["Location"] == reverse("import_run", kwargs={"uid": run.uid})
    shown = page(client)
    assert "17 rows are ready, 3 need correcting.</b> Nothing is written until Apply." in shown
    assert "0 messages will be sent, 0 invoices drafted, 13 opening balances." in shown
    assert "Apply the 17 good rows" in shown
    assert "Save all 3 with remarks as CSV" in shown
    assert '<td data-label="Read as">2 March 2026</td>' in shown
    assert not Job.objects.exists()

    with django_capture_on_commit_callbacks(execute=True):
        press(client, "import_apply", rows="good")
    assert woken == [run.pk]
    assert "0 of 20 rows applied" in page(client)
    assert 'hx-trigger="every 2s"' in page(client)
    tasks.apply_import(run.pk)
    assert client.get(reverse("import_progress", kwargs={"uid": run.uid})).headers["HX-Refresh"] == "true"

    shown = page(client)
    assert "<b>Applied.</b> Three rows were left out." in shown
    assert f'<a href="{reverse("jobs")}">17</a>' in shown
    assert "The shares add up to 110" in shown
    assert Job.objects.count() == 17
    assert "applied: 17 new, 0 changed, 0 unchanged, 3 left out" in client.get(reverse("imports")).content.decode()


def test_the_rows_to_correct_can_be_saved_and_sent_again(dana):
    client = client_of(dana)
    send(client, HOMES.read_bytes())
    uid = ImportRun.objects.get().uid

    saved = client.get(reverse("import_errors", kwargs={"uid": uid}))
    workbook = client.get(reverse("import_errors_xlsx", kwargs={"uid": uid}))

    assert saved.headers["Content-Disposition"] == 'attachment; filename="to-correct.csv"'
    told = b"".join(saved)
    assert told.decode("utf-8-sig").count("\r\n") == 4
    assert workbook.content.startswith(b"PK")
    again = send(client, told, name="to-correct.csv")
    assert again.status_code == 302
    assert ImportRun.objects.latest("pk").rows_total == 3


def test_all_rows_are_not_applied_while_one_is_wrong(dana, woken):
    client = client_of(dana)
    send(client, HOMES.read_bytes())

    answer = press(client, "import_apply", rows="all")

    assert answer.status_code == 422
    assert "Three rows of 20 need correcting" in answer.content.decode()
    assert woken == []
    assert not Job.objects.exists()


def test_a_picture_named_as_a_workbook_is_refused_on_the_page(dana):
    answer = send(client_of(dana), PNG, name="homes.xlsx")

    assert answer.status_code == 422
    assert "homes.xlsx is not an Excel workbook" in answer.content.decode()
    assert not ImportRun.objects.exists()


def test_headings_are_matched_on_the_page(dana):
    client = client_of(dana)
    row = {("Kunde" if heading == "Owner" else heading): cell for heading, cell in home(1, Signed="3/2/26").items()}
    send(client, sheet(row))
    assert "In “Signed”, is 3/2/26 2 March 2026 (month/day/year) or 3 February 2026 (day/month/year)?" in page(client)
    assert "Owner is empty" not in page(client)  # no row is checked while a reading is open
    places = {f"place_{place}": name for place, name in enumerate(("number", "owner", "street", "city", "region", "contract_signed_on"))}

    twice = press(client, "import_columns", **(places | {"place_2": "owner"}))
    assert twice.status_code == 422
    assert "Owner is chosen for two headings" in twice.content.decode()
    press(client, "import_columns", **places, days_contract_signed_on="month")

    assert "month/day/year: 2 March 2026" in page(client)
    assert "One row is ready, 0 need correcting." in page(client)
    assert ImportRun.objects.get().columns["owner"] == "Kunde"


def test_a_dropped_import_leaves_nothing(dana):
    client = client_of(dana)
    send(client, sheet(home(1)))

    answer = press(client, "import_drop")

    assert answer.headers["Location"] == reverse("imports")
    assert "<b>Dropped.</b>" in page(client)
    assert press(client, "import_apply", rows="all").status_code == 422
    assert not Job.objects.exists()


def test_what_stands_still_is_gone_on_with_from_the_page(dana, woken, django_capture_on_commit_callbacks):
    client = client_of(dana)
    send(client, sheet(*(home(n) for n in range(1, 61))))
    run = importing.start(ImportRun.objects.get(), good_rows_only=False, by=dana)
    importing.apply_chunk(run, by=dana)
    assert "50 of 60 rows applied, <i>less than a minute left</i>. You may leave this page" in page(client)
    assert "Nothing has moved" not in page(client)

    with time_machine.travel(dt.datetime(2026, 11, 18, 18, 5, tzinfo=dt.UTC)), django_capture_on_commit_callbacks(execute=True):
        assert "<b>Nothing has moved for a while.</b>" in page(client)
        press(client, "import_apply")

    assert woken == [run.pk]
    tasks.apply_import(run.pk)
    assert Job.objects.count() == 60


def test_a_scheduler_is_told_which_columns_hold_money(theo):
    client = client_of(theo)
    send(client, sheet(half_done(1)))

    shown = page(client)

    assert "“Contract amount”, “First milestone share”" in shown
    assert "set amounts of money, which your role may not do" in shown
    assert press(client, "import_apply", rows="all").status_code == 422
    assert not Job.objects.exists()


def test_finance_brings_in_payments_only_and_sees_no_list_of_homes(dana, farida):
    send(client_of(dana), sheet(home(1)))
    client = client_of(farida)

    opened = client.get(reverse("imports"))
    refused = send(client, sheet(home(1)))
    other = client.get(reverse("import_run", kwargs={"uid": ImportRun.objects.get().uid}))

    assert {kind.name for kind in importing.kinds_for(farida)} <= {"payments"}
    assert "homes.csv" not in opened.content.decode()
    assert refused.status_code == 422
    assert other.status_code == 403


def test_another_schedulers_file_is_out_of_sight(theo, dana):
    send(client_of(dana), sheet(half_done(1)))
    uid = ImportRun.objects.get().uid

    assert client_of(theo).get(reverse("import_run", kwargs={"uid": uid})).status_code == 404


def test_what_stands_in_a_file_is_never_run_on_the_page(dana):
    client = client_of(dana)
    send(client, sheet(home(1, Utility="<script>alert(1)</script>")))

    assert "<script>alert(1)" not in page(client)
    assert "&lt;script&gt;alert(1)" in page(client)
