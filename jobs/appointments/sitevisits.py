"""Site visits where the collar is in: instead of a call, or after a test that was not passed. Planned, ended, tested there, counted."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from jobs.appointments import records
from jobs.appointments.callsteps import CAUSES
from jobs.appointments.evidence import LOAD_SERVED, MID_CLOSED, MID_OPEN, UTILITY_POWER, Sighting, evidence
from jobs.appointments.models import Appointment, VerificationRecord
from jobs.appointments.visitmodels import SiteVisit, VisitReason
from jobs.core import clock, facts, homefacts, walltime, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.facts import CALL_RESULTS, SITE_VISIT_ENDS, Said, When
from jobs.core.models import Job, Person
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.core.waiting import open_emergency

MENDED, TESTED, NOT_DONE, CALLED_OFF = SITE_VISIT_ENDS
MOST_MINUTES = 24 * 60
MOST_W = 100_000


@act(right="core.assign_crew", on=Job)
def plan_visit(
    job: Job,
    *,
    reason: str,
    on: dt.date,
    person: Person,
    licensed_name: str,
    license_number: str,
    by: Actor,
    words: str = "",
    parts: str = "",
) -> SiteVisit:
    """A licensed person drives there. One at a time, and no call stands beside it."""
    today = clock.today_in(job.site.zone)
    if job.state != S.COLLAR_ENERGIZED:
        raise Refused(f"A visit for the backup's test wants a collar that is in; this home is {job.state_words}.")
    if reason not in VisitReason.values:
        raise Refused("Say why somebody drives there.", field="reason")
    if on < today:
        raise Refused("That day has passed at the home; plan a day from today on.", field="on")
    if not licensed_name.strip() or not license_number.strip():
        field = "license_number" if licensed_name.strip() else "licensed_name"
        raise Refused("Name the licensed person who goes there, with the number of the license: they decide on site.", field=field)
    if SiteVisit.objects.open().filter(job=job).exists():
        raise Refused("A site visit is planned for this home already; end it first.")
    if Appointment.objects.taking().filter(job=job).exists():
        raise Refused("A call stands for this home; give it up first, so that nobody waits by the telephone.")
    visit = SiteVisit.objects.create(
        job=job,
        person=person,
        after=_failed(job),
        reason=reason,
        words=words.strip(),
        planned_on=on,
        licensed_name=licensed_name.strip(),
        license_number=license_number.strip(),
        parts=parts.strip(),
        planned_at=clock.now(),
        planned_by_name=by.name,
    )
    who = f"{visit.licensed_name}, license {visit.license_number}"
    value = {"visit": str(visit.uid), "on": on.isoformat(), "reason": str(visit.get_reason_display()), "who": who}
    homefacts.write(job, k.SITE_VISIT_PLANNED, when=When(on=today), said_by=Said("us", by.name), by=by, value=value)
    return visit


@act(right="core.assign_crew", on=SiteVisit)
def end_visit(
    visit: SiteVisit,
    *,
    how: str,
    on: dt.date,
    found: str,
    by: Actor,
    parts_used: str = "",
    minutes: int | None = None,
    chargeable: bool | None = None,
) -> SiteVisit:
    """Without a test on site: mended, so that a call follows; not done; or called off."""
    _refuse_ended(visit)
    if how not in (MENDED, NOT_DONE, CALLED_OFF):
        raise Refused("Say how the visit ended; a test held there is recorded on its own page.", field="how")
    if not found.strip():
        raise Refused("Say what was found, or why the visit did not take place.", field="found")
    if how == MENDED and minutes is None:
        raise Refused("Say how long the work took; what a first test that failed has cost is counted.", field="minutes")
    _end(visit, how=how, on=on, found=found, by=by, parts_used=parts_used, minutes=minutes, chargeable=chargeable)
    return visit


@act(right="core.run_office", on=SiteVisit)
def note_cost(visit: SiteVisit, *, cost_minor: int, by: Actor) -> SiteVisit:
    """What the visit cost us, once; for the count of what a test costs that does not pass the first time."""
    if visit.is_open or visit.how == CALLED_OFF:
        raise Refused("The visit has not taken place; its cost is recorded when it has.")
    if visit.cost_minor is not None:
        raise Refused("The cost of this visit is recorded already.")
    visit.cost_minor = cost_minor
    visit.save(update_fields=["cost_minor"])
    return visit


@dataclass(frozen=True)
class OnSite:
    """What was read and seen during the test, with the time of each by the clock at the home."""

    load_before_w: int
    opened: dt.time
    utility_time: dt.time
    utility_w: int
    load_time: dt.time
    load: str
    load_w: int
    closed: dt.time

    def sightings(self, *, on: dt.date, zone: str) -> list[Sighting]:
        """Raises ValueError for a time that the clock at the home does not show that day."""

        def at(time: dt.time) -> dt.datetime:
            return walltime.instant(on, local_time=time, zone=zone, fold=0)

        return [
            Sighting(MID_OPEN, at(self.opened), None, 0),
            Sighting(UTILITY_POWER, at(self.utility_time), self.utility_w, 1),
            Sighting(LOAD_SERVED, at(self.load_time), self.load_w, 2),
            Sighting(MID_CLOSED, at(self.closed), None, 3),
        ]


@act(right="core.verify", on=SiteVisit)
def record_on_site(
    visit: SiteVisit,
    *,
    on: dt.date,
    result: str,
    by: Actor,
    test: OnSite | None = None,
    reason: str = "",
    cause: str = "",
    statement: str = "",
    put_back: str = "",
    found: str = "",
    parts_used: str = "",
    minutes: int | None = None,
) -> VerificationRecord:
    """The island test held on site with the licensed person; passed on the same evidence as on a call."""
    _refuse_ended(visit)
    job, zone = visit.job, visit.job.site.zone
    if on > clock.today_in(zone):
        raise Refused(f"{words.day(on)} has not come yet at the home; record the test when it was held.", field="on")
    if result not in CALL_RESULTS:
        raise Refused(f"The result is one of: {words.listed(CALL_RESULTS)}.", field="result")
    sightings = _read(test, on=on, zone=zone) if test else []
    seen = evidence(sightings, load_before_w=test.load_before_w if test else None, until=clock.now())
    if test and put_back not in ("yes", "no"):
        raise Refused("Say whether reserve and mode were put back.", field="put_back")
    if result == "passed":
        wanting = _wanting(job, seen.missing if test else "the times and readings of the test")
        if wanting:
            raise Refused(f"This cannot be recorded as passed: {wanting}.", field="result")
        if put_back != "yes":
            raise Refused("Put reserve and mode back before the test is recorded as passed.", field="put_back")
    elif not reason.strip():
        raise Refused(f"Give the reason for “{result}”; it is counted.", field="reason")
    user = by.user
    assert user is not None, "a person records a test; no link or rule has the right"
    now = clock.now()
    record = VerificationRecord.objects.create(
        job=job,
        visit=visit,
        result=result,
        reason="" if result == "passed" else reason.strip()[:300],
        cause="" if result == "passed" else (cause if cause in CAUSES else "other"),
        verifier=user,
        verifier_name=by.name,
        person_name=visit.person.name,
        statement=statement.strip(),
        begun_at=sightings[0].at if sightings else now,
        recorded_at=now,
        **records.proved(seen),
        put_back=put_back if test else "",
        presses=_frozen(test, sightings, by=by, now=now) if test else [],
        equipment=records.equipment_of(job),
    )
    told = found.strip() or (record.reason if record.reason else "the island test was held with the licensed person")
    _end(visit, how=TESTED, on=on, found=told, by=by, parts_used=parts_used, minutes=minutes, chargeable=None)
    records.tell(record, said_by=Said("verifier", by.name), by=by)
    return record


def _read(test: OnSite, *, on: dt.date, zone: str) -> list[Sighting]:
    if test.load_before_w <= 0:
        raise Refused("A load of nothing proves nothing; note what ran before the test.", field="load_before_w")
    beyond = [name for name in ("load_before_w", "utility_w", "load_w") if abs(getattr(test, name)) > MOST_W]
    if beyond:
        raise Refused("More than 100,000 W cannot be at a home; read it again, in watts.", field=beyond[0])
    times = (test.opened, test.utility_time, test.load_time, test.closed)
    if not (times[0] <= min(times[1:3]) and max(times[1:3]) <= times[3]):
        raise Refused("The order is: MID open, then utility power and the load, then the MID closed. Correct the times.", field="closed")
    try:
        sightings = test.sightings(on=on, zone=zone)
    except ValueError as fault:
        raise Refused(str(fault), field="opened") from None
    if sightings[-1].at > clock.now():
        raise Refused("That time has not come yet; record what was seen after it was seen.", field="closed")
    return sightings


def _wanting(job: Job, missing: str) -> str:
    if job.state != S.COLLAR_ENERGIZED:
        return f"the home must be collar energized (it is {job.state_words})"
    return "an emergency stands at the home" if open_emergency(facts.of(job)) else missing


def _frozen(test: OnSite, sightings: Sequence[Sighting], *, by: Actor, now: dt.datetime) -> list[dict[str, Any]]:
    """As a call's presses are kept, so that the record's paper has one form."""
    rows: list[dict[str, Any]] = [_row("readings", sightings[0].at, {"load_w": test.load_before_w, "load_name": test.load}, by=by, now=now)]
    for sighting in sightings:
        value: dict[str, Any] = {} if sighting.watts is None else {"watts": sighting.watts}
        rows.append(_row(sighting.what, sighting.at, value | ({"load": test.load} if sighting.what == LOAD_SERVED else {}), by=by, now=now))
    return rows


def _row(what: str, at: dt.datetime, value: dict[str, Any], *, by: Actor, now: dt.datetime) -> dict[str, Any]:
    told = {"what": what, "value": value, "at": at.isoformat(), "recorded_at": now.isoformat(), "by": by.name}
    return {**told, "corrects": None, "id": None, "withdrawn": False, "reason": ""}


def _failed(job: Job) -> VerificationRecord | None:
    """The test after which somebody drives there: the newest, if it was not passed."""
    last = VerificationRecord.objects.filter(job=job).order_by("recorded_at", "pk").last()
    return last if last is not None and last.result == "not passed" else None


def _refuse_ended(visit: SiteVisit) -> None:
    if not visit.is_open:
        raise Refused(f"This visit has ended: {visit.how}.")


def _end(
    visit: SiteVisit, *, how: str, on: dt.date, found: str, by: Actor, parts_used: str, minutes: int | None, chargeable: bool | None
) -> None:
    if on > clock.today_in(visit.job.site.zone):
        raise Refused(f"{words.day(on)} has not come yet at the home; record the visit when it was held.", field="on")
    if minutes is not None and not 0 < minutes <= MOST_MINUTES:
        raise Refused(f"{minutes} minutes on site cannot be; wanted 1 to {MOST_MINUTES}.", field="minutes")
    visit.how, visit.found, visit.parts_used = how, found.strip(), parts_used.strip()
    visit.minutes, visit.chargeable, visit.ended_on, visit.ended_at, visit.ended_by_name = minutes, chargeable, on, clock.now(), by.name
    fields = ["how", "found", "parts_used", "minutes", "chargeable", "ended_on", "ended_at", "ended_by_name"]
    visit.save(update_fields=fields)
    value = {"visit": str(visit.uid), "how": how, "found": visit.found}
    homefacts.write(visit.job, k.SITE_VISIT_ENDED, when=When(on=on), said_by=Said("us", by.name), by=by, value=value)


@dataclass(frozen=True)
class Counted:
    """Of a set of homes: tests passed by telephone, tests that took somebody there, and why."""

    avoided: int
    driven: int
    reasons: Sequence[tuple[str, int]]
    causes: Sequence[tuple[str, int]]
    minutes: int
    cost_minor: int


def counted(found: Iterable[VerificationRecord], visits: Iterable[SiteVisit]) -> Counted:
    """found: with their additions fetched. A voided record avoided nothing; a visit that was called off drove nobody."""
    found, held = list(found), [visit for visit in visits if not visit.is_open and visit.how != CALLED_OFF]
    voided = {record.pk for record in found if any(addition.voids for addition in record.additions.all())}
    reasons = {label: sum(visit.reason == value for visit in held) for value, label in VisitReason.choices}
    causes = {label: sum(record.cause == value for record in found) for value, label in CAUSES.items()}
    return Counted(
        sum(record.return_visit_avoided and record.pk not in voided for record in found),
        len(held),
        [(str(label), count) for label, count in reasons.items() if count],
        [(label, count) for label, count in causes.items() if count],
        sum(visit.minutes or 0 for visit in held),
        sum(visit.cost_minor or 0 for visit in held),
    )
