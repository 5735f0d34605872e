"""Steps of the call: made ready, offered, answered, held; and the messages about it, captured as they leave."""

from __future__ import annotations

import datetime as dt
from functools import partial

from jobs.appointments import booking, callsteps, readiness, times, verification
from jobs.appointments.callsteps import Readings
from jobs.appointments.models import Appointment, AppointmentState, CallRecord
from jobs.appointments.times import Free, Wish
from jobs.core import actors, clock, homefacts
from jobs.core.actors import Actor
from jobs.core.models import SignedLink, User
from jobs.core.states import S
from jobs.notices import kinds, leaving, outbox, tasks
from jobs.notices.models import Message, State
from jobs.pages.demo import afterwards
from jobs.pages.demo.company import user_of
from jobs.pages.demo.diary import workday
from jobs.pages.demo.story import Home, step

LOADS = ("refrigerator", "kitchen lights and refrigerator", "well pump and lights", "freezer", "living-room lamps and router")
PASSED, NOBODY, STORM, LOST = "passed", "nobody", "storm", "load lost"


@step
def connected(home: Home) -> None:
    """The gateway is looked at from the office."""
    if home.story.internet:
        serial = home.story.fitted_serial or home.serial
        homefacts.record_gateway_report(home.job, at=clock.now(), state="closed", serial=serial, firmware="4.2.1", by=home.office.mara)
    else:
        homefacts.record_gateway_report(home.job, at=clock.now(), state="not seen", by=home.office.mara)


@step
def updated(home: Home) -> None:
    if home.story.internet:
        homefacts.record_software_updated(home.job, on=home.site_day, version="4.2.1", by=home.office.mara)
        afterwards.measured(home)


@step
def asked_medical(home: Home) -> None:
    said_by = home.job.person_of("at_home")
    homefacts.record_medical_answer(home.job, answer=home.story.medical, said_by=said_by, on=home.site_day, by=home.office.theo)


@step
def book(home: Home) -> None:
    """Offered with a link, or agreed by telephone, as soon as the home is ready."""
    home.job.refresh_from_db()
    if home.job.state != S.COLLAR_ENERGIZED:
        return
    if home.story.internet:
        homefacts.record_communications(home.job, at=clock.now(), by=home.office.mara)
    missing = readiness.missing_for_booking(home.job, home.site_day)
    if missing:
        if home.story.internet and not any(gap.visit for gap in missing) and home.grid.habit.emergency:
            home.then("book", (2, 4))
        return
    place = home.draw.choice(free(home)[:9])
    if home.chance(62):
        call = booking.offer(home.job, verifier=_user(place), wish=_wish(place), by=home.office.theo)
        home.diary.soon(partial(released, home), minutes=8)
        home.diary.soon(partial(answered, home, call), minutes=60 + home.draw.randrange(1_100))
    else:
        call = booking.book(home.job, verifier=_user(place), wish=_wish(place), confirmed=True, by=home.office.theo)
        home.diary.soon(partial(released, home), minutes=8)
    home.diary.at(call.starts_at, partial(held, home, call))


def free(home: Home, *, first_day: int = 1, days: int = 8) -> list[Free]:
    person = home.job.parties.get(role="at_home").person
    first_at = clock.now() + dt.timedelta(days=first_day)
    return times.times_for(home.job, person=person, first_at=first_at, days=days)


def _wish(place: Free) -> Wish:
    return Wish(place.slot.local_date, place.slot.local_time, place.slot.fold)


def _user(place: Free) -> User:
    return User.objects.get(pk=place.verifier_id)


def answered(home: Home, call: Appointment) -> None:
    """The homeowner presses the button on the link's page, where the time still stands."""
    call.refresh_from_db()
    if call.state == AppointmentState.OFFERED and call.starts_at > clock.now():
        link = SignedLink.objects.get(purpose="call", job=home.job, person=call.person, about=str(call.uid))
        booking.answer_by_link(call, medical="no", lift="no", by=actors.link(link))
        home.on(workday(home.diary.day + dt.timedelta(days=1)), "released")


@step
def released(home: Home) -> None:
    """What is owed to the home is read and released, and leaves after its minute. Money's messages go with their invoices."""
    # Of the last day some wait still.
    if home.diary.day >= home.diary.ago(1) and home.chance(50):
        return
    written(home)


def written(home: Home) -> None:
    for message in Message.objects.in_state(State.OWED).filter(job=home.job).exclude(kind__in=kinds.about_money()):
        if message.address and kinds.of(message.kind).still_due(message) is None:
            outbox.release(message, by=home.office.theo)
    home.diary.soon(sweep, minutes=2)


def sweep() -> None:
    """What the worker does each minute; in the demo every channel captures."""
    for pk in leaving.due():
        tasks.deliver(pk)


def held(home: Home, call: Appointment) -> None:
    """The verifier telephones at the time of the call."""
    call.refresh_from_db()
    if not call.is_open or call.starts_at != clock.now():
        return
    if call.state == AppointmentState.OFFERED:
        booking.cancel(call, why="us", reason="no answer to the offered time", by=home.office.theo)
        home.then("book", (1, 3))
        return
    turn = home.draw.randrange(100)
    home.calls += 1
    how = PASSED if turn < 82 or home.calls > 2 else NOBODY if turn < 89 else STORM if turn < 95 else LOST
    hold(home, call, how=how)
    if how != PASSED:
        home.then("book", (2, 6))
    home.then("bill", (1, 5))
    home.on(home.diary.day + dt.timedelta(days=1), "released")


def by_of(home: Home, call: Appointment) -> Actor:
    return next(actor for actor in (home.office.mara, home.office.idris) if user_of(actor).pk == call.verifier_id)


def hold(home: Home, call: Appointment, *, how: str) -> CallRecord:
    """A whole call, minute by minute, from now on."""
    by, begun = by_of(home, call), clock.now()
    homefacts.record_communications(home.job, at=begun, by=by)
    record = verification.begin(call, by=by)

    def after(seconds: int) -> dt.datetime:
        return begun + dt.timedelta(seconds=seconds)

    if how == NOBODY:
        with clock.pretend(after(240)):
            verification.answer_check(record, check="adult", answer=callsteps.NOBODY, by=by)
        return record
    for place, caution in enumerate(callsteps.CAUTIONS):
        with clock.pretend(after(90 + 25 * place)):
            verification.acknowledge(record, caution=caution, by=by)
    for place, check in enumerate(callsteps.CHECKS):
        safe = [answer.value for answer in check.answers if answer.safe]
        with clock.pretend(after(240 + 18 * place)):
            if how == STORM and check.name == "storm":
                verification.answer_check(record, check="storm", answer="yes", by=by)
                return record
            verification.answer_check(record, check=check.name, answer=safe[0], by=by)
    _island(home, record, by, after_of=after, lost=how == LOST)
    return record


def _island(home: Home, record: CallRecord, by: Actor, *, after_of: object, lost: bool) -> None:
    assert callable(after_of)
    load, name = home.draw.randrange(420, 1_900), home.draw.choice(LOADS)
    with clock.pretend(after_of(520)):
        readings = Readings(
            load_w=load,
            load_name=name,
            soc_percent=home.draw.randrange(55, 99),
            battery_w=0,
            pv_w=home.draw.randrange(0, 3_000),
            grid_w=load,
        )
        verification.note_readings(record, readings=readings, by=by)
    sightings: list[tuple[int, str, int | None, str]] = [
        (600, "mid_open", None, ""),
        (622, "utility_power", home.draw.randrange(0, 12), ""),
        (650, "load_lost", None, "") if lost else (650, "load_served", load + home.draw.randrange(-20, 60), name),
        (720, "return_begun", None, ""),
        (760, "not_yet", None, ""),
        (840, "mid_closed", None, ""),
        (880, "normal", load, ""),
    ]
    for seconds, what, watts, served in sightings:
        with clock.pretend(after_of(seconds)):
            verification.see(record, what=what, watts=watts, load=served, by=by)
    with clock.pretend(after_of(930)):
        if lost:
            verification.record_result(
                record, result="not passed", cause="load", reason="the load went off in island mode", put_back="yes", by=by
            )
        else:
            verification.record_result(record, result="passed", statement="The lights stayed on.", put_back="yes", by=by)
