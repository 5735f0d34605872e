"""The embedded office killed while it sends loses nothing: a real process, its own database, a real SIGKILL."""

from __future__ import annotations

import datetime as dt
import shelve
import sqlite3
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import celery
import pytest
from celery.beat import ScheduleEntry

from config.celery import app
from tests.browser.embedded import Embedded

pytestmark = pytest.mark.real_clock

WANTED = 20
# Another process on the same records: invoices to lenders, which keep no quiet hours, so that the test may run at any time of day.
OWE = f"""
import django
django.setup()
from jobs.core import clock
from jobs.notices.models import Message
from tests.billing.made import lender, planned_job, released

keys = []
for _ in range({WANTED}):
    invoice = released(planned_job(payer=lender()))
    keys.append(Message.objects.get(about__invoice=str(invoice.uid)).pk)  # released together with its invoice
# The minute in which a release can be taken back is over.
Message.objects.filter(pk__in=keys).update(due_at=clock.now())
print(*keys)
"""


@pytest.fixture
def office(tmp_path: Path) -> Iterator[Embedded]:
    office = Embedded(tmp_path)
    yield office
    office.kill()


@contextmanager
def opened(office: Embedded) -> Iterator[sqlite3.Connection]:
    """The office's database, beside it; nothing is committed by itself."""
    database = sqlite3.connect(office.database, timeout=20, isolation_level=None)
    try:
        yield database
    finally:
        database.close()


def outbox(database: sqlite3.Connection, keys: list[int]) -> dict[int, tuple[str, int, str | None]]:
    """State, tries and the instant of sending of each message."""
    marks = ",".join("?" * len(keys))
    rows = database.execute(f"SELECT id, state, attempts, sent_at FROM notices_message WHERE id IN ({marks})", keys)  # noqa: S608
    return {pk: (state, attempts, sent_at) for pk, state, attempts, sent_at in rows}


def sent(messages: dict[int, tuple[str, int, str | None]]) -> dict[int, str | None]:
    return {pk: at for pk, (state, _, at) in messages.items() if state == "sent"}


def make_the_sweep_due(office: Embedded) -> None:
    """The timetable says that the outbox was swept an hour ago: it is swept as the office starts, and the test need not wait."""
    an_hour_ago = dt.datetime.now(dt.UTC) - dt.timedelta(hours=1)
    entry = ScheduleEntry(name="sweep-outbox", app=app, last_run_at=an_hour_ago, **app.conf.beat_schedule["sweep-outbox"])
    with shelve.open(str(office.timetable)) as kept:
        kept.update({"entries": {entry.name: entry}, "__version__": celery.__version__, "tz": app.conf.timezone, "utc_enabled": True})


def kill_in_the_middle(office: Embedded, keys: list[int]) -> dict[int, tuple[str, int, str | None]]:
    """Let the office send a little at a time, by holding SQLite's only write lock between; once one has left, kill it under the lock."""
    ends = time.monotonic() + 60
    with opened(office) as database:
        while time.monotonic() < ends:
            database.execute("BEGIN IMMEDIATE")
            messages = outbox(database, keys)
            if sent(messages):
                office.kill()
                database.execute("ROLLBACK")
                return messages
            database.execute("ROLLBACK")
            threading.Event().wait(0.005)  # the office's turn to write
    raise AssertionError("Nothing was sent within a minute.")


def until_none_is_due(office: Embedded, keys: list[int]) -> dict[int, tuple[str, int, str | None]]:
    ends = time.monotonic() + 60
    with opened(office) as database:
        while time.monotonic() < ends:
            messages = outbox(database, keys)
            if not any(state in ("released", "sending") for state, _, _ in messages.values()):
                return messages
            threading.Event().wait(0.05)
    raise AssertionError(f"Some still wait: {Counter(state for state, _, _ in messages.values())}")


def test_killed_while_it_sends_20_notices_it_loses_none_and_sends_none_twice(office):
    office.start()
    office.kill()
    made = office.run("-c", OWE)
    assert made.returncode == 0, made.stderr
    keys = [int(word) for word in made.stdout.split()]
    assert len(keys) == WANTED

    make_the_sweep_due(office)
    office.start()
    at_kill = kill_in_the_middle(office, keys)

    gone = sent(at_kill)
    assert 0 < len(gone) < WANTED
    with opened(office) as database:
        # What was being sent is held for five minutes; the test need not wait for them.
        a_while_ago = (dt.datetime.now(dt.UTC) - dt.timedelta(seconds=1)).strftime("%Y-%m-%d %H:%M:%S.%f")
        database.execute("UPDATE notices_message SET claimed_until = ? WHERE state = 'sending'", [a_while_ago])
    make_the_sweep_due(office)
    office.start()
    at_end = until_none_is_due(office, keys)

    assert len(at_end) == WANTED
    assert {state for state, _, _ in at_end.values()} <= {"sent", "may have been sent"}
    assert {pk for pk, (state, _, _) in at_end.items() if state == "may have been sent"} == {
        pk for pk, (state, _, _) in at_kill.items() if state == "sending"
    }
    assert all(attempts == 1 for _, attempts, _ in at_end.values())
    assert {pk: at for pk, at in sent(at_end).items() if pk in gone} == gone
    proved = office.run("manage.py", "reconcile")
    assert proved.returncode == 0, proved.stdout + proved.stderr
