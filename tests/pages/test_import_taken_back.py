"""A whole import taken back: the records are as they were, or a sentence says what was built on it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

import pytest
import time_machine

from billing import payers
from jobs.core import facts, importing, journal
from jobs.core import kinds as k
from jobs.core.csvout import write_csv
from jobs.core.facts import Said, When
from jobs.core.models import Fact, ImportChunk, ImportRun, Job, Site
from jobs.core.refusals import NotAllowed, Refused
from jobs.pages import reconcile
from tests.acts.snapshot import snapshot
from tests.homelist import HOMES, MENDED, half_done, home, sheet, utilities
from tests.make import SYSTEM
from utilities.models import ForecastRun
from utilities.tasks import refresh_stale, stale

pytestmark = pytest.mark.django_db

OF_THE_IMPORT_ITSELF = {"core.ImportRun", "core.ImportRefusal", "core.Trace", "core.StoredFile"}


def records() -> dict[str, list[tuple[object, ...]]]:
    return {label: rows for label, rows in snapshot().items() if label not in OF_THE_IMPORT_ITSELF}


def bring_in(kind: str, data: bytes, *, by, good_rows_only=False, **columns) -> ImportRun:
    return importing.apply(
        importing.prepare(kind, name="rows.csv", data=data, columns=columns, by=by), good_rows_only=good_rows_only, by=by
    )


def table(*rows: dict[str, str]) -> bytes:
    return "".join(write_csv(list(rows[0]), [list(row.values()) for row in rows])).encode()


def mended() -> bytes:
    text = HOMES.read_text(encoding="utf-8")
    for wrong, right in MENDED:
        text = text.replace(wrong, right)
    return text.encode()


def test_twenty_homes_half_done_and_partly_paid_are_taken_back_as_if_they_had_not_come(dana):
    utilities()
    before = records()
    run = bring_in("jobs", mended(), by=dana)
    assert Job.objects.count() == 20

    run = importing.take_back(run, by=dana)

    assert records() == before
    assert (run.taken_back_by_name, run.taken_back_at is not None) == ("Dana Ruiz", True)
    assert list(reconcile.breaches()) == []
    assert bring_in("jobs", mended(), by=dana).counts["new"] == 20


def test_what_a_list_added_to_a_home_on_record_goes_and_the_home_stays_as_it_was(dana):
    utilities()
    bring_in("jobs", sheet(home(1, Telephone="")), by=dana)
    before = records()
    run = bring_in("jobs", sheet(half_done(1)), by=dana)
    assert run.counts["changed"] == 1
    assert Job.objects.get().state != "in_build"

    importing.take_back(run, by=dana)

    assert records() == before
    assert list(reconcile.breaches()) == []


REQUESTS = [
    {
        "Utility": "Ottermere Municipal Light",
        "Reference": f"R{n}",
        "Request sent on": f"2025-0{n}-05",
        "Outcome": outcome,
        "Outcome day": day,
    }
    for n, (outcome, day) in enumerate([("open", ""), ("fitted", "2025-04-01"), ("cancelled", "2025-05-20")], start=1)
]


def test_requests_are_taken_back_those_of_history_and_those_that_they_closed(dana):
    utilities()
    bring_in("requests", table(REQUESTS[0]), by=dana, complete="yes")
    before = records()
    run = bring_in(
        "requests", table(REQUESTS[0] | {"Outcome": "fitted", "Outcome day": "2025-06-02"}, *REQUESTS[1:]), by=dana, complete="yes"
    )
    assert (run.counts["new"], run.counts["changed"]) == (2, 1)

    importing.take_back(run, by=dana)

    assert records() == before


def test_the_forecasts_that_knew_what_is_taken_back_are_owed_anew_at_once(dana, monkeypatch, django_capture_on_commit_callbacks):
    """What was removed cannot say that it is gone: until then the forecasts stood until the night."""
    utility = utilities()["Ottermere Municipal Light"]
    bring_in("requests", table(REQUESTS[0]), by=dana, complete="yes")
    run = bring_in("requests", table(*REQUESTS[1:]), by=dana, complete="yes")
    refresh_stale()
    assert stale() == []
    made = ForecastRun.objects.latest("pk")
    assert made.rows == 3
    woken: list[str] = []
    monkeypatch.setattr("jobs.core.waking.current_app.send_task", lambda name, args: woken.append(name))

    with django_capture_on_commit_callbacks(execute=True):
        importing.take_back(run, by=dana)

    assert woken == ["utilities.tasks.refresh_stale"]
    assert utility.pk in stale()
    refresh_stale()
    assert ForecastRun.objects.latest("pk").rows == 1
    with time_machine.travel(dt.datetime(2026, 11, 18, 18, 30, tzinfo=dt.UTC)):
        refresh_stale()
        assert stale() == []


def test_payments_are_taken_back(farida):
    payer = payers.add_payer("Sunlit Trust", kind="lender", email="desk@sunlit.example", by=SYSTEM)
    before = records()
    run = bring_in(
        "payments", table({"Payer": payer.name, "Received on": "2026-11-02", "Amount": "8640.00", "Reference": "A-1"}), by=farida
    )
    assert run.counts["new"] == 1

    importing.take_back(run, by=farida)

    assert records() == before


def test_rows_that_one_import_writes_twice_are_taken_back_too(dana):
    """The list closes a request that it opens itself, fifty rows later: two chunks write the same records."""
    utilities()
    before = records()
    rows = [home(1), *(home(n) for n in range(2, 55)), half_done(1)]
    first = bring_in("jobs", sheet(*rows[:54]), by=dana)
    second = bring_in("jobs", sheet(rows[54]), by=dana)
    assert ImportChunk.objects.filter(run=first).count() == 2

    with pytest.raises(Refused, match=r"was (recorded|changed) since"):
        importing.take_back(first, by=dana)
    importing.take_back(second, by=dana)
    importing.take_back(first, by=dana)

    assert records() == before


def _a_fact(job: Job, by) -> None:
    facts.record(job, k.SHEET_GIVEN, when=When(on=dt.date(2026, 5, 4)), said_by=Said("crew", "Ana"), by=by)


def _another_site_name(job: Job, by) -> None:
    Site.objects.filter(pk=job.site_id).update(city="Elsewhere")


@pytest.mark.parametrize(("build", "sentence"), [(_a_fact, "was recorded since"), (_another_site_name, "was changed since")])
def test_what_was_built_on_an_import_keeps_it_and_is_named(dana, build: Callable[..., None], sentence):
    run = bring_in("jobs", sheet(home(1), home(2)), by=dana)
    build(Job.objects.first(), dana)
    before = records()

    with pytest.raises(Refused, match=f"Something was built on this import, so it cannot be taken back: .*{sentence}"):
        importing.take_back(run, by=dana)

    assert records() == before
    assert Job.objects.count() == 2


def test_only_what_was_written_is_taken_back_once_and_by_those_who_may(dana, farida):
    run = importing.prepare("jobs", name="rows.csv", data=sheet(home(1)), columns={}, by=dana)
    with pytest.raises(Refused, match="not applied or still being applied"):
        importing.take_back(run, by=dana)
    dropped = importing.drop(run, by=dana)
    with pytest.raises(Refused, match="Nothing of this import was written"):
        importing.take_back(dropped, by=dana)
    done = bring_in("jobs", sheet(home(1)), by=dana)
    with pytest.raises(NotAllowed):
        importing.take_back(done, by=farida)

    importing.take_back(done, by=dana)

    with pytest.raises(Refused, match="has been taken back already"):
        importing.take_back(done, by=dana)


def test_a_stopped_import_is_taken_back_as_far_as_it_came(dana):
    before = records()
    run = importing.prepare("jobs", name="rows.csv", data=sheet(*(home(n) for n in range(1, 61))), columns={}, by=dana)
    run = importing.apply_chunk(importing.start(run, good_rows_only=False, by=dana), by=dana)
    run = importing.drop(run, by=dana)
    assert Job.objects.count() == 50

    importing.take_back(run, by=dana)

    assert records() == before


def test_what_is_written_past_the_journal_is_noticed(dana):
    bring_in("jobs", sheet(home(1)), by=dana)
    job = Job.objects.get()

    with journal.kept() as told:
        facts.record(job, k.COMMISSIONED, when=When(on=dt.date(2026, 5, 4)), said_by=Said("list"), by=importing.importer(dana))
    with journal.kept() as untold:
        Fact.objects.filter(kind=k.COMMISSIONED).update(note="past the journal")
        Fact.objects.filter(kind="none").update(note="of no row")

    assert (told.beyond(), untold.beyond()) == ([], ["core_fact"])
