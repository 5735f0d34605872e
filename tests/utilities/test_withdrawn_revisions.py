"""A withdrawn revision makes one task for each utility whose homes hold it; a request refers to the design revision sent with it."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from jobs.core import dayone, designs
from jobs.core.drawn import Equipment
from jobs.core.models import Collar, Job
from jobs.core.refusals import Refused
from jobs.core.states import S
from tests.make import DAY_ONE, make_job, user_of
from tests.utilities.made import make_request, make_service, make_utility
from utilities import attention_papers, revisions

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 11, 18)


def holds(revision: str, utility=None, *, state: S = S.GRID_TIED) -> Job:
    job = make_job(state)
    Collar.objects.filter(job=job).update(revision=revision)
    if utility is not None:
        make_service(job, utility=utility)
    return job


def test_each_utility_gets_one_task_with_its_own_homes(dana):
    north, south = make_utility("Northmere Light"), make_utility("Southmere Light")
    first, second, third = holds("B", north), holds("b", north), holds("B", south)
    holds("C", north)
    alone = holds("B")
    holds("B", state=S.CANCELLED)

    gone = revisions.withdraw_revision("B", on=TODAY, notice="maker's notice 12", by=dana)

    by_utility = {task.utility: {collar.job for collar in revisions.homes_of(task)} for task in gone.tasks.all()}
    assert by_utility == {north: {first, second}, south: {third}, None: {alone}}
    (section,) = [one for one in attention_papers.sections(user_of(dana)) if one.name == "withdrawn_revisions"]
    assert [(row.title, row.cells[1]) for row in section.rows] == [
        ("Northmere Light", "2"),
        ("Southmere Light", "1"),
        ("no utility entered", "1"),
    ]

    # A swap takes a home off; the task is finished by a person, once.
    dayone.record_collar_registered(first, on=TODAY, serial="LL-777001", revision="C", by=dana)
    task = gone.tasks.get(utility=north)
    assert [collar.job for collar in revisions.homes_of(task)] == [second]
    revisions.finish_task(task, how="the other one is swapped on Friday", by=dana)
    with pytest.raises(Refused, match="has finished this meanwhile"):
        revisions.finish_task(task, how="again", by=dana)
    with pytest.raises(Refused, match="is withdrawn already"):
        revisions.withdraw_revision("b", on=TODAY, notice="once more", by=dana)


def test_which_homes_hold_a_revision_is_shown_by_utility(dana):
    utility = make_utility("Northmere Light")
    job = holds("B", utility)
    client = Client()
    client.force_login(user_of(dana), backend="django.contrib.auth.backends.ModelBackend")

    page = client.get(reverse("revisions"), {"revision": "b"}).content.decode()

    assert "Northmere Light" in page
    assert reverse("job", kwargs={"code": job.code}) in page
    assert "No home holds this revision." in client.get(reverse("revisions"), {"revision": "Z"}).content.decode()


def test_a_request_refers_to_the_revision_sent_and_names_what_differs_from_it(dana):
    job = make_job(S.GRID_TIED, battery_kwh=Decimal("27.0"))
    told: dict[str, Any] = {"kind": "one-line diagram", "name": "one-line.pdf", "data": b"%PDF-1.7 a", "dated_on": DAY_ONE}
    first = designs.add_design(job, **told, revision="a", shows=Equipment(battery_wh=13_500), by=dana)
    request = make_request(make_service(job), documents=[first.document])
    designs.add_design(job, **told | {"data": b"%PDF-1.7 b"}, revision="B", shows=Equipment(battery_wh=27_000), by=dana)
    with pytest.raises(Refused, match="Revision A of the one-line diagram is on record already"):
        designs.add_design(job, **told, revision="A", shows=Equipment(), by=dana)
    client = Client()
    client.force_login(user_of(dana), backend="django.contrib.auth.backends.ModelBackend")

    page = client.get(reverse("request", kwargs={"code": request.code})).content.decode()

    assert "one-line diagram, revision A" in page
    assert "a newer revision is on record; battery: 13.5 kWh on the paper, 27 kWh on record" in page
    assert [design.revision for design in designs.current(job)] == ["B"]
    job_page = client.get(reverse("job", kwargs={"code": job.code})).content.decode()
    assert "battery: 13.5 kWh" not in job_page  # the newest agrees
    shown = client.get(reverse("designs", kwargs={"code": job.code})).content.decode()
    assert "Battery: 13.5 kWh on the paper, 27 kWh on record" in shown


def test_a_refused_design_paper_keeps_what_was_typed(dana):
    job = make_job(S.GRID_TIED)
    client = Client()
    client.force_login(user_of(dana), backend="django.contrib.auth.backends.ModelBackend")
    typed = {
        "kind": "site plan",
        "revision": "Q7",
        "dated_on": "4 May 2026",
        "inverter_w": "7,600",
        "file": SimpleUploadedFile("p.exe", b"MZ"),
    }
    answer = client.post(reverse("designs", kwargs={"code": job.code}), typed)

    assert answer.status_code == 422
    page = answer.content.decode()
    assert "is not a JPEG, PNG or PDF file" in page
    for kept in ("Q7", "4 May 2026", "7,600"):
        assert kept in page
    assert not job.designs.exists()
