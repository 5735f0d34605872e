"""Awkward calls, and those of today and tomorrow."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from jobs.appointments import booking, keeping, records
from jobs.appointments.models import Appointment, VerificationRecord
from jobs.appointments.times import Wish
from jobs.core import clock, homefacts
from jobs.core.models import User
from jobs.core.models.people import PartyRole
from jobs.notices import calls as calls_of_home
from jobs.notices import consent, inbound
from jobs.notices.models import Message, State
from jobs.pages.demo import calls
from jobs.pages.demo.story import Home

if TYPE_CHECKING:
    from jobs.pages.demo.awkward import Casting

READY = 14  # days after the fitting, by which all that a call needs is on record


def cast(casting: Casting) -> None:
    casting.fitted("medical yes", 10, medical="yes", at="Sable")
    casting.fitted("medical not sure", 8, medical="not sure", at="Quillback")
    casting.fitted("no internet", 12, internet=False, at="Tamarisk")
    casting.fitted("no emergency line", 11, at="Juniper")
    casting.fitted("storm hold", READY + 2, at="Big", then=(2, _storm))
    casting.fitted("hold to review today", READY + 4, at="Ottermere", then=(7, _held_back))
    casting.fitted("emergency open", READY, at="Sable", then=(1, _emergency))
    casting.fitted("offer unanswered", READY + 4, at="Quillback", then=(4, _offered(2)))
    casting.fitted("offer declined", READY + 4, at="Ottermere", then=(4, _offered(1, then=_declined)))
    casting.fitted("message failed", READY + 3, at="Tamarisk", then=(3, _offered(3, then=_no_more)))
    casting.fitted("call moved", READY + 3, at="Big", then=(3, _booked(2, then=_moved)))
    casting.fitted("call cancelled", READY + 3, at="Sable", then=(3, _booked(1, then=_given_up)))
    casting.fitted("nobody answered", READY + 2, at="Ottermere", then=(2, _booked(-1, how=calls.NOBODY)))
    casting.fitted("call not finished", READY + 3, at="Quillback", then=(3, _booked(-1, how=calls.STORM)))
    casting.fitted("test not passed", READY + 4, at="Sable", then=(4, _booked(-2, how=calls.LOST)))
    casting.fitted("verification voided", READY + 20, at="Tamarisk", then=(20, _booked(-18, how=calls.PASSED, then=_voided)))
    casting.fitted("relay caller", READY + 2, relay=True, at="Ottermere", then=(1, _booked(1)))
    casting.fitted("on standby", READY + 3, at="Ottermere", then=(3, _booked(5, then=_standby)))
    casting.waiting("tentative time", 30, at="Ottermere", then=(1, _kept))
    spanish = _by_text(_booked(1, confirmed=True, then=_writes_back))
    casting.fitted("Spanish, call tomorrow", READY + 2, language="es", name="Ximena Corral Peña", at="Sable", then=(1, spanish))
    for place, grid in enumerate(("Ottermere", "Quillback", "Big", "Tamarisk")):
        casting.fitted(f"call today {place + 1}", READY + 2 + place, at=grid, then=(1, _booked(0, confirmed=place != 2)))
    for place, grid in enumerate(("Sable", "Ottermere")):
        casting.fitted(f"call tomorrow {place + 1}", READY + 2 + place, at=grid, then=(1, _booked(1, confirmed=place == 0)))


def _place(home: Home, ahead: int) -> tuple[User, Wish]:
    """A free time on the day so many days from today, at the home; else the next one there is."""
    homefacts.record_communications(home.job, at=clock.now(), by=home.office.mara)
    day = home.diary.today + dt.timedelta(days=ahead)
    found = [place for place in calls.free(home, first_day=0, days=10) if place.slot.local_date >= day]
    # In the hours after noon, so that a demo begun in the morning still has them ahead.
    that_day = [place for place in found if place.slot.local_date == day and place.slot.local_time >= dt.time(12)]
    place = home.draw.choice(that_day) if that_day else found[0]
    return User.objects.get(pk=place.verifier_id), Wish(place.slot.local_date, place.slot.local_time, place.slot.fold)


def _offered(ahead: int, *, then: Callable[[Home, Appointment], object] | None = None) -> Callable[[Home], object]:
    def offer(home: Home) -> None:
        verifier, wish = _place(home, ahead)
        call = booking.offer(home.job, verifier=verifier, wish=wish, by=home.office.theo)
        home.diary.soon(partial(calls.released, home), minutes=8)
        if then is not None:
            then(home, call)

    return offer


def _booked(
    ahead: int, *, confirmed: bool = True, how: str = "", then: Callable[[Home, Appointment], object] | None = None
) -> Callable[[Home], object]:
    """Booked for so many days from today; a day gone by: held then, and how."""

    def book(home: Home) -> None:
        verifier, wish = _place(home, ahead)
        call = booking.book(home.job, verifier=verifier, wish=wish, confirmed=confirmed, by=home.office.theo)
        home.diary.soon(partial(calls.released, home), minutes=8)
        if how:
            home.diary.at(call.starts_at, partial(calls.hold, home, call, how=how))
        if then is not None:
            then(home, call)

    return book


def _standby(home: Home, call: Appointment) -> None:
    keeping.put_on_standby(home.job, said_by=call.person.name, note="any afternoon, with an hour's notice", by=home.office.theo)


def _kept(home: Home) -> None:
    """A time nine days ahead for a home whose collar will likely be in by then."""
    day = home.diary.today + dt.timedelta(days=9)
    place = next(place for place in calls.free(home, first_day=0, days=16) if place.slot.local_date >= day)
    wish = Wish(place.slot.local_date, place.slot.local_time, place.slot.fold)
    keeping.hold_time(home.job, verifier=User.objects.get(pk=place.verifier_id), wish=wish, by=home.office.theo)


def _storm(home: Home) -> None:
    homefacts.hold(
        home.job,
        kind="storm",
        stops=["calls"],
        review_on=home.diary.today + dt.timedelta(days=3),
        reason="ice storm warning for the county",
        by=home.office.dana,
    )


def _held_back(home: Home) -> None:
    homefacts.hold(
        home.job, kind="wish", stops=["calls", "homeowner"], review_on=home.diary.today, reason="away until today", by=home.office.theo
    )


def _emergency(home: Home) -> None:
    homefacts.open_emergency(home.job, what="Half of the house is dark since noon, and the panel hums.", by=home.office.theo)


def _declined(home: Home, call: Appointment) -> None:
    home.diary.soon(lambda: booking.record_answer(call, answer="declined", by=home.office.theo), minutes=60 * 23)


def _no_more(home: Home, call: Appointment) -> None:
    """They telephone just then: no more messages to this address."""

    def end() -> None:
        message = Message.objects.in_state(State.RELEASED).get(job=home.job, kind="call_offered")
        consent.end(message, how="on the telephone, in an angry voice", by=home.office.theo)

    home.diary.soon(end, minutes=9)


def _by_text(act: Callable[[Home], object]) -> Callable[[Home], object]:
    """They agreed to texts on the telephone before."""

    def agreed(home: Home) -> None:
        person = home.job.parties.get(role=PartyRole.OWNER).person
        calls_of_home.record_call(
            home.job,
            person=person,
            direction="out",
            at=clock.now(),
            outcome="spoke",
            words="Prefers texts to e-mails; may be texted about the work.",
            cause="the call to prove the backup",
            by=home.office.theo,
        )
        consent.give(
            home.job,
            person=person,
            channel="text",
            scope="notices",
            words="¿Podemos enviarle mensajes de texto sobre el trabajo en su casa?",
            how="on the telephone with Theo",
            by=home.office.theo,
        )
        act(home)

    return agreed


def _writes_back(home: Home, call: Appointment) -> None:
    """A reply that only a person can answer."""

    def reply() -> None:
        said = {"event": "reply", "id": f"demo {home.job.code}", "from": call.person.phone, "text": "¿Puede ser una hora más tarde?"}
        inbound.take("texts", json.dumps(said).encode())

    home.diary.soon(reply, minutes=40)


def _moved(home: Home, call: Appointment) -> None:
    def move() -> None:
        verifier, wish = _place(home, 3)
        booking.move(call, verifier=verifier, wish=wish, confirmed=True, by=home.office.theo)

    home.diary.soon(move, minutes=60 * 22)


def _given_up(home: Home, call: Appointment) -> None:
    def give_up() -> None:
        booking.cancel(call, why="homeowner", reason="a family matter; they will telephone", by=home.office.theo)

    home.diary.soon(give_up, minutes=60 * 25)


def _voided(home: Home, call: Appointment) -> None:
    def void() -> None:
        record = VerificationRecord.objects.get(appointment=call, result="passed")
        records.void_verification(record, reason="the reading was another home's: two tabs were open", by=home.office.dana)

    home.diary.at(clock.now() + dt.timedelta(days=17), void)
