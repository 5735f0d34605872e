"""Acts on the other facts of a home: papers, gateway, medical answer, removal, emergency, cancellation, corrections, holds."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from jobs.core import clock, facts, lifecycle, rules, walltime, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.dayone import normal_serial, refuse_if_held_elsewhere
from jobs.core.facts import KINDS, Said, When
from jobs.core.models import Document, Fact, Hold, Job
from jobs.core.models.holds import HoldKind, Stops
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.states import S
from jobs.core.waiting import open_emergency as open_emergency_of


def write(
    job: Job,
    kind: str,
    *,
    when: When,
    said_by: Said,
    by: Actor,
    value: dict[str, Any] | None = None,
    note: str = "",
    evidence: Sequence[Document] = (),
) -> Fact:
    """Record one fact and settle: what most acts of every app do. Called inside an act."""
    fact = facts.record(job, kind, when=when, said_by=said_by, by=by, value=value, note=note, evidence=evidence)
    lifecycle.settle(job, by=by, new=(fact,))
    return fact


@act(right="core.record_papers", on=Job)
def record_permission_to_operate(job: Job, *, on: dt.date, by: Actor, reference: str = "") -> Fact:
    return write(job, k.PERMISSION_TO_OPERATE, when=When(on=on), said_by=Said("utility"), by=by, value={"reference": reference})


@act(right="core.record_papers", on=Job)
def record_final_inspection(job: Job, *, on: dt.date, by: Actor, reference: str = "") -> Fact:
    return write(
        job, k.FINAL_INSPECTION, when=When(on=on), said_by=Said("authority having jurisdiction"), by=by, value={"reference": reference}
    )


@act(right="core.record_gateway", on=Job)
def record_gateway_report(job: Job, *, at: dt.datetime, state: str, by: Actor, serial: str = "", firmware: str = "") -> Fact:
    """What the gateway reports of the collar; a serial other than the registered one stops the home from being energized here."""
    serial = normal_serial(serial) if serial else ""
    fact = facts.record(
        job,
        k.GATEWAY_REPORT,
        when=When(at=at),
        said_by=Said("gateway"),
        by=by,
        value={"serial": serial, "state": state, "firmware": firmware},
    )
    lifecycle.settle(job, by=by, new=(fact,))
    return fact


@act(right="core.record_gateway", on=Job)
def record_communications(job: Job, *, at: dt.datetime, by: Actor) -> Fact:
    return write(job, k.COMMUNICATIONS_SEEN, when=When(at=at), said_by=Said("gateway"), by=by)


@act(right="core.record_gateway", on=Job)
def record_software_updated(job: Job, *, on: dt.date, by: Actor, version: str = "") -> Fact:
    return write(job, k.SOFTWARE_UPDATED, when=When(on=on), said_by=Said("gateway"), by=by, value={"version": version})


@act(right="core.record_medical", on=Job)
def record_medical_answer(job: Job, *, answer: str, said_by: str, on: dt.date, by: Actor) -> Fact:
    """Does anyone at home rely on powered medical equipment? The answer and who gave it; never a diagnosis."""
    if not said_by.strip():
        raise Refused("Say who gave the answer; an answer without a name does not count.", field="said_by")
    return write(job, k.MEDICAL_ANSWER, when=When(on=on), said_by=Said("at home", said_by.strip()), by=by, value={"answer": answer})


@act(right="core.record_requests", on=Job)
def record_removed(job: Job, *, by_on: dt.date, said_by: Said, by: Actor, after_on: dt.date | None = None, sign: str = "") -> Fact:
    """The collar is gone: the home has no backup, waits anew, and the passed verification no longer stands."""
    fitted = facts.of(job).fitted
    if fitted is None:
        raise Refused("No fitted collar is on record here, so none can have been removed.", field="by_on")
    if by_on < fitted.day:
        raise Refused(f"The collar was fitted on {words.day(fitted.day)}; it was removed on or after that day.", field="by_on")
    return write(job, k.COLLAR_REMOVED, when=When(after=after_on, by=by_on), said_by=said_by, by=by, value={"sign": sign})


@act(right="core.record_requests", on=Job)
def record_homeowner_told(job: Job, *, on: dt.date, how: str, who: str, by: Actor) -> Fact:
    return write(job, k.HOMEOWNER_TOLD, when=When(on=on), said_by=Said("us", by.name), by=by, value={"how": how, "who": who})


@act(right="core.record_emergency", on=Job)
def open_emergency(job: Job, *, what: str, by: Actor, off: str = "", caller: str = "") -> Fact:
    """House dark, half dark, smoke, shock: no test may be booked or begun while it stands. off: what is without power."""
    said_by = Said("caller", caller.strip()) if caller.strip() else Said("us", by.name)
    value = {"what": what, "off": off, "caller": caller.strip()}
    return write(job, k.EMERGENCY_OPENED, when=When(at=clock.now()), said_by=said_by, by=by, value=value)


@act(right="core.end_emergency", on=Job)
def end_emergency(job: Job, *, how: str, by: Actor) -> Fact:
    if open_emergency_of(facts.of(job)) is None:
        raise Refused("No emergency stands at this home; its end may just have been recorded.")
    return write(job, k.EMERGENCY_ENDED, when=When(at=clock.now()), said_by=Said("us", by.name), by=by, value={"how": how})


@act(right="core.cancel_jobs", on=Job)
def cancel(job: Job, *, on: dt.date, reason: str, by: Actor) -> Fact:
    if job.state == S.BACKUP_VERIFIED:
        raise Refused("The backup of this home is verified; a finished job cannot be cancelled.")
    if job.state == S.CANCELLED:
        raise Refused("This job is already cancelled.")
    return write(job, k.CANCELLED, when=When(on=on), said_by=Said("us", by.name), by=by, value={"reason": reason})


@act(right="core.correct_facts", on=Fact, scope="correctable_by")
def correct(
    fact: Fact, *, by: Actor, reason: str, when: When | None = None, value: dict[str, Any] | None = None, withdraw: bool = False
) -> Fact:
    """A new fact that names the one it replaces, or withdraws it; the old one is kept and the state derived anew."""
    refuse_correction(fact, by=by)
    if hasattr(fact, "replaced_by"):
        raise Refused("This fact was corrected meanwhile; correct the newer one.")
    if not reason.strip():
        raise Refused("Give the reason for the correction; it stands in the ledger.", field="reason")
    if fact.kind in (k.CT_CHECK, k.PV_CHECK, k.METER_TIMED, k.METER_CUT_OVER) and value is not None:
        raise Refused("What is computed from readings is not typed; record a new check.", field="reason")
    if fact.kind == k.COLLAR_REGISTERED and value and value.get("serial") != fact.value["serial"]:
        raise Refused("Register the other serial as a new fact: a swap is on record, never written over.", field="reason")
    new = facts.record(
        fact.job,
        fact.kind,
        when=when or When(on=fact.happened_on, at=fact.happened_at, after=fact.after_on, by=fact.by_on),
        said_by=Said(fact.said_by_role, fact.said_by_name),
        by=by,
        value=dict(fact.value) if value is None else value,
        note=fact.note,
        evidence=list(fact.evidence.all()),
        replaces=fact,
        reason=reason.strip(),
        withdrawn=withdraw,
    )
    lifecycle.settle(fact.job, by=by, new=(new,))
    if fact.kind in (k.COLLAR_REGISTERED, k.CANCELLED):
        # Taken back, an older serial counts here again; meanwhile it may have gone to another home.
        refuse_if_held_elsewhere(fact.job, facts.of(fact.job).serial)
    return new


def refuse_correction(fact: Fact, *, by: Actor) -> None:
    """Raises where this person may not correct this fact, or not any more."""
    own = KINDS[fact.kind].own
    if not own:
        raise Refused(
            f"“{KINDS[fact.kind].words}” is not changed afterwards: a call is moved or given up on its own page, "
            "and a correction is added to its record."
        )
    if by.may("core.correct_any_fact"):
        return
    days = 0 if by.user and not by.may("core.see_jobs") else rules.number("own_correction_days")  # a crew: the same day
    zone = fact.job.site.zone  # both days by the clock at the home: in the evening there, UTC is a day ahead
    age = (clock.today_in(zone) - fact.recorded_at.astimezone(walltime.zone_of(zone)).date()).days
    if not by.may(own):
        raise NotAllowed("Only those who record this kind of fact, or the operations manager, may correct it.")
    if age > days:
        until = f"after {words.count(days, 'day')}" if days else "after the day itself"
        raise Refused(f"This was recorded {words.count(age, 'day')} ago; {until} only the operations manager corrects it.")


@act(right="core.hold", on=Job)
def hold(job: Job, *, kind: str, stops: Sequence[str], review_on: dt.date, reason: str, by: Actor) -> Hold:
    """Stop some of what we do for a home, until somebody looks again. The wait goes on."""
    today = clock.office_today()
    if kind not in HoldKind.values:
        raise Refused(f"“{kind}” is not a kind of hold; wanted one of: {', '.join(HoldKind.values)}.", field="kind")
    if not stops or set(stops) - set(Stops.values):
        raise Refused("Say what the hold stops; at least one.", field="stops")
    if review_on <= today:
        raise Refused("The day to look again must lie ahead; a hold without one is forgotten.", field="review_on")
    if not reason.strip():
        raise Refused("Give the reason for the hold.", field="reason")
    made = Hold.objects.create(
        job=job, kind=kind, stops=sorted(stops), from_on=today, review_on=review_on, reason=reason.strip(), by=by.user, by_name=by.name
    )
    lifecycle.settle(job, by=by)  # what follows from a stop, a call that cannot be held for instance, follows at once
    return made


@act(right="core.hold", on=Hold)
def lift(hold: Hold, *, by: Actor) -> Hold:
    if hold.lifted_at is not None:
        raise Refused("This hold is already lifted.")
    hold.lifted_at, hold.lifted_by_name = clock.now(), by.name
    hold.save(update_fields=["lifted_at", "lifted_by_name"])
    return hold


def stopped(job: Job) -> frozenset[str]:
    """What the holds that stand today stop for this job: their union."""
    return frozenset(what for hold in job.holds.standing(clock.office_today()) for what in hold.stops)
