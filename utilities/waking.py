"""What makes the forecasts stale has them worked out soon; the sweep finds within minutes what a lost wake-up left."""

from __future__ import annotations

from jobs.core import kinds as k
from jobs.core import waking
from jobs.core.followups import Settled
from jobs.core.models import Fact
from utilities.truth import ABOUT_REQUESTS


def owe_forecasts(settled: Settled) -> None:
    """The follow-up: a sending, an end or a fitting changes what is to be expected of the others there too; a promise, of its own home."""
    if any(fact.kind in ABOUT_REQUESTS or _promises(fact) for fact in settled.new):
        wake()


def _promises(fact: Fact) -> bool:
    return fact.kind == k.CONTACT and bool(fact.value.get("promised_by"))


def wake() -> None:
    waking.wake("utilities.tasks.refresh_stale")
