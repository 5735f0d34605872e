"""The one way to wake a worker. What is due stands in rows; a wake-up that is lost costs a minute, until the sweep."""

from __future__ import annotations

from celery import current_app
from django.db import transaction


def wake(pk: int) -> None:
    """After the commit, and robust: with the broker away the row is saved, the person sees no error, and the sweep finds it."""
    transaction.on_commit(lambda: _send(pk), robust=True)


def _send(pk: int) -> None:
    # By name: the rules do not import the tasks.
    current_app.send_task("jobs.notices.tasks.send_notice", args=[pk])
