"""Where each collar is, and to which home it belongs.

To which home follows from the home's facts (`follow`, after each settling); a serial belongs to one home at a time. A second serial
registered at a home is a swap: on record as a move, and it bars the first one from any home until somebody has looked at it.
"""

from __future__ import annotations

import datetime as dt

from jobs.core import clock, facts, files, serials, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.facts import Said, When
from jobs.core.followups import Settled
from jobs.core.lifecycle import settle
from jobs.core.models import BagTag, Collar, CollarMove, Document, Fact, Job, Place, WithdrawnRevision
from jobs.core.refusals import Refused
from jobs.core.states import Facts, hung

RIGHT = "core.record_custody"
BY_HAND = (Place.STORE, Place.VAN, Place.SITE, Place.UTILITY, Place.RETURNED, Place.UNKNOWN)  # in the socket a fitting puts it


@act(right=RIGHT)
def receive(
    serial: str, *, on: dt.date, by: Actor, revision: str = "", order_number: str = "", where: str = "", sure: bool = False
) -> Collar:
    """A collar came into the store."""
    serial = read_serial(serial, sure=sure)
    refuse_withdrawn(revision)
    _refuse_ahead(on)
    one_at_a_time(f"serial {serial}")
    if Collar.objects.filter(serial=serial).exists():
        raise Refused(f"Serial {serial} is on record already; see where it is, and record a move instead.", field="serial")
    collar = Collar.objects.create(serial=serial, revision=revision.strip(), order_number=order_number.strip(), received_on=on)
    _move(collar, Place.STORE, on=on, where=where.strip(), by=by)
    return collar


@act(right=RIGHT, on=Collar)
def move(collar: Collar, *, to: str, on: dt.date, by: Actor, where: str = "", reason: str = "") -> Collar:
    """The collar is somewhere else now."""
    if to not in BY_HAND:
        raise Refused(
            "Say where it is now: store, van, home, utility, returned or not known. A fitting puts it into the socket.", field="to"
        )
    _refuse_ahead(on)
    if collar.place_since is not None and on < collar.place_since:
        since = words.day(collar.place_since)
        raise Refused(f"It is on record as {collar.get_place_display()} since {since}; it moved on or after that day.", field="on")
    if to == Place.SITE and collar.job is None:
        raise Refused("It is registered for no home; register it for the one where it hangs first.", field="to")
    _move(collar, Place(to), on=on, where=where.strip(), reason=reason.strip(), by=by)
    return collar


@act(right="core.correct_any_fact", on=Collar)
def lift_bar(collar: Collar, *, reason: str, by: Actor) -> Collar:
    """Somebody has looked at a barred collar: it may be registered again."""
    if collar.barred_on is None:
        raise Refused(f"Serial {collar.serial} is not barred.")
    if not reason.strip():
        raise Refused("Say who looked at it and what was found; a barred collar is not used again on a guess.", field="reason")
    collar.barred_on, collar.barred_why, collar.barred_by = None, "", None
    collar.save(update_fields=["barred_on", "barred_why", "barred_by"])
    _move(collar, Place(collar.place), on=clock.office_today(), where=collar.where, reason=f"may be used again: {reason.strip()}", by=by)
    return collar


@act(right=RIGHT, on=Job)
def record_collar_lost(
    job: Job,
    *,
    on: dt.date,
    what: str,
    by: Actor,
    reported_by: str = "",
    police_report: str = "",
    who_pays: str = "",
    claim: str = "",
    photo: Document | None = None,
) -> Fact:
    """The bag was found empty, or the collar damaged (TRADE.md C9). Until another one hangs there, a visit is for nothing."""
    if not facts.of(job).serial:
        raise Refused("No collar is registered for this home, so none can be missing.", field="what")
    value = {"what": what, "reported_by": reported_by, "police_report": police_report, "who_pays": who_pays, "claim": claim}
    said_by = Said(reported_by) if reported_by else Said("crew", by.name)
    evidence = [photo] if photo else []
    fact = facts.record(job, k.COLLAR_LOST, when=When(on=on), said_by=said_by, by=by, value=value, evidence=evidence)
    settle(job, by=by, new=(fact,))
    return fact


@act(right=RIGHT, on=Job)
def record_bag_seen(job: Job, *, on: dt.date, name: str, data: bytes, by: Actor, said_by: Said | None = None) -> Fact:
    """A photo of the bag where it hangs, taken by somebody of ours."""
    return see_bag(job, on=on, name=name, data=data, said_by=said_by or Said("crew", by.name), by=by)


# What acts, imports and the homeowner's page share. The caller holds the job's lock.


def see_bag(job: Job, *, on: dt.date, name: str, data: bytes, said_by: Said, by: Actor) -> Fact:
    if not hangs(facts.of(job)):
        raise Refused("No bag with a collar hangs at this home, so there is nothing to photograph.", field="photo")
    document = files.add_document(job, name=name, data=data, subject="the bag", by=by)
    if not document.content_type.startswith("image/"):
        raise Refused(f"“{name}” is no picture; a JPEG or PNG of the bag is wanted.", field="photo")
    fact = facts.record(job, k.BAG_SEEN, when=When(on=on), said_by=said_by, by=by, evidence=[document])
    settle(job, by=by, new=(fact,))
    return fact


def hangs(known: Facts) -> bool:
    """Whether a collar hangs in its bag at the home, as far as the facts say."""
    last = known.latest(k.COLLAR_STAGED, k.COLLAR_FITTED, k.COLLAR_LOST)
    return last is not None and last.kind == k.COLLAR_STAGED and hung(last)


def last_seen(known: Facts) -> dt.date | None:
    """The day on which the bag was last seen by a photo or by whoever hung it; None where none hangs."""
    seen = known.latest(k.COLLAR_STAGED, k.BAG_SEEN)
    return seen.day if seen is not None and hangs(known) else None


def trouble(known: Facts) -> str:
    """Why a visit of the utility would be for nothing: the collar was found missing or damaged, and none was hung since. Else nothing."""
    for fact in reversed(known.of(k.VISIT, k.COLLAR_LOST, k.COLLAR_STAGED, k.COLLAR_FITTED)):
        if fact.kind == k.COLLAR_FITTED or (fact.kind == k.COLLAR_STAGED and hung(fact)):
            return ""
        if fact.kind == k.COLLAR_LOST:
            return f"the collar was found {fact.value['what']} on {words.day(fact.day)}"
        if fact.value.get("outcome") in ("collar not found", "collar damaged or wrong"):
            return f"the utility's crew reported on {words.day(fact.day)}: {fact.value['outcome']}"
    return ""


def read_serial(text: str, *, sure: bool) -> str:
    """A typed or scanned serial in its one form; a letter that may be a digit is asked about."""
    try:
        serial = serials.normal(text)
    except ValueError as fault:
        raise Refused(str(fault), field="serial") from fault
    if not sure and (asked := serials.question(serial)):
        raise Refused(asked, field="serial")
    return serial


def refuse_barred(serial: str) -> None:
    """A barred serial goes to no home; also not back to the one it was taken from."""
    collar = Collar.objects.filter(serial=serial, barred_on__isnull=False).first()
    if collar is not None and collar.barred_on is not None:
        raise Refused(
            f"Serial {serial} is barred since {words.day(collar.barred_on)}: {collar.barred_why}. "
            "Once somebody has looked at it, the operations manager lifts the bar.",
            field="serial",
        )


def refuse_withdrawn(revision: str) -> None:
    gone = WithdrawnRevision.objects.filter(revision__iexact=revision.strip()).first() if revision.strip() else None
    if gone is not None:
        raise Refused(
            f"Revision {gone.revision} is withdrawn since {words.day(gone.on)} ({gone.notice}); a collar of another revision is wanted.",
            field="revision",
        )


def revision_of(serial: str) -> str:
    """As the store received it; nothing where it did not say."""
    return Collar.objects.filter(serial=serial).values_list("revision", flat=True).first() or ""


def follow(settled: Settled) -> None:
    """Bring the collars to what the home's facts say now."""
    for fact in settled.new:
        if fact.kind == k.COLLAR_REGISTERED:
            _registered(settled, fact)
        elif fact.kind in (k.COLLAR_STAGED, k.COLLAR_FITTED, k.COLLAR_REMOVED, k.COLLAR_LOST):
            _placed(settled, fact)


def _registered(settled: Settled, fact: Fact) -> None:
    job, serial = settled.job, settled.facts.serial
    before = Collar.objects.filter(job=job).first()
    if before is not None and before.serial == serial:
        _keep_revision(before, settled.facts)
        return
    taken_back = fact.withdrawn or fact.replaces_id is not None
    if before is not None:
        before.job = None
        if not taken_back:
            before.barred_on, before.barred_by = fact.day, fact
            before.barred_why = f"swapped for {serial} at job {job.code}"
        before.save(update_fields=["job", "barred_on", "barred_by", "barred_why"])
        reason = "registered in error" if taken_back else before.barred_why
        _move(before, Place.UNKNOWN, on=fact.day, home=job, reason=reason, fact=fact, by=settled.by)
        ended = f"the collar was swapped for {serial}" if not taken_back else "the serial was registered in error"
        BagTag.objects.filter(job=job, ended_at__isnull=True).update(ended_at=clock.now(), ended_why=ended)
    if not serial:
        return
    collar, _ = Collar.objects.get_or_create(serial=serial)
    collar.job = job
    if taken_back and collar.barred_by_id == fact.replaces_id:
        collar.barred_on, collar.barred_why, collar.barred_by = None, "", None
    collar.save(update_fields=["job", "barred_on", "barred_why", "barred_by"])
    _keep_revision(collar, settled.facts)
    words_of_it = f"registered for job {job.code}"
    _move(collar, Place(collar.place), on=fact.day, where=collar.where, home=job, reason=words_of_it, fact=fact, by=settled.by)


def _keep_revision(collar: Collar, known: Facts) -> None:
    registered = known.latest(k.COLLAR_REGISTERED)
    revision = str(registered.value.get("revision") or "") if registered else ""
    if revision and revision != collar.revision:
        collar.revision = revision
        collar.save(update_fields=["revision"])


def _placed(settled: Settled, fact: Fact) -> None:
    collar = Collar.objects.filter(job=settled.job).first()
    if collar is None:
        return
    last = settled.facts.latest(k.COLLAR_STAGED, k.COLLAR_FITTED, k.COLLAR_REMOVED, k.COLLAR_LOST)
    if last is None:
        place, where, reason = Place.UNKNOWN, "", "taken back"
    elif last.kind == k.COLLAR_STAGED:
        there = hung(last)
        place, where = (Place.SITE, str(last.value.get("place") or "")) if there else (Place(collar.place), collar.where)
        reason = "" if there else f"not staged: {last.value.get('reason', '')}"
    elif last.kind == k.COLLAR_FITTED:
        # The utility's crew fits what hangs there; whether it is this serial the home's own rule asks.
        place, where, reason = Place.SOCKET, "", ""
    elif last.kind == k.COLLAR_LOST:
        place, where, reason = Place.UNKNOWN, "", f"found {last.value['what']}"
    else:
        place, where, reason = Place.UNKNOWN, "", "removed from the socket"
    on = last.day if last is not None else fact.day
    _move(collar, place, on=on, where=where, home=settled.job, reason=reason, fact=fact, by=settled.by)


def _move(
    collar: Collar,
    place: Place,
    *,
    on: dt.date,
    by: Actor,
    where: str = "",
    home: Job | None = None,
    reason: str = "",
    fact: Fact | None = None,
) -> None:
    CollarMove.objects.create(
        collar=collar,
        on=on,
        place=place,
        where=where[:160],
        home=home or collar.job,
        reason=reason[:240],
        fact=fact,
        by_name=by.name,
        recorded_at=clock.now(),
    )
    if collar.place != place or collar.place_since is None:
        collar.place_since = on
    collar.place, collar.where = place, where[:160]
    collar.save(update_fields=["place", "where", "place_since"])


def _refuse_ahead(on: dt.date) -> None:
    if on > clock.office_today():
        raise Refused(f"{words.day(on)} has not come yet; record it when it has happened.", field="on")
