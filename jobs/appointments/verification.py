"""Acts of the call: begin, what was said and seen, its result. The tool records; it commands no equipment.

Each press is saved by itself. An answer that is not the safe one ends the call at once, with its reason. From the MID reported open until
it is seen closed the call cannot end without saying whether the return was seen.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

from jobs.appointments import callsteps, readiness, records, sights, times
from jobs.appointments.callsteps import CAUSES, Readings
from jobs.appointments.evidence import LOAD_SERVED, MID_CLOSED, MID_OPEN, NOT_RETURNED, UTILITY_POWER, Evidence
from jobs.appointments.limits import Balance
from jobs.appointments.models import Appointment, AppointmentState, CallRecord, Press, VerificationRecord
from jobs.appointments.records import READINGS, SIGHTINGS
from jobs.appointments.sights import BALANCE, NORMAL, STOPPED, Stand
from jobs.core import clock, facts, homefacts, walltime, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.facts import CALL_RESULTS, Said, When
from jobs.core.models import Job, User
from jobs.core.refusals import Refused
from jobs.core.states import S
from jobs.core.waiting import open_emergency

WITH_WATTS = (UTILITY_POWER, LOAD_SERVED, NORMAL)
USUAL_MISSING = "import or export as usual was not seen since the return"
MOST_W = 100_000
ALONE_TOO_LONG = dt.timedelta(minutes=15)  # in island mode without a press


@act(right="core.verify", on=Appointment, scope="held_by")
def begin(appointment: Appointment, *, by: Actor) -> CallRecord:
    """Begin the call: on its day, in the hours in which the home may be called, and only while everything is still ready."""
    if CallRecord.objects.filter(appointment=appointment).exists():
        raise Refused("This call was begun already; go on where it stands.")
    if appointment.state == AppointmentState.OFFERED:
        raise Refused("The homeowner has not taken this time yet; record their answer first.")
    if not appointment.is_open:
        raise Refused(f"This call is not open any more: {appointment.get_state_display()}.")
    now, today = clock.now(), clock.today_in(appointment.zone)
    if today != appointment.local_date:
        raise Refused(f"This call is for {words.day(appointment.local_date)} at the home; move it to hold it on another day.")
    quiet = times.quiet_hours()
    if not walltime.inside(now, zone=appointment.zone, quiet=quiet):
        raise Refused(f"This home may be called from {quiet.opens:%H:%M} until {quiet.closes:%H:%M} by the clock there, and not now.")
    readiness.refuse_unless_ready(appointment.job, today)
    return CallRecord.objects.create(appointment=appointment, begun_at=now, last_press_at=now)


@act(right="core.verify", on=CallRecord, scope="held_by")
def acknowledge(call: CallRecord, *, caution: str, by: Actor) -> Press:
    """The person at home heard a caution and says so."""
    _refuse_ended(call)
    if caution not in callsteps.CAUTIONS:
        raise Refused("There is no such caution on this page.", field="caution")
    what = f"caution:{caution}"
    if call.presses.standing().filter(what=what).exists():
        raise Refused("This caution is acknowledged already.")
    return _press(call, what=what, by=by)


@act(right="core.verify", on=CallRecord, scope="held_by")
def answer_check(call: CallRecord, *, check: str, answer: str, by: Actor, note: str = "") -> Press:
    """What the person at home says today. Anything but a safe answer ends the call with its reason; medical answers count from here on."""
    _refuse_ended(call)
    asked = callsteps.check(check)
    given = asked.answer(answer) if asked else None
    if asked is None or given is None:
        raise Refused("Choose one of the answers.", field="answer")
    if call.presses.standing().filter(what=MID_OPEN).exists():
        raise Refused("The island test has begun; say first whether the return to the utility source was seen.")
    if call.presses.standing().filter(what=f"check:{check}").exists():
        raise Refused("This was answered already on this call.")
    value = {"answer": answer} | ({"note": note.strip()[:160]} if note.strip() and asked.note else {})
    press = _press(call, what=f"check:{check}", value=value, by=by)
    if check == "medical":
        homefacts.write(
            call.job,
            k.MEDICAL_ANSWER,
            when=When(on=clock.today_in(call.appointment.zone)),
            said_by=Said("at home", call.appointment.person.name),
            by=by,
            value={"answer": answer, "on_call": True},
        )
    if not given.safe:
        missed = answer == callsteps.NOBODY
        records.end(
            call, result="not finished", reason=given.reason, by=by, state=AppointmentState.MISSED if missed else AppointmentState.HELD
        )
    return press


@act(right="core.verify", on=CallRecord, scope="held_by")
def note_readings(call: CallRecord, *, readings: Readings, by: Actor) -> Press:
    """What runs before the island test, from which “served” is judged."""
    _refuse_ended(call)
    if wanting := _progress(call).before_readings:
        raise Refused(f"The readings come after cautions and questions; {wanting}.")
    if fault := readings.fault():
        raise Refused(fault[1], field=fault[0])
    if call.presses.standing().filter(what=READINGS).exists():
        raise Refused("The readings stand already; correct them instead.")
    return _press(call, what=READINGS, value=dataclasses.asdict(readings), by=by)


@act(right="core.verify", on=CallRecord, scope="held_by")
def see(call: CallRecord, *, what: str, by: Actor, watts: int | None = None, load: str = "", words: str = "") -> Press:
    """“Seen now”: one sighting at the server's time."""
    _refuse_ended(call)
    if what not in SIGHTINGS or what == BALANCE:
        raise Refused("There is no such thing to see on this page.", field="what")
    if what in WITH_WATTS and watts is None:
        raise Refused("Say how many watts were seen; 0 is a reading too.", field="watts")
    if watts is not None and abs(watts) > MOST_W:
        raise Refused("More than 100,000 W cannot be at a home; read it again, in watts.", field="watts")
    if what == LOAD_SERVED and not load.strip():
        raise Refused("Say which load was seen served.", field="load")
    _refuse_impossible(call, what)
    if what == MID_OPEN:
        _refuse_unsafe_now(call)
    value: dict[str, Any] = {"watts": watts} if what in WITH_WATTS else {}
    value |= {name: typed.strip() for name, typed in (("load", load), ("words", words)) if typed.strip()}
    press = _press(call, what=what, value=value, by=by)
    _cache(call)
    if what == NOT_RETURNED:
        _open_emergency(call, by=by)
    return press


@act(right="core.verify", on=CallRecord, scope="held_by")
def note_balance(call: CallRecord, *, balance: Balance, by: Actor, volts: float | None = None, hertz: float | None = None) -> Press:
    """All four powers as they were read at one moment in island mode; what is left over shows whether they belong together."""
    _refuse_ended(call)
    beyond = [name for name, watts in dataclasses.asdict(balance).items() if abs(watts) > MOST_W]
    if beyond:
        raise Refused("More than 100,000 W cannot be at a home; read it again, in watts.", field=beyond[0])
    if balance.pv_w < 0 or balance.load_w < 0:
        field = "pv_w" if balance.pv_w < 0 else "load_w"
        raise Refused("PV and load cannot be negative here; only battery and utility take and give.", field=field)
    if volts is not None and not 0 <= volts <= 600:
        raise Refused(f"{volts:g} V cannot be at a home; 240 V is usual between the legs, 120 V from one to neutral.", field="volts")
    if hertz is not None and not 0 <= hertz <= 100:
        raise Refused(f"{hertz:g} Hz cannot be; 60 Hz is usual.", field="hertz")
    _refuse_impossible(call, BALANCE)
    value = {**dataclasses.asdict(balance), **{name: read for name, read in (("volts", volts), ("hertz", hertz)) if read is not None}}
    press = _press(call, what=BALANCE, value=value, by=by)
    _cache(call)
    return press


@act(right="core.verify", on=Press, scope="held_by")
def correct_press(
    press: Press, *, reason: str, by: Actor, at: dt.datetime | None = None, watts: int | None = None, withdraw: bool = False
) -> Press:
    """A press was wrong: a new one takes its place, with the reason; the old one is kept."""
    call = CallRecord.objects.select_for_update(of=("self",)).select_related("appointment__job").get(pk=press.call_id)
    _refuse_ended(call)
    if hasattr(press, "corrected_by"):
        raise Refused("This was corrected meanwhile; correct the newer one.")
    if press.what not in (*SIGHTINGS, READINGS):
        raise Refused("An answer is not changed afterwards. If it was wrong, end the call as not finished and say why.")
    if not reason.strip():
        raise Refused("Give the reason for the correction; it stands beside the old entry.", field="reason")
    if withdraw and press.what == MID_OPEN:
        _refuse_seen_since(call, press)
    when = at or press.at
    if not call.begun_at <= when <= clock.now():
        raise Refused("The time must lie between the beginning of this call and now.", field="at")
    value = dict(press.value)
    if press.what in WITH_WATTS and watts is not None:
        value["watts"] = watts
    new = _press(call, what=press.what, value=value, by=by, at=when, corrects=press, reason=reason.strip()[:300], withdrawn=withdraw)
    _cache(call)
    return new


@act(right="core.verify", on=CallRecord, scope="held_by")
def record_result(
    call: CallRecord, *, result: str, by: Actor, reason: str = "", cause: str = "", statement: str = "", put_back: str = ""
) -> VerificationRecord:
    """End the call. Passed only where disconnected and load served were seen at the same moment and the return was seen.

    cause: of a test that was not passed or not finished, one of callsteps.CAUSES; it is counted.
    put_back: whether reserve and mode were put back, "yes" or "no"; required once the MID was reported open.
    """
    _refuse_ended(call)
    if result not in CALL_RESULTS:
        raise Refused(f"The result is one of: {words.listed(CALL_RESULTS)}.", field="result")
    found = records.evidence_of(call)
    islanding = call.presses.standing().filter(what=MID_OPEN).exists()
    if found.islanded_since and not _said_not_returned(call):
        raise Refused("The home is in island mode. Record the return as seen or as not seen first; then the result.", field="result")
    if islanding and put_back not in ("yes", "no"):
        raise Refused("Say whether reserve and mode were put back.", field="put_back")
    if result == "passed":
        _refuse_unproved(call, found, put_back)
    elif not reason.strip():
        raise Refused(f"Give the reason for “{result}”; it is counted.", field="reason")
    elif cause and cause not in CAUSES:
        raise Refused(f"The kind of reason is one of: {words.listed(list(CAUSES.values()))}.", field="cause")
    return records.end(
        call,
        result=result,
        reason="" if result == "passed" else reason.strip(),
        cause="" if result == "passed" else cause or "other",
        by=by,
        statement=statement.strip(),
        put_back=put_back if islanding else "",
    )


def missing_for_pass(call: CallRecord, found: Evidence) -> str:
    """What keeps the call from being passed, in words; empty when nothing does. The page names it, the act refuses with it."""
    known = facts.of(call.job)
    if call.job.state != S.COLLAR_ENERGIZED:
        return f"the home must be collar energized (it is {call.job.state_words})"
    if open_emergency(known):
        return "an emergency stands at the home"
    if call.presses.standing().filter(what=STOPPED).exists():
        return "the test was stopped"
    return _progress(call).before_island or found.missing or ("" if _seen_usual(call) else USUAL_MISSING)


def on_own_call(job: Job, user: User) -> bool:
    """Whether this person holds a call with the home now; then the gate code may be shown."""
    return CallRecord.objects.running().filter(appointment__job=job, appointment__verifier=user).exists()


def _refuse_unproved(call: CallRecord, found: Evidence, put_back: str) -> None:
    if wanting := missing_for_pass(call, found):
        raise Refused(f"This cannot be recorded as passed: {wanting}.", field="result")
    if put_back != "yes":
        raise Refused("Put reserve and mode back before the test is recorded as passed.", field="put_back")


def _refuse_unsafe_now(call: CallRecord) -> None:
    """Asked once more as the island test begins: a storm hold or an emergency may have come during the call."""
    readiness.refuse_unless_ready(call.job, clock.today_in(call.appointment.zone))


def _refuse_seen_since(call: CallRecord, opened: Press) -> None:
    """A call may not get out of island mode by saying that it never was in it, where other sightings say that it was."""
    since = call.presses.standing().filter(what__in=SIGHTINGS, at__gte=opened.at).exclude(pk=opened.pk)
    if since.exists():
        raise Refused(
            "Other things were seen in island mode since then, so the MID was open. Record the return as seen or as not seen; "
            "or correct those sightings first.",
            field="withdraw",
        )


def _refuse_ended(call: CallRecord) -> None:
    if call.ended_at is not None:
        raise Refused("This call has ended; what was recorded stays as it is.")


def _progress(call: CallRecord) -> callsteps.Progress:
    return callsteps.progress(call.presses.standing().values_list("what", flat=True))


def stand_of(call: CallRecord) -> Stand:
    """Where the call stands, for what may be pressed now."""
    rows = list(call.presses.standing())
    names = [press.what for press in rows]
    return Stand(
        ready=not callsteps.progress(names).before_island,
        islanded=records.evidence_of(call).islanded_since is not None,
        opened=MID_OPEN in names,
        line_lost=sights.line_is_lost(names),
        stopped=STOPPED in names,
        returned=MID_CLOSED in names,
        usual=_seen_usual(call),
    )


def _refuse_impossible(call: CallRecord, what: str) -> None:
    stand = stand_of(call)
    if what not in sights.WHENEVER and not stand.ready:
        raise Refused(f"The island test comes last; wanted first: {_progress(call).before_island}.")
    if why := sights.why_not(what, stand):
        raise Refused(why)


def _seen_usual(call: CallRecord) -> bool:
    """Import or export as usual, seen after the MID was seen closed."""
    closed = call.presses.standing().filter(what=MID_CLOSED).last()
    return closed is not None and call.presses.standing().filter(what=NORMAL, at__gte=closed.at).exists()


def _said_not_returned(call: CallRecord) -> bool:
    opened = call.presses.standing().filter(what=MID_OPEN).last()
    return opened is not None and call.presses.standing().filter(what=NOT_RETURNED, at__gte=opened.at).exists()


def _press(
    call: CallRecord,
    *,
    what: str,
    by: Actor,
    value: dict[str, Any] | None = None,
    at: dt.datetime | None = None,
    corrects: Press | None = None,
    reason: str = "",
    withdrawn: bool = False,
) -> Press:
    now = clock.now()
    press = Press.objects.create(
        call=call,
        what=what,
        value=value or {},
        at=at or now,
        recorded_at=now,
        by_name=by.name,
        corrects=corrects,
        reason=reason,
        withdrawn=withdrawn,
    )
    call.last_press_at = now
    call.save(update_fields=["last_press_at"])
    return press


def _cache(call: CallRecord) -> None:
    """What Today asks of the presses: in island mode since when, and whether the line is lost."""
    call.islanded_at = records.evidence_of(call).islanded_since
    rows = list(call.presses.standing())
    lost = sights.line_is_lost(press.what for press in rows)
    call.line_lost_at = next(press.at for press in reversed(rows) if press.what == sights.LINE_LOST) if lost else None
    call.save(update_fields=["islanded_at", "line_lost_at"])


def _open_emergency(call: CallRecord, *, by: Actor) -> None:
    """A home that was not seen to return is an emergency from now on: telephone it, and book nothing there."""
    if open_emergency(facts.of(call.job)):
        return
    what = "The return to the utility source was not seen after the island test."
    homefacts.write(call.job, k.EMERGENCY_OPENED, when=When(at=clock.now()), said_by=Said("us", by.name), by=by, value={"what": what})
