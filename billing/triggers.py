"""What earns a milestone: names of facts and of states, all wanted. Works on a job's standing facts, without the database."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence

from jobs.core import kinds as k
from jobs.core.facts import KINDS
from jobs.core.states import NEEDS, Facts, HomeKind, Known, S, state_of

# Facts whose mere presence proves something. A check or a call can also say no: for those the state stands.
FACT_TRIGGERS = (
    k.CONTRACT_SIGNED,
    k.INSTALLED,
    k.COMMISSIONED,
    k.FINAL_INSPECTION,
    k.PERMISSION_TO_OPERATE,
    k.REQUEST_SENT,
    k.COLLAR_FITTED,
)
STATE_TRIGGERS = (S.GRID_TIED, S.AWAITING_UTILITY, S.COLLAR_ENERGIZED, S.BACKUP_VERIFIED)
TRIGGERS: dict[str, str] = {kind: KINDS[kind].words for kind in FACT_TRIGGERS} | {state.value: state.words for state in STATE_TRIGGERS}

# Triggers that only the utility's fitting can bring.
AFTER_THE_UTILITY = frozenset({k.COLLAR_FITTED, S.COLLAR_ENERGIZED.value, S.BACKUP_VERIFIED.value})

# The facts that a state rests on, for the evidence; those of the states before it are not repeated.
_RESTS_ON: dict[str, tuple[str, ...]] = {
    S.GRID_TIED.value: (k.COMMISSIONED, k.CT_CHECK, k.COLLAR_REGISTERED, k.COLLAR_STAGED, k.SHEET_GIVEN),
    S.AWAITING_UTILITY.value: (k.REQUEST_SENT,),
    S.COLLAR_ENERGIZED.value: (k.COLLAR_FITTED,),
    S.BACKUP_VERIFIED.value: (k.VERIFICATION,),
}
assert set(_RESTS_ON) == {state.value for state in NEEDS}


def words_of(triggers: Sequence[str]) -> str:
    return ", ".join(TRIGGERS.get(name, name.replace("_", " ")) for name in triggers)


def earned_on(triggers: Sequence[str], facts: Facts, reached: Mapping[S, dt.date]) -> dt.date | None:
    """The day of the fact that completes them, the first day known of a bracket; None while one is missing.

    reached: the first day on which each state was reached (`ever_reached`).
    """
    days = [_met_on(name, facts, reached) for name in triggers]
    known = [day for day in days if day is not None]
    return max(known) if known and len(known) == len(days) else None


def missing(triggers: Sequence[str], facts: Facts, reached: Mapping[S, dt.date]) -> list[str]:
    return [name for name in triggers if _met_on(name, facts, reached) is None]


def ever_reached(facts: Facts, home: HomeKind) -> dict[S, dt.date]:
    """The first day of each state, also where a removal of the collar has taken the job back since.

    What was earned before a removal stays earned. A voided verification proved nothing, so it is left out from the beginning.
    """
    voided = {fact.value.get("record") for fact in facts.of(k.VERIFICATION_VOIDED)}
    rows = [fact for fact in facts.rows if not (fact.kind == k.VERIFICATION and fact.value.get("record") in voided)]
    removals = [fact for fact in rows if fact.kind == k.COLLAR_REMOVED]
    first: dict[S, dt.date] = {}
    for known in [*([row for row in rows if row.place < removal.place] for removal in removals), rows]:
        for state, day in state_of(Facts(known), home).reached.items():
            first[state] = min(day, first.get(state, day))
    return first


def _met_on(name: str, facts: Facts, reached: Mapping[S, dt.date]) -> dt.date | None:
    if name in STATE_TRIGGERS:
        return reached.get(S(name))
    fact = facts.first(name)
    return fact.day if fact else None


def resting_on(triggers: Sequence[str], facts: Facts) -> list[Known]:
    """The standing facts that prove the triggers, in the order of their days: what an invoice gives as its evidence."""
    found: dict[int, Known] = {}
    for name in triggers:
        for kind in _RESTS_ON.get(name, (name,)):
            fact = _proof(kind, facts)
            if fact is not None:
                found[fact.order] = fact
    return sorted(found.values(), key=lambda fact: fact.place)


def _proof(kind: str, facts: Facts) -> Known | None:
    if kind == k.VERIFICATION:
        voided = {fact.value.get("record") for fact in facts.of(k.VERIFICATION_VOIDED)}
        passed = [f for f in facts.of(kind) if f.value.get("result") == "passed" and f.value.get("record") not in voided]
        return passed[0] if passed else None
    if kind == k.CT_CHECK:
        consistent = [fact for fact in facts.of(kind) if fact.value.get("verdict") == "consistent"]
        return consistent[-1] if consistent else None
    return facts.first(kind)
