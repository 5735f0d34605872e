"""Settling a job on its facts; the only code that writes a state.

The acts that record facts of the home stand in dayone.py and homefacts.py.
"""

from __future__ import annotations

from typing import Any

from jobs.core import clock, facts, followups, rules
from jobs.core.actors import Actor
from jobs.core.models import Fact, Job, StateChange
from jobs.core.states import Facts, JobState, S, state_of, steps
from jobs.core.waiting import Limits, Waiting, waiting


def limits() -> Limits:
    return Limits(**{name: int(days) for name, days in rules.several("follow_up_days", "act_days", "answer_days").items()})


def waiting_of(job: Job, known: Facts, state: JobState, *, within: Limits) -> Waiting:
    return waiting(
        known,
        job.home_kind,
        state,
        limits=within,
        opened_on=job.created_at.date(),
        install_on=job.install_on,
        begin_on=job.imported_on,
    )


def cache_of(job: Job, known: Facts, *, within: Limits) -> dict[str, Any]:
    """What the facts say the cached columns should hold; settle writes it, reconcile compares."""
    state = state_of(known, job.home_kind)
    wait = waiting_of(job, known, state, within=within)
    return {
        "state": state.state.value,
        "state_since": state.since,
        "waiting_on": wait.on,
        "waiting_since": wait.since,
        "next_act": wait.next_act,
        "next_role": wait.role,
        "next_due_on": wait.due_on,
    }


def settle(job: Job, *, by: Actor, new: tuple[Fact, ...] = ()) -> Job:
    """Bring the job's state to what its facts say, and let follow what must.

    The act holds the job's row lock, so that two people who press two buttons on the same job are settled one after the
    other, each on what is
    true by then.
    """
    known = facts.of(job)
    state = state_of(known, job.home_kind)
    changes = []
    was = job.state
    for became in steps(S(job.state), state.state):
        since = state.since if became == state.state else state.reached.get(became)
        changes.append(
            StateChange.objects.create(
                job=job, was=was, became=became, since=since or clock.today_in(job.site.zone), by=by.name, at=clock.now()
            )
        )
        was = became
    cache = cache_of(job, known, within=limits())
    for name, value in cache.items():
        setattr(job, name, value)
    job.save(update_fields=list(cache))
    followups.run(followups.Settled(job=job, facts=known, state=state, by=by, new=new, steps=tuple(changes)))
    return job
