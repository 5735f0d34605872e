"""That the collar is fitted is told once it is true, and taken back where it is corrected."""

from __future__ import annotations

import datetime as dt

import pytest

from jobs.core import actors, homefacts
from jobs.core import kinds as k
from jobs.core.facts import When
from jobs.core.states import S
from jobs.notices import outbox
from jobs.notices.models import Message
from tests.make import SYSTEM, make_job, put, serial_of

pytestmark = pytest.mark.django_db

ON = dt.date(2026, 11, 16)


def fitted(*, serial: str | None = None, by: actors.Actor = SYSTEM):
    job = make_job(S.AWAITING_UTILITY)
    fact = put(job, k.COLLAR_FITTED, on=ON, value={"serial": serial_of(job) if serial is None else serial}, by=by)
    return job, fact


def test_a_fitting_tells_the_home_what_happens_next():
    fitted()

    message = Message.objects.get()

    assert (message.kind, message.state) == ("collar_fitted", "owed")
    assert "We know of it since Monday, November 16." in outbox.preview(message).text


def test_another_serial_is_told_nobody_until_it_is_cleared_and_an_import_tells_nobody():
    fitted(serial="MR-99999")
    fitted(by=actors.command("import", source="import"))

    assert not Message.objects.exists()


def test_a_corrected_day_withdraws_the_message_and_owes_it_anew_and_a_fitting_taken_back_owes_none(dana):
    _, fact = fitted()

    corrected = homefacts.correct(fact, when=When(by=ON - dt.timedelta(days=2)), reason="seen on Saturday", by=dana)

    first, second = Message.objects.order_by("pk")
    assert (first.state, second.state) == ("withdrawn", "owed")
    assert "since Saturday, November 14" in outbox.preview(second).text

    homefacts.correct(corrected, withdraw=True, reason="the wrong home", by=dana)
    assert set(Message.objects.values_list("state", flat=True)) == {"withdrawn"}


def test_once_verified_or_removed_it_is_due_no_more():
    job, _ = fitted()
    message = Message.objects.get()
    put(job, k.VERIFICATION, on=ON, value={"result": "passed", "record": "made-by-test"})
    message.refresh_from_db()

    with pytest.raises(Exception, match="The backup was verified meanwhile"):
        outbox.release(message, by=SYSTEM)

    put(job, k.COLLAR_REMOVED, on=ON)
    message.refresh_from_db()
    with pytest.raises(Exception, match="not in place any more"):
        outbox.release(message, by=SYSTEM)
