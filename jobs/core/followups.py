"""What must follow from a settled fact in the same transaction: the one seam upward.

An app registers, when it is ready (AppConfig.ready), a function that takes a Settled. It may write rows and owe messages; it must not send.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from jobs.core.actors import Actor
from jobs.core.models import Fact, Job, StateChange
from jobs.core.states import Facts, JobState


@dataclass(frozen=True)
class Settled:
    """One settling of one job: what is true now, and what just changed."""

    job: Job
    facts: Facts
    state: JobState
    by: Actor
    new: tuple[Fact, ...] = ()
    steps: tuple[StateChange, ...] = field(default=())

    @property
    def quiet(self) -> bool:
        """True for imports: no message is owed to anyone outside, nothing is drafted."""
        return self.by.quiet

    def has_new(self, *kinds: str) -> bool:
        return any(fact.kind in kinds and not fact.withdrawn for fact in self.new)

    def entered(self, state: str) -> bool:
        return any(step.became == state for step in self.steps)


FollowUp = Callable[[Settled], None]

_registered: dict[str, FollowUp] = {}


def register(function: FollowUp) -> FollowUp:
    """Registered once under its full name, however often the app is made ready."""
    _registered[f"{function.__module__}.{function.__qualname__}"] = function
    return function


def run(settled: Settled) -> None:
    for function in list(_registered.values()):
        function(settled)
