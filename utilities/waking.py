"""The one way to have forecasts worked out soon. What is stale stands in rows; a wake-up that is lost costs an hour, until the sweep."""

from __future__ import annotations

from celery import current_app
from django.db import transaction

from jobs.core.followups import Settled
from utilities.truth import ABOUT_REQUESTS


def owe_forecasts(settled: Settled) -> None:
    """The follow-up: a sending, an end or a fitting changes what is to be expected of the others at that utility too."""
    if any(fact.kind in ABOUT_REQUESTS for fact in settled.new):
        wake()


def wake() -> None:
    """After the commit, and robust: with the broker away the rows are saved, and the person sees no error."""
    transaction.on_commit(_send, robust=True)


def _send() -> None:
    # By name: the rules do not import the tasks.
    current_app.send_task("utilities.tasks.refresh_stale")
