"""How many messages a worker takes from the outbox to a mail server, beside the mail server alone, and whether its memory stays flat.

    python -m tests.bench.notices [--messages 100000] [--homes 50]

Starts a PostgreSQL of its own and a mail server that takes everything (a process of its own). Run by hand; prints ratios.
"""

from __future__ import annotations

import argparse
import os
import resource
import socket
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jobs.notices.models import Message

SINK = """
import sys, time
from aiosmtpd.controller import Controller
class Sink:
    async def handle_DATA(self, server, session, envelope):
        return "250 taken"
Controller(Sink(), hostname="127.0.0.1", port=int(sys.argv[1])).start()
print("here", flush=True)
time.sleep(10 ** 6)
"""
ALONE = 200  # handed straight to the sink in each tenth of the run, for the ratio: a machine busy with other things slows both alike
BATCH = 2_000


@contextmanager
def sink() -> Iterator[int]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    process = subprocess.Popen([sys.executable, "-c", SINK, str(port)], stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    process.stdout.readline()
    try:
        yield port
    finally:
        process.terminate()
        process.wait(10)


@contextmanager
def office(mail_port: int) -> Iterator[None]:
    """Django on an empty database of its own, its mail going to the port."""
    from tests.database import TEST_ENVIRONMENT, Server, _binaries

    binaries = _binaries()
    if binaries is None:
        raise SystemExit("PostgreSQL's programs are not found; the figures are of PostgreSQL.")
    server = Server(binaries)
    server.start()
    try:
        with tempfile.TemporaryDirectory() as folder:
            os.environ.update(TEST_ENVIRONMENT, VAR_DIR=folder, FILES_DIR=f"{folder}/files", STATIC_DIR=f"{folder}/static")
            os.environ.update(
                DATABASE_URL=server.url.replace("/office?", "/postgres?"),
                EMAIL_URL=f"smtp://127.0.0.1:{mail_port}",
                DJANGO_SETTINGS_MODULE="config.settings",
            )
            import django
            from django.core.management import call_command
            from django.db import connections

            django.setup()
            call_command("migrate", verbosity=0)
            yield
            connections.close_all()
    finally:
        server.stop()


def owe(number: int, homes: int) -> float:
    """Messages released and due, spread over homes; seconds that owing and releasing one by the acts took."""
    from jobs.notices.models import Message
    from tests.notices.make import noon_zone, released

    models, began = [], time.perf_counter()
    for _ in range(homes):
        models.append(released(zone=noon_zone()))
    seconds = (time.perf_counter() - began) / homes
    for start in range(0, number - homes, BATCH):
        Message.objects.bulk_create(_copy(models[place % homes]) for place in range(start, min(start + BATCH, number - homes)))
    return seconds


def _copy(model: Message) -> Message:
    from jobs.notices.models import Message

    uid = uuid.uuid4()
    fields = {field.attname: getattr(model, field.attname) for field in Message._meta.concrete_fields if field.attname != "id"}
    return Message(**(fields | {"uid": uid, "to_key": f"copy {uid}", "message_id": f"<{uid}@larchlantern.example>"}))


def alone() -> float:
    """Seconds that one mail takes handed straight to the sink, made from a row but neither claimed nor recorded."""
    from jobs.notices import channels
    from jobs.notices.models import Message
    from jobs.notices.outcome import Result

    message = Message.objects.latest("pk")
    began = time.perf_counter()
    for _ in range(ALONE):
        assert channels.send(message).result == Result.SENT
    return (time.perf_counter() - began) / ALONE


def through(number: int) -> tuple[float, float, list[float]]:
    """Messages a second of one worker from row to sink, of the sink alone, and the worker's memory in MB after each tenth."""
    from jobs.notices import leaving, tasks
    from jobs.notices.models import Message

    done, seconds, memory, bare = 0, 0.0, [], []
    began = time.perf_counter()
    while keys := leaving.due():
        for pk in keys:
            tasks.deliver(pk)
            done += 1
            if done % max(number // 10, 1) == 0:
                seconds += time.perf_counter() - began
                memory.append(_rss_mb())
                bare.append(alone())
                began = time.perf_counter()
    seconds += time.perf_counter() - began
    assert Message.objects.filter(state="sent", attempts=1).count() == number == done
    return number / seconds, len(bare) / sum(bare), memory


def _rss_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1]) if Path("/proc/self/statm").exists() else 0
    return pages * resource.getpagesize() / 1024 / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--messages", type=int, default=100_000)
    parser.add_argument("--homes", type=int, default=50)
    told = parser.parse_args()
    with sink() as port, office(port):
        owing = owe(told.messages, told.homes)
        rate, bare, memory = through(told.messages)
    print(f"{told.messages:,} messages of {told.homes} homes, one worker, PostgreSQL, mail over SMTP with a connection each")
    print(f"one removal recorded, its message owed and released by the acts: {owing * 1000:.0f} ms, with all of its home")
    print(f"the mail server alone: {bare:.0f} a second; through the outbox: {rate:.0f} a second, {rate / bare:.2f} of it")
    print(
        f"memory of the worker after each tenth: {', '.join(f'{mb:.0f}' for mb in memory)} MB; last to first {memory[-1] / memory[0]:.2f}"
    )


if __name__ == "__main__":
    main()
