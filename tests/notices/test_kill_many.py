"""Five hundred messages, two timetables, workers killed at random, a mail server and a text gateway that misbehave in turn."""

from __future__ import annotations

import asyncio
import itertools
import json
import os
import random
import select
import signal
import subprocess
import sys
import time
import uuid
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack

import pytest
from aiosmtpd.controller import Controller
from django.conf import settings
from django.db import connection

from jobs.notices import leaving, tasks
from jobs.notices.models import Message, MessageFile, State
from tests.notices.gateway import TAKEN, Answer, Gateway, running
from tests.notices.make import free_port, noon_zone, released, text_to
from tests.races import race

pytestmark = [pytest.mark.needs_postgres, pytest.mark.real_clock, pytest.mark.django_db(transaction=True)]

EACH = 250  # mails, and as many texts
KILLS = 8
SECONDS = 150  # by then all must be settled; most often it takes a fifth

# A worker with short patience: it sends what is due until it is killed.
WORKER = """
import datetime as dt, json, os, random, time
import django
django.setup()
from django.conf import settings
from jobs.notices import channels, leaving, tasks, texts
settings.CAPTURE_TEXTS, settings.TEXT_GATEWAY = False, json.loads(os.environ["GATEWAY"])
channels.SECONDS = texts.SECONDS = 0.25
leaving.LEASE = dt.timedelta(seconds=4)
leaving.pause_after = lambda attempts, *, jitter: dt.timedelta(milliseconds=50)
print("here", flush=True)
while True:
    keys = leaving.due(limit=40)
    random.shuffle(keys)
    for pk in keys:
        tasks.deliver(pk)
    time.sleep(0.02)
"""


class Mail:
    """Takes, refuses for good, refuses for now, is slow, drops, falls silent, answers garbage: in turn."""

    def __init__(self) -> None:
        self.taken: Counter[str] = Counter()
        self.turn = itertools.count()

    async def handle_DATA(self, server, session, envelope):  # noqa: N802 - the server calls it so
        line = next(line for line in envelope.content.splitlines() if line.startswith(b"Message-ID:"))
        turn = next(self.turn) % 10
        if turn == 3:
            return "554 not this one"
        if turn in (4, 5):
            return "451 try again"
        self.taken[line.partition(b"<")[2].partition(b"@")[0].decode()] += 1
        if turn == 6:
            await asyncio.sleep(0.1)
        if turn == 7:
            server.transport.abort()
        if turn == 8:
            await asyncio.sleep(0.4)
        return "so be it" if turn == 9 else "250 taken"


TURNS = (
    TAKEN,
    TAKEN,
    TAKEN,
    Answer(400, b"not this one", takes=False),
    Answer(429, b"later", takes=False),
    Answer(503, b"later", takes=False),
    Answer(waits=0.1),
    Answer(drops=True),
    Answer(waits=0.4),
    Answer(body=b"so be it"),
)


@pytest.fixture
def far_end() -> Iterator[tuple[Mail, int, Gateway]]:
    mail = Mail()
    with ExitStack() as stack:
        controller = Controller(mail, hostname="127.0.0.1", port=free_port())
        controller.start()
        stack.callback(controller.stop)
        gateway = stack.enter_context(running())
        turn = itertools.count()
        gateway.answer = lambda told: TURNS[next(turn) % len(TURNS)]
        yield mail, controller.port, gateway


def owed(number: int) -> None:
    """As many mails and texts, released and due, all of one home."""
    mail = released(zone=noon_zone())
    for model in (mail, text_to(mail.job)):
        copies = []
        for place in range(number):
            uid = uuid.uuid4()
            fields = {field.attname: getattr(model, field.attname) for field in Message._meta.concrete_fields if field.attname != "id"}
            copies.append(Message(**(fields | {"uid": uid, "to_key": f"copy {place}", "message_id": f"<{uid}@larchlantern.example>"})))
        Message.objects.bulk_create(copies)
    assert not MessageFile.objects.exists()
    Message.objects.exclude(to_key__startswith="copy").delete()


def worker(environment: dict[str, str]) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", WORKER], env=environment, cwd=settings.BASE_DIR, stdout=subprocess.PIPE, text=True, start_new_session=True
    )


def environment_of(mail_port: int, gateway: Gateway) -> dict[str, str]:
    database = connection.settings_dict
    return os.environ | {
        "DATABASE_URL": f"postgres://{database['USER']}@/{database['NAME']}?host={database['HOST']}",
        "EMAIL_URL": f"smtp://127.0.0.1:{mail_port}",
        "FILES_DIR": str(settings.FILES_DIR),
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "GATEWAY": json.dumps(gateway.settings),
    }


def end(process: subprocess.Popen[str]) -> None:
    process.send_signal(signal.SIGKILL)
    process.wait(10)
    assert process.stdout is not None
    process.stdout.close()


def unsettled() -> int:
    return Message.objects.in_state(State.RELEASED, State.SENDING).count()


def kill_and_wait(environment: dict[str, str]) -> int:
    """Kill one of three workers at random moments until none is left to kill for, then wait until all is settled; how many were killed."""
    rng, killed, until = random.Random(4), 0, time.monotonic() + SECONDS
    team = [worker(environment) for _ in range(3)]
    try:
        while unsettled():
            assert time.monotonic() < until, f"{unsettled()} messages are not settled"
            time.sleep(rng.uniform(0.2, 0.8))
            leaving.lose_leases()
            ready = [one for one in team if one.stdout and _has_begun(one)]
            if killed < KILLS and ready:
                victim = rng.choice(ready)
                end(victim)
                killed += 1
                team[team.index(victim)] = worker(environment)
    finally:
        for one in team:
            end(one)
    return killed


_begun: set[int] = set()


def _has_begun(process: subprocess.Popen[str]) -> bool:
    """Whether the worker is past its start: killed before, it would show nothing."""
    assert process.stdout is not None
    if process.pid not in _begun and select.select([process.stdout], [], [], 0)[0] and process.stdout.readline() == "here\n":
        _begun.add(process.pid)
    return process.pid in _begun


def test_of_five_hundred_messages_each_arrives_once_or_is_marked_while_workers_are_killed(far_end, capsys):
    mail, port, gateway = far_end
    owed(EACH)
    began = time.monotonic()

    killed = kill_and_wait(environment_of(port, gateway))

    arrived = mail.taken + gateway.taken
    by_state: dict[str, Counter[int]] = {}
    for uid, state in Message.objects.values_list("uid", "state"):
        by_state.setdefault(state, Counter())[arrived[str(uid)]] += 1
    with capsys.disabled():
        sys.stdout.write(f"\n{2 * EACH} messages, {killed} workers killed, {time.monotonic() - began:.0f} s; copies at the far end: ")
        sys.stdout.write("; ".join(f"{state} {dict(sorted(copies.items()))}" for state, copies in sorted(by_state.items())) + "\n")
    assert killed == KILLS
    assert set(by_state) == {State.SENT, State.MAY_HAVE_BEEN_SENT, State.FAILED}
    assert set(by_state[State.SENT]) == {1}
    assert set(by_state[State.MAY_HAVE_BEEN_SENT]) <= {0, 1}
    assert set(by_state[State.FAILED]) == {0}
    assert sum(copies.total() for copies in by_state.values()) == 2 * EACH


def test_two_workers_and_two_timetables_at_once_send_nothing_twice(far_end, settings, monkeypatch):
    mail, port, gateway = far_end
    gateway.answer = lambda told: TAKEN
    owed(20)
    settings.CAPTURE_MAIL = True
    settings.CAPTURE_TEXTS, settings.TEXT_GATEWAY = False, gateway.settings
    # Each timetable finds all that is due and wakes the worker beside it.
    monkeypatch.setattr(tasks.send_notice, "delay", tasks.deliver)

    race(tasks.sweep, tasks.sweep)

    assert set(Message.objects.values_list("state", "attempts")) == {(State.SENT, 1)}
    assert sorted(gateway.taken.values()) == [1] * 20
