"""Acts of booking: offer, book, move, cancel, and the homeowner's answer.

Each asks the same readiness, finds the place under the verifier's row lock and writes the job's fact. Locks are taken in one order: the
job (by the act), the call, then verifiers by key.
"""

from __future__ import annotations

import datetime as dt

from django.db import IntegrityError, transaction

from jobs.appointments import endings, placing, readiness, reminders, times
from jobs.appointments.models import PROMISED, Appointment, AppointmentState, CallRecord, Why
from jobs.appointments.slots import Slot
from jobs.appointments.times import Wish
from jobs.core import clock, homefacts, links, rules, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.facts import LIFT_ANSWERS, MEDICAL_ANSWERS, Said, When
from jobs.core.models import Job, Person, SignedLink, User
from jobs.core.refusals import Refused
from jobs.notices import outbox

A = AppointmentState


@act(right="core.book_calls", on=Job)
def offer(job: Job, *, verifier: User, wish: Wish, by: Actor, person: Person | None = None) -> Appointment:
    """Keep a place and owe the person at home a message with a link to answer."""
    return make(job, verifier=verifier, wish=wish, person=person, state=A.OFFERED, by=by)


@act(right="core.book_calls", on=Job)
def book(job: Job, *, verifier: User, wish: Wish, by: Actor, person: Person | None = None, confirmed: bool = False) -> Appointment:
    """Book a call agreed by telephone. confirmed: the person at home said yes to this very time."""
    return make(job, verifier=verifier, wish=wish, person=person, state=A.CONFIRMED if confirmed else A.BOOKED, by=by)


@act(right="core.book_calls", on=Appointment, scope="workable_by")
def move(appointment: Appointment, *, wish: Wish, by: Actor, verifier: User | None = None, confirmed: bool = False) -> Appointment:
    """Another time, or another verifier, for the same call: the same uid, the next sequence number."""
    _refuse_unless_open(appointment)
    readiness.refuse_unless_ready(appointment.job, clock.today_in(appointment.zone))
    chosen = verifier or appointment.verifier
    placing.own_only(chosen, by)
    was = appointment.state
    _place(appointment, wish=wish, verifier=chosen)
    if was != A.OFFERED:
        appointment.state = A.CONFIRMED if confirmed else A.BOOKED
    return _moved(appointment, by=by, said_by=Said("us", by.name))


@act(right="core.book_calls", on=Appointment, scope="workable_by")
def cancel(appointment: Appointment, *, why: str, reason: str, by: Actor) -> Appointment:
    """Give the call up. why: as the homeowner is told it; reason: the office's own words."""
    _refuse_unless_open(appointment)
    if why not in (Why.US, Why.HOMEOWNER):
        raise Refused("Say whether we cannot hold the call, or the homeowner asked to give it up.", field="why")
    if not reason.strip():
        raise Refused("Give the reason; it stands in the ledger.", field="reason")
    said_by = Said("us", by.name) if why == Why.US else Said("at home", appointment.person.name)
    endings.give_up(appointment, state=A.CANCELLED, why=Why(why), reason=reason.strip(), said_by=said_by, by=by)
    return appointment


@act(right="core.book_calls", on=Appointment, scope="workable_by")
def record_answer(appointment: Appointment, *, answer: str, by: Actor) -> Appointment:
    """What the person at home said by telephone to an offered or booked time: confirmed or declined."""
    _refuse_unless_open(appointment)
    said_by = Said("at home", appointment.person.name)
    if answer == A.DECLINED:
        _decline(appointment, said_by=said_by, by=by)
    elif answer == A.CONFIRMED:
        readiness.refuse_unless_confirmable(appointment.job, clock.today_in(appointment.zone))
        _confirm(appointment, said_by=said_by, by=by)
    else:
        raise Refused("The answer is one of: confirmed, declined.", field="answer")
    return appointment


@act(right="core.answer_call", on=Appointment)
def answer_by_link(appointment: Appointment, *, medical: str, lift: str, by: Actor, starts_at: dt.datetime | None = None) -> Appointment:
    """The homeowner takes the offered time, or another free one, and answers the questions about medical equipment and lifts.

    An answer other than no is recorded and ends the call: the test is not run by telephone there. starts_at: the chosen instant, where it
    is another than the one kept.
    """
    _refuse_unless_open(appointment)
    if medical not in MEDICAL_ANSWERS:
        raise Refused("Answer the question about powered medical equipment first.", field="medical")
    if lift not in LIFT_ANSWERS:
        raise Refused("Answer the question about a lift or stair lift first.", field="lift")
    today = clock.today_in(appointment.zone)
    said_by = Said("at home", appointment.person.name)
    homefacts.write(appointment.job, k.MEDICAL_ANSWER, when=When(on=today), said_by=said_by, by=by, value={"answer": medical})
    homefacts.write(appointment.job, k.LIFT_ANSWER, when=When(on=today), said_by=said_by, by=by, value={"answer": lift})
    appointment.refresh_from_db()  # the follow-up may have called it off
    if not appointment.is_open:
        return appointment
    readiness.refuse_unless_confirmable(appointment.job, today)
    if starts_at is None or starts_at == appointment.starts_at:
        _confirm(appointment, said_by=said_by, by=by)
    else:
        _take(appointment, starts_at=starts_at, said_by=said_by, by=by)
    return appointment


@act(right="core.answer_call", on=Appointment)
def decline_by_link(appointment: Appointment, *, by: Actor) -> Appointment:
    _refuse_unless_open(appointment)
    _decline(appointment, said_by=Said("at home", appointment.person.name), by=by)
    return appointment


def make(job: Job, *, verifier: User, wish: Wish, person: Person | None, state: AppointmentState, by: Actor) -> Appointment:
    """A new call of this home, with all that follows from it. The caller holds the job's lock."""
    placing.own_only(verifier, by)
    readiness.refuse_unless_ready(job, clock.today_in(job.site.zone))
    standing = Appointment.objects.taking().filter(job=job).with_names().first()
    if standing is not None:
        raise Refused(
            f"A call is already {standing.get_state_display()} for {standing.local_time:%H:%M} on {words.day(standing.local_date)} with "
            f"{standing.verifier.name}; move or cancel it instead.",
            field="time",
        )
    person = placing.attendee(job, person)
    appointment = Appointment(job=job, person=person, language=person.language, state=state, made_at=clock.now(), made_by_name=by.name)
    _place(appointment, wish=wish, verifier=verifier)
    endings.note_change(appointment, by=by)
    _make_link(appointment)
    endings.end_tentative(job, reason="a call was made")
    kind = "call_offered" if state == A.OFFERED else "call_booked"
    _owe(kind, appointment, by=by)
    _write_fact(appointment, said_by=Said("us", by.name), by=by)
    return appointment


def _place(appointment: Appointment, *, wish: Wish, verifier: User) -> Slot:
    """Find the wished place and save the call on it, alone with the verifier's row."""
    person = appointment.person
    placing.lock(verifier.pk, appointment.verifier_id or verifier.pk)
    slot = placing.find(wish, verifier=verifier, job=appointment.job, person=person, apart_from=appointment if appointment.pk else None)
    if appointment.pk and slot.starts_at == appointment.starts_at and verifier.pk == appointment.verifier_id:
        raise Refused("The call already stands at that time; another time is wanted.", field="time")
    appointment.verifier = verifier
    appointment.local_date, appointment.local_time, appointment.fold = slot.local_date, slot.local_time, slot.fold
    appointment.zone = slot.zone
    appointment.starts_at, appointment.ends_at, appointment.call_ends_at = slot.starts_at, slot.ends_at, slot.call_ends_at
    appointment.places = times.places_for(person)
    try:
        with transaction.atomic():
            appointment.save()
    except IntegrityError as fault:
        raise Refused("That time was just taken; another time is wanted.", field="time") from fault
    return slot


def _moved(appointment: Appointment, *, by: Actor, said_by: Said) -> Appointment:
    """After `_place` on a call that stood elsewhere: the next sequence, its messages owed anew, its fact."""
    outbox.withdraw(job=appointment.job, cause=appointment.cause, reason="The call was moved to another time.")
    appointment.sequence += 1
    appointment.save(update_fields=["state", "sequence"])
    endings.note_change(appointment, by=by, reason="moved")
    _make_link(appointment)
    _owe("call_offered" if appointment.state == A.OFFERED else "call_moved", appointment, by=by)
    _write_fact(appointment, said_by=said_by, by=by)
    return appointment


@act(right="core.book_calls", on=Appointment, scope="workable_by")
def send_new_link(appointment: Appointment, *, by: Actor) -> Appointment:
    """A new link for the person at home, where the one before went astray or into other hands: that one opens nothing any more."""
    _refuse_unless_open(appointment)
    signed = SignedLink.objects.filter(purpose="call", job=appointment.job, person=appointment.person, about=str(appointment.uid)).first()
    if signed is not None:
        links.renew(signed)
    endings.note_change(appointment, by=by, reason="a new link; the one before has ended")
    return say_again(appointment, by=by, reason="A new link was made.")


def say_again(appointment: Appointment, *, by: Actor, reason: str) -> Appointment:
    """Owe what stands anew, with a later invitation. The caller holds the locks."""
    outbox.withdraw(job=appointment.job, cause=appointment.cause, reason=reason)
    appointment.sequence += 1
    appointment.save(update_fields=["sequence"])
    _make_link(appointment)
    _owe("call_offered" if appointment.state == A.OFFERED else "call_booked", appointment, by=by)
    return appointment


def _take(appointment: Appointment, *, starts_at: dt.datetime, said_by: Said, by: Actor) -> None:
    """Another time that the homeowner chose from those shown; the same verifier if free then, else who is."""
    first_at = clock.now() + times.SOONEST
    shown = times.times_for(appointment.job, person=appointment.person, apart_from=appointment, first_at=first_at)
    free = [choice for choice in shown if choice.slot.starts_at == starts_at]
    if not free:
        raise Refused("That time is not free any more; choose another one. The time kept for you so far still stands.", field="time")
    free.sort(key=lambda choice: choice.verifier_id != appointment.verifier_id)
    slot, verifier = free[0].slot, User.objects.get(pk=free[0].verifier_id)
    was = appointment.state
    _place(appointment, wish=Wish(slot.local_date, slot.local_time, slot.fold), verifier=verifier)
    appointment.state, appointment.answered_at = A.CONFIRMED, clock.now()
    appointment.save(update_fields=["state", "answered_at"])
    if was == A.OFFERED:
        # Nobody else was promised the time before: this is its first booking.
        outbox.withdraw(job=appointment.job, cause=appointment.cause, reason="The homeowner chose another time.")
        appointment.sequence += 1
        appointment.save(update_fields=["sequence"])
        endings.note_change(appointment, by=by, reason="another time chosen")
        _owe("call_booked", appointment, by=by)
        _write_fact(appointment, said_by=said_by, by=by)
    else:
        _moved(appointment, by=by, said_by=said_by)


def _confirm(appointment: Appointment, *, said_by: Said, by: Actor) -> None:
    if appointment.state == A.CONFIRMED:
        raise Refused("This call is already confirmed.")
    was = appointment.state
    appointment.state, appointment.answered_at = A.CONFIRMED, clock.now()
    appointment.save(update_fields=["state", "answered_at"])
    endings.note_change(appointment, by=by)
    if was == A.OFFERED:
        outbox.withdraw(job=appointment.job, cause=appointment.cause, reason="The homeowner has answered.")
        _owe("call_booked", appointment, by=by)
        _write_fact(appointment, said_by=said_by, by=by)


def _decline(appointment: Appointment, *, said_by: Said, by: Actor) -> None:
    appointment.answered_at = clock.now()
    appointment.save(update_fields=["answered_at"])
    endings.give_up(appointment, state=A.DECLINED, why=Why.HOMEOWNER, reason="", said_by=said_by, by=by, tell=False)


def _refuse_unless_open(appointment: Appointment) -> None:
    if not appointment.is_open:
        raise Refused(f"This call is not open any more: {appointment.get_state_display()}.")
    if CallRecord.objects.filter(appointment=appointment).exists():
        raise Refused("This call was begun; it ends on its own page.")


def _make_link(appointment: Appointment) -> None:
    """The person's link for answering; open at least until the call."""
    ahead = (appointment.starts_at - clock.now()).days + 2
    links.make(
        "call",
        job=appointment.job,
        person=appointment.person,
        about=str(appointment.uid),
        days=max(rules.number("link_days"), ahead),
    )


def _owe(kind: str, appointment: Appointment, *, by: Actor) -> None:
    outbox.owe(
        kind,
        job=appointment.job,
        cause=appointment.cause,
        about={"call": str(appointment.uid)},
        not_after=appointment.starts_at,
        by=by,
    )
    if appointment.state in PROMISED:
        reminders.owe(appointment, by=by)


def _write_fact(appointment: Appointment, *, said_by: Said, by: Actor) -> None:
    homefacts.write(
        appointment.job,
        k.CALL_OFFERED if appointment.state == A.OFFERED else k.CALL_BOOKED,
        when=When(on=clock.today_in(appointment.zone)),
        said_by=said_by,
        by=by,
        value={
            "appointment": str(appointment.uid),
            "on": appointment.local_date.isoformat(),
            "time": f"{appointment.local_time:%H:%M}",
        },
    )
