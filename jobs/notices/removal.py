"""The kind "collar removed": the home has no backup now. Follows from the fact; a person telephones first and releases this."""

from __future__ import annotations

from typing import Any

from jobs.core import facts
from jobs.core import kinds as k
from jobs.core.followups import Settled
from jobs.core.models import Fact
from jobs.notices import kinds, ofafact, outbox
from jobs.notices.kinds import NoticeKind
from jobs.notices.models import Message

KIND = "collar_removed"
FITTED_AGAIN = "The collar was fitted again meanwhile."


def follow(settled: Settled) -> None:
    """A removal owes one message to each; one that is corrected away, or followed by a new fitting, withdraws what has not left."""
    job = settled.job
    standing = settled.facts.removed
    for fact in settled.new:
        if fact.kind == k.COLLAR_REMOVED and not fact.withdrawn and standing is not None and standing.order == fact.pk:
            outbox.owe(KIND, job=job, cause=cause_of(fact), about=ofafact.about(fact), by=settled.by)
        if fact.replaces and fact.replaces.kind == k.COLLAR_REMOVED:
            outbox.withdraw(job=job, cause=cause_of(fact.replaces), reason="The removal was corrected.")
    if settled.has_new(k.COLLAR_FITTED) and standing is None:
        for removed in job.facts.of_kind(k.COLLAR_REMOVED):
            outbox.withdraw(job=job, cause=cause_of(removed), reason=FITTED_AGAIN)


def cause_of(fact: Fact) -> str:
    return f"removed {fact.uid}"


def _context(message: Message) -> dict[str, Any]:
    return {"found_on": ofafact.day_words(message)}


def _still_due(message: Message) -> str | None:
    fact = ofafact.fact_of(message)
    if fact is None or message.job is None:
        return "The removal was corrected."
    standing = facts.of(message.job).removed
    if standing is None or standing.order != fact.pk:
        return FITTED_AGAIN
    return None


def register() -> None:
    # Safety: no hold stops it.
    kinds.register(
        NoticeKind(
            name=KIND,
            words="collar removed",
            to=("at_home", "owner"),
            context=_context,
            still_due=_still_due,
            required=("live_conductors",),
            stopped_by=None,
            by_text=True,
            required_in_text=("live_conductors",),
        )
    )
