"""The one way to wake a worker. What is due stands in rows; a wake-up that is lost costs the time until the next sweep."""

from __future__ import annotations

from celery import current_app
from django.db import transaction


def wake(task: str, *args: int) -> None:
    """After the commit, and robust: with the broker away the rows are saved, and the person sees no error.

    By name, for the rules do not import the tasks.
    """
    # Not functools.partial: Django names the function that failed, and a partial has no name.
    transaction.on_commit(lambda: _send(task, args), robust=True)


def _send(task: str, args: tuple[int, ...]) -> None:
    current_app.send_task(task, args=args)
