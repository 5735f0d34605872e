"""Lists and jobs saved as files: chosen columns, the same from the command, all of a job and only what its reader may see."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import tracemalloc
import zipfile
from collections.abc import Iterator

import pytest
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client
from django.urls import reverse

from jobs.core import files, homefacts
from jobs.core import kinds as k
from jobs.core.csvout import chosen, write_csv, xlsx_file
from jobs.core.models import Job
from jobs.core.sheets import read
from jobs.core.states import S
from jobs.pages import savepages
from tests.billing.made import planned_job, released
from tests.make import DAY_ONE, PNG, SYSTEM, make_job, put, user_of


def client_of(by) -> Client:
    client = Client()
    client.force_login(user_of(by), backend="django.contrib.auth.backends.ModelBackend")
    return client


def body(answer) -> bytes:
    return b"".join(answer) if answer.streaming else answer.content


def rows_of(data: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


# --- columns


@pytest.mark.django_db
def test_a_list_is_saved_with_the_columns_chosen_as_filtered_and_they_are_offered_again(dana):
    here, _ = make_job(S.IN_BUILD), make_job(S.CANCELLED)
    client = client_of(dana)
    address = reverse("columns", kwargs={"export": "jobs_export"}) + "?state=in_build"
    assert client.get(address).content.decode().count('type="checkbox"') == 20

    answer = client.post(address, {"columns": ["street", "job"], "ending": "csv"})

    assert answer.headers["Location"] == "/jobs.csv?state=in_build&column=job&column=street"
    saved = rows_of(body(client.get(answer.headers["Location"])))
    assert saved == [["job", "street"], [here.code, here.site.street]]
    assert client.get(address).content.decode().count("checked") == 3  # the two columns, and CSV
    book = body(client.get("/jobs.xlsx?state=in_build&column=street"))
    assert read("jobs.xlsx", book).rows[0].cells == (here.site.street,)


@pytest.mark.django_db
@pytest.mark.parametrize("export", savepages.LISTS)
def test_every_list_offers_all_columns_of_its_file_and_gives_those_chosen(dana, export):
    client, address = client_of(dana), reverse("columns", kwargs={"export": export})
    query = "?from_on=2026-11-01&to_on=2026-11-18&utility="  # of the report; the others leave out what they do not know
    query = query if export == "report_milestones_export" else ""
    offered = re.findall(r'name="columns" value="([a-z0-9_]+)"', client.get(address + query).content.decode())

    answer = client.post(address + query, {"columns": offered[1:3], "ending": "csv"})

    whole = rows_of(body(client.get(reverse(export, kwargs={"ending": "csv"}) + query)))
    assert offered == whole[0]
    assert rows_of(body(client.get(answer.headers["Location"])))[0] == offered[1:3]


def test_every_page_that_lets_columns_be_chosen_names_a_list_that_has_them():
    named = {
        name
        for template in (settings.BASE_DIR / "templates").rglob("*.html")
        for name in re.findall(r'export="(\w+_export)"', template.read_text())
    }

    assert named == set(savepages.LISTS)


@pytest.mark.django_db
def test_columns_that_a_person_may_not_see_are_neither_offered_nor_given(dana, theo):
    make_job()
    shown = client_of(theo).get(reverse("columns", kwargs={"export": "jobs_export"})).content.decode()

    assert "not invoiced" not in shown
    assert client_of(theo).get("/jobs.csv?column=not_invoiced").status_code == 404
    assert client_of(theo).get(reverse("columns", kwargs={"export": "invoices_export"})).status_code == 403
    assert client_of(dana).get(reverse("columns", kwargs={"export": "no_such_list"})).status_code == 404
    none = client_of(dana).post(reverse("columns", kwargs={"export": "jobs_export"}), {"columns": [], "ending": "csv"})
    assert none.status_code == 422


@pytest.mark.django_db
def test_the_command_writes_the_same_columns_in_the_order_that_it_names(tmp_path):
    job = make_job()
    out = tmp_path / "jobs.csv"

    call_command("export", "jobs", "--out", str(out), "--columns", "street, job", "state=in_build")

    assert rows_of(out.read_bytes()) == [["street", "job"], [job.site.street, job.code]]
    with pytest.raises(CommandError, match="There is no column colour: job, our_number"):
        call_command("export", "jobs", "--out", str(out), "--columns", "colour")
    assert [path.name for path in tmp_path.iterdir()] == ["jobs.csv"]


# --- memory


def _many(count: int) -> Iterator[tuple[object, ...]]:
    return ((number, f"{number} Larch Terrace, with some more words", "=1+1") for number in range(count))


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_memory_stays_flat_however_many_rows_are_saved(kind):
    def peak(count: int) -> int:
        headings, rows = chosen(["number", "street", "note"], _many(count), ["street", "note"])
        tracemalloc.start()
        if kind == "csv":
            sum(len(line) for line in write_csv(headings, rows))
        else:
            xlsx_file(headings, rows).close()
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    peak(10)  # what is loaded once

    # Ten times the rows are some 800 kB of text more; a quarter of a megabyte is room for buffers.
    assert peak(10_000) < peak(1_000) + 250_000


# --- a whole job


@pytest.fixture
def full(db) -> Job:
    job = planned_job()
    released(job)
    put(job, k.MEDICAL_ANSWER, on=DAY_ONE, value={"answer": "no"})
    for name in ("../../etc/passwd.png", "bag.png", "BAG.png", "..png"):
        files.add_document(job, name=name, data=PNG, subject="where the bag hangs", by=SYSTEM)
    homefacts.hold(job, kind="wish", stops=["calls"], review_on=dt.date(2026, 12, 1), reason='=HYPERLINK("x")', by=SYSTEM)
    return job


def opened(by, job: Job) -> zipfile.ZipFile:
    answer = client_of(by).get(reverse("whole_job", kwargs={"code": job.code}))
    assert answer.headers["Content-Disposition"] == f'attachment; filename="job-{job.code}.zip"'
    return zipfile.ZipFile(io.BytesIO(body(answer)))


def test_all_of_a_job_is_one_zip_file(full, dana):
    book = opened(dana, full)

    names = book.namelist()
    assert book.testzip() is None
    assert {"about.txt", "facts.csv", "states.csv", "people.csv", "holds.csv", "documents/list.csv", "money/invoices.csv"} <= set(names)
    assert len([name for name in names if name.startswith("documents/") and name.endswith(".png")]) == full.documents.count()
    assert book.read(next(name for name in names if name.endswith(".pdf") and name.startswith("money/"))).startswith(b"%PDF-")
    assert any(name.startswith("messages/") for name in names)
    facts = rows_of(book.read("facts.csv"))
    assert len(facts) == 1 + full.facts.count()
    assert "powered medical equipment relied on" in {row[1] for row in facts}
    assert rows_of(book.read("holds.csv"))[1][3] == '\'=HYPERLINK("x")'


def test_no_name_in_the_archive_leads_out_of_its_folder_or_stands_twice(full, dana):
    names = opened(dana, full).namelist()

    assert not [name for name in names if name.startswith("/") or ".." in name.split("/") or "\\" in name or ":" in name]
    assert all(part and not part.startswith(".") for name in names for part in name.split("/"))
    assert len({name.casefold() for name in names}) == len(names)


def test_the_archive_holds_what_its_reader_may_see(full, theo, farida):
    for_scheduler, for_finance = opened(theo, full), opened(farida, full)

    assert not [name for name in for_scheduler.namelist() if name.startswith("money/")]
    assert [name for name in for_finance.namelist() if name.startswith("money/")]
    assert b"medical" not in for_finance.read("facts.csv")
    assert b"medical" in for_scheduler.read("facts.csv")


def test_the_command_saves_all_of_a_job_too(full, tmp_path, capsys):
    out = tmp_path / "job.zip"

    call_command("export", "job", "--out", str(out), f"job={full.code.lower()}")

    assert f"All of job {full.code}" in capsys.readouterr().out
    assert "money/invoices.csv" in zipfile.ZipFile(out).namelist()
    with pytest.raises(CommandError, match="Say which job"):
        call_command("export", "job", "--out", str(out), "job=NONE1")
    with pytest.raises(CommandError, match=r"should end in \.zip"):
        call_command("export", "job", "--out", str(tmp_path / "job.csv"), f"job={full.code}")
