"""The kind "collar fitted": what happens next, and that there is no backup yet. Follows from the home becoming energized."""

from __future__ import annotations

from typing import Any

from jobs.core import facts
from jobs.core import kinds as k
from jobs.core.followups import Settled
from jobs.core.models import Fact
from jobs.core.states import S
from jobs.notices import kinds, ofafact, outbox
from jobs.notices.kinds import NoticeKind
from jobs.notices.models import Message

KIND = "collar_fitted"


def follow(settled: Settled) -> None:
    """A fitting owes one message to each, once its serial matches; one that is corrected away withdraws what has not left."""
    job, fitted = settled.job, settled.facts.fitted
    # A verification that was voided brings a home here too: it has had its message.
    arrived = any(step.became == S.COLLAR_ENERGIZED and step.was != S.BACKUP_VERIFIED for step in settled.steps)
    if arrived:
        _owe(settled)
    for fact in settled.new:
        if fact.replaces and fact.replaces.kind == k.COLLAR_FITTED:
            taken_back = outbox.withdraw(job=job, cause=cause_of(fact.replaces), reason="The fitting was corrected.")
            if taken_back and fitted is not None and fitted.order == fact.pk:
                _owe(settled)  # the text names its day


def _owe(settled: Settled) -> None:
    fitted = settled.facts.fitted
    if fitted is None or settled.state.state != S.COLLAR_ENERGIZED:
        return
    fact = Fact.objects.get(pk=fitted.order)
    outbox.owe(KIND, job=settled.job, cause=cause_of(fact), about=ofafact.about(fact), by=settled.by)


def cause_of(fact: Fact) -> str:
    return f"fitted {fact.uid}"


def _context(message: Message) -> dict[str, Any]:
    return {"by_on": ofafact.day_words(message)}


def _still_due(message: Message) -> str | None:
    fact = ofafact.fact_of(message)
    if fact is None or message.job is None:
        return "The fitting was corrected."
    known = facts.of(message.job)
    if known.fitted is None or known.fitted.order != fact.pk or known.removed is not None:
        return "The collar is not in place any more."
    if message.job.state == S.BACKUP_VERIFIED:
        return "The backup was verified meanwhile."
    return None


def register() -> None:
    kinds.register(
        NoticeKind(
            name=KIND,
            words="collar fitted, what happens next",
            to=("at_home", "owner"),
            context=_context,
            still_due=_still_due,
            required=("live_conductors",),
            may_go_by_itself=True,
            by_text=True,
            required_in_text=("live_conductors",),
        )
    )
