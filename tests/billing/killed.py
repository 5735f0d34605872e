"""Processes that release the same drafts at once, some of them killed while they hold one: for the test, and bigger for the bench."""

from __future__ import annotations

import contextlib
import os
import select
import signal
import time
from collections.abc import Callable
from functools import partial

from django.db import connections

from billing import invoices
from billing.models import Invoice, InvoiceState
from jobs.core import files
from jobs.core.models import StoredFile
from jobs.core.refusals import Refused
from tests.make import SYSTEM

SECONDS = 120


def release_all(*, processes: int, killed: int) -> None:
    """Every draft is released by so many processes; so many of them die by SIGKILL with a number taken and nothing committed.

    The doomed do not end before they are killed, so each of them is killed while it holds a draft. What they leave, the others release;
    raises AssertionError if one that should live fails or does not end.
    """
    keys = list(Invoice.objects.drafts().order_by("pk").values_list("pk", flat=True))
    connections.close_all()  # a connection is not for two processes
    holding, told = os.pipe()
    doomed = [_fork(partial(_hold, keys[start:] + keys[:start], told)) for start in range(killed)]
    living = [_fork(partial(_release, keys[start:] + keys[:start])) for start in range(processes - killed)]
    try:
        for _ in range(killed):
            ready, _, _ = select.select([holding], [], [], SECONDS)
            assert ready, "no process came to hold a draft"
            pid = int.from_bytes(os.read(holding, 4), "big")
            os.kill(pid, signal.SIGKILL)
            assert os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) == -signal.SIGKILL
            doomed.remove(pid)
        until = time.monotonic() + SECONDS
        while living and time.monotonic() < until:
            pid, status = os.waitpid(living[0], 0)
            assert os.waitstatus_to_exitcode(status) == 0, "a process that should live failed"
            living.remove(pid)
    finally:
        for pid in [*doomed, *living]:
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)
        os.close(holding)
        os.close(told)


def _fork(work: Callable[[], None]) -> int:
    pid = os.fork()
    if pid:
        return pid
    # The child never comes back into the test: what it raises is its exit status.
    code = 1
    try:
        work()
        code = 0
    finally:
        os._exit(code)


def _release(keys: list[int]) -> None:
    for key in keys:
        draft = Invoice.objects.get(pk=key)
        if draft.state == InvoiceState.RELEASED:
            continue
        # Another process released it between the look and the lock: the one thing that is refused here.
        with contextlib.suppress(Refused):
            invoices.release(draft, by=SYSTEM)


def _hold(keys: list[int], told: int) -> None:
    """Take a number, store the paper, and wait there to be killed."""
    store = files.store

    def kept(data: bytes) -> StoredFile:
        row = store(data)
        os.write(told, os.getpid().to_bytes(4, "big"))
        signal.pause()
        return row

    files.store = kept
    _release(keys)


def whole(numbers: list[int], *, first: int) -> bool:
    """Neither a gap nor a repeat."""
    return sorted(numbers) == list(range(first, first + len(numbers)))
