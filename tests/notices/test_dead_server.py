"""Two days without a mail server, by a moved clock; the server itself is real."""

from __future__ import annotations

import datetime as dt
import uuid
from collections import Counter

import pytest
from aiosmtpd.controller import Controller

from jobs.core import clock
from jobs.core import kinds as k
from jobs.notices import tasks
from jobs.notices.models import Message, State
from tests.make import put
from tests.notices.make import free_port, released

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.real_clock]

BEGAN = dt.datetime(2026, 11, 18, 18, 0, tzinfo=dt.UTC)  # a Wednesday, 11:00 at the home
DEAD = dt.timedelta(hours=48)
TICK = dt.timedelta(minutes=30)


class Sink:
    def __init__(self) -> None:
        self.ids: Counter[str] = Counter()

    async def handle_DATA(self, server, session, envelope):  # noqa: N802 - the server calls it so
        line = next(line for line in envelope.content.splitlines() if line.startswith(b"Message-ID:"))
        self.ids[line.partition(b": ")[2].decode()] += 1
        return "250 taken"


def copies(model: Message, number: int, *, not_after: dt.datetime | None) -> list[str]:
    made = []
    for _ in range(number):
        uid = uuid.uuid4()
        fields = {field.attname: getattr(model, field.attname) for field in Message._meta.concrete_fields if field.attname != "id"}
        fields |= {"uid": uid, "to_key": f"copy {uid}", "message_id": f"<{uid}@larchlantern.example>", "not_after": not_after}
        made.append(Message.objects.create(**fields).message_id)
    return made


def sweep_from(began: dt.datetime, until: dt.datetime) -> None:
    at = began
    while at < until:
        with clock.pretend(at):
            tasks.sweep()
        at += TICK


def test_after_48_hours_without_a_mail_server_what_is_due_arrives_once_and_what_is_over_is_withdrawn(settings, monkeypatch):
    monkeypatch.setattr(tasks.send_notice, "delay", tasks.deliver)
    port = free_port()
    settings.CAPTURE_MAIL = False
    settings.EMAIL = {"host": "127.0.0.1", "port": port, "user": "", "password": "", "ssl": False, "starttls": False}
    with clock.pretend(BEGAN):
        due, over, overtaken = released(), released(), released()
        still_due = [due.message_id, *copies(due, 3, not_after=None)]
        too_late = copies(over, 4, not_after=BEGAN + dt.timedelta(hours=24))
        Message.objects.filter(pk=over.pk).delete()

    sweep_from(BEGAN, BEGAN + DEAD / 2)
    with clock.pretend(BEGAN + DEAD / 2):
        put(overtaken.job, k.COLLAR_FITTED, on=dt.date(2026, 11, 19), value={"serial": f"LL-{overtaken.job.pk:06d}"})
    sweep_from(BEGAN + DEAD / 2, BEGAN + DEAD)
    assert set(Message.objects.filter(message_id__in=still_due).values_list("state", flat=True)) == {State.RELEASED}
    tried = Message.objects.get(message_id=still_due[0]).attempts
    assert 10 <= tried <= 40  # pauses grow to two hours and end by night; not one try each minute

    sink = Sink()
    controller = Controller(sink, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        sweep_from(BEGAN + DEAD, BEGAN + DEAD + dt.timedelta(hours=4))
    finally:
        controller.stop()

    assert sink.ids == Counter(still_due)
    assert set(Message.objects.filter(message_id__in=still_due).values_list("state", flat=True)) == {State.SENT}
    assert set(Message.objects.filter(message_id__in=too_late).values_list("state", "reason")) == {
        (State.WITHDRAWN, "Its time was over before it could leave.")
    }
    overtaken.refresh_from_db()
    assert (overtaken.state, overtaken.reason) == (State.WITHDRAWN, "The collar was fitted again meanwhile.")
