"""What makes the forecasts stale has them worked out soon; the sweep finds within minutes what a lost wake-up left."""

from __future__ import annotations

from jobs.core import waking
from jobs.core.followups import Settled
from utilities.truth import ABOUT_REQUESTS


def owe_forecasts(settled: Settled) -> None:
    """The follow-up: a sending, an end or a fitting changes what is to be expected of the others at that utility too."""
    if any(fact.kind in ABOUT_REQUESTS for fact in settled.new):
        wake()


def wake() -> None:
    waking.wake("utilities.tasks.refresh_stale")
