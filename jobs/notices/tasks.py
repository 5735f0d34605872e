"""Sending, woken by release or by the minute's sweep. Either may run twice: the claim lets one through."""

from __future__ import annotations

from celery import shared_task
from django.db import close_old_connections

from jobs.notices import asking, channels, leaving, outbox


@shared_task
def send_notice(pk: int) -> None:
    """Send one message, once, however many workers try."""
    # A worker outlives restarts of the database.
    close_old_connections()
    try:
        deliver(pk)
    finally:
        close_old_connections()


@shared_task
def sweep() -> None:
    """Each minute: messages that are due, and leases that killed workers left."""
    close_old_connections()
    try:
        leaving.lose_leases()
        leaving.drop_overtaken()
        outbox.release_anew()
        for pk in leaving.due():
            send_notice.delay(pk)
    finally:
        close_old_connections()


@shared_task
def ask_for_bag_photos() -> int:
    """Each morning: the bags that nobody has seen for long."""
    close_old_connections()
    try:
        return asking.ask_by_rhythm()
    finally:
        close_old_connections()


def deliver(pk: int) -> None:
    message = leaving.claim(pk)  # commits: a try is counted, the row is ours for five minutes
    if message is None:
        return  # sent, withdrawn, held, or another worker has it
    # Never inside a transaction: a slow mail server would hold a database lock, on SQLite the only one.
    outcome = channels.send(message)
    leaving.record(pk, outcome, attempt=message.attempts)  # a crash before this line leaves "may have been sent" for a person
