"""A worker killed between handing a mail over and writing it down: a real process, a real mail server, a real SIGKILL."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading

import pytest
from aiosmtpd.controller import Controller
from django.conf import settings
from django.db import connection

from jobs.core import clock
from jobs.notices import leaving, outbox, tasks
from jobs.notices.models import Message, State
from tests.make import SYSTEM
from tests.notices.make import noon_zone, released

pytestmark = [pytest.mark.needs_postgres, pytest.mark.real_clock, pytest.mark.django_db(transaction=True)]

# What a worker does, in a process of its own; where it stands still, the test kills it.
WORKER = """
import os, signal, sys
import django
django.setup()
from django.db import connection
from jobs.notices import channels, leaving, tasks

def still(*words, **named):
    print("here", flush=True)
    signal.pause()

if sys.argv[2] == "before":
    channels.send = still
else:
    leaving.record = still
tasks.deliver(int(sys.argv[1]))
"""


class Sink:
    def __init__(self) -> None:
        self.ids: list[str] = []
        self.arrived = threading.Event()

    async def handle_DATA(self, server, session, envelope):  # noqa: N802 - the server calls it so
        line = next(line for line in envelope.content.splitlines() if line.startswith(b"Message-ID:"))
        self.ids.append(line.partition(b": ")[2].decode())
        self.arrived.set()
        return "250 taken"


@pytest.fixture
def sink():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    handler = Sink()
    controller = Controller(handler, hostname="127.0.0.1", port=port)
    controller.start()
    yield handler, port
    controller.stop()


def worker(pk: int, *, stops: str, port: int) -> subprocess.Popen[str]:
    database = connection.settings_dict
    url = f"postgres://{database['USER']}@/{database['NAME']}?host={database['HOST']}"
    environment = os.environ | {
        "DATABASE_URL": url,
        "EMAIL_URL": f"smtp://127.0.0.1:{port}",
        "FILES_DIR": str(settings.FILES_DIR),
        "DJANGO_SETTINGS_MODULE": "config.settings",
    }
    return subprocess.Popen(
        [sys.executable, "-c", WORKER, str(pk), stops], env=environment, cwd=settings.BASE_DIR, stdout=subprocess.PIPE, text=True
    )


def kill_there(process: subprocess.Popen[str]) -> None:
    assert process.stdout is not None
    assert process.stdout.readline() == "here\n"
    process.send_signal(signal.SIGKILL)
    assert process.wait(10) == -signal.SIGKILL
    process.stdout.close()


def run_out(message: Message) -> None:
    Message.objects.filter(pk=message.pk).update(claimed_until=clock.now())


@pytest.mark.parametrize(("stops", "copies"), [("before", 0), ("after", 1)])
def test_a_worker_killed_while_it_sends_leaves_a_message_that_may_have_been_sent(sink, stops, copies):
    handler, port = sink
    message = released(zone=noon_zone())

    kill_there(worker(message.pk, stops=stops, port=port))

    message.refresh_from_db()
    assert (message.state, message.attempts) == (State.SENDING, 1)
    assert len(handler.ids) == copies
    run_out(message)
    assert leaving.lose_leases() == 1
    tasks.deliver(message.pk)  # nothing sends it again by itself
    message.refresh_from_db()
    assert message.state == State.MAY_HAVE_BEEN_SENT
    assert len(handler.ids) == copies


def test_sent_again_by_a_person_the_copy_has_the_same_message_id(sink, settings):
    handler, port = sink
    message = released(zone=noon_zone())
    kill_there(worker(message.pk, stops="after", port=port))
    run_out(message)
    leaving.lose_leases()

    outbox.send_again(message, by=SYSTEM)
    settings.CAPTURE_MAIL = False
    settings.EMAIL = {"host": "127.0.0.1", "port": port, "user": "", "password": "", "ssl": False, "starttls": False}
    tasks.deliver(message.pk)

    message.refresh_from_db()
    assert (message.state, message.attempts) == (State.SENT, 2)
    assert handler.ids == [message.message_id, message.message_id]
