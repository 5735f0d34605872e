"""Kinds of message about a call: offered, booked, moved, cancelled, result. None asks for a reply: some words of one would opt out."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.urls import reverse

from jobs.appointments import homewords
from jobs.appointments.models import PROMISED, Appointment, AppointmentState, VerificationRecord
from jobs.core import cautions, clock, links, phones
from jobs.core.models import Person, SignedLink
from jobs.core.models.people import PartyRole
from jobs.core.states import S
from jobs.notices import kinds
from jobs.notices.kinds import NoticeKind, Owing
from jobs.notices.models import Message

# What the person at home must know before a test; each stands in every message that names its time.
BEFORE_A_TEST = ("medical", "lifts", "alarms", "save_work", "pumps")
LINK = "call"


def call_of(owed: Message | Owing) -> Appointment | None:
    uid = str(owed.about.get("call", ""))
    return Appointment.objects.with_names().filter(job=owed.job, uid=uid).first() if uid else None


def record_of(owed: Message | Owing) -> VerificationRecord | None:
    uid = str(owed.about.get("record", ""))
    return VerificationRecord.objects.select_related("appointment__person", "job").filter(job=owed.job, uid=uid).first() if uid else None


def _to_call(owing: Owing) -> list[Person]:
    """Who will be at home, the owner in copy if another."""
    appointment = call_of(owing)
    return _people([appointment.person] if appointment else [], owing)


def _to_result(owing: Owing) -> list[Person]:
    """The owner and the person at home who was on the call."""
    record = record_of(owing)
    return _people([record.appointment.person] if record else [], owing)


def _people(first: list[Person], owing: Owing) -> list[Person]:
    if owing.job is None:
        return first
    owners = owing.job.parties.on(clock.today_in(owing.job.site.zone)).of_role(PartyRole.OWNER).select_related("person").order_by("pk")
    return [*first, *(party.person for party in owners)]


def _call_context(message: Message) -> dict[str, Any]:
    appointment = call_of(message)
    if appointment is None:
        return {}
    lang = homewords.lang_of(message.language)
    return {
        "day": homewords.day(appointment.local_date, lang=lang),
        "time": homewords.time(appointment.local_time, zone=appointment.zone, lang=lang),
        "minutes": int((appointment.call_ends_at - appointment.starts_at).total_seconds() // 60),
        "verifier": appointment.verifier.name,
        "attendee": appointment.person.name,
        "phone": phones.shown(appointment.person.phone, extension=appointment.person.phone_ext) if appointment.person.phone else "",
        "is_copy": message.person_id != appointment.person_id,
        "confirmed": appointment.state == AppointmentState.CONFIRMED,
        "why": appointment.ended_why,
        "link": _link(appointment, message),
        "cautions": [cautions.of(name).sentence(lang) for name in BEFORE_A_TEST],
    }


def _link(appointment: Appointment, message: Message) -> str:
    """The answer is the person at home's; a copy has none."""
    if message.person_id != appointment.person_id:
        return ""
    signed = SignedLink.objects.filter(
        purpose=LINK, job_id=appointment.job_id, person_id=appointment.person_id, about=str(appointment.uid)
    ).first()
    return settings.BASE_URL + reverse("homeowner_call", args=[links.token_of(signed)]) if signed else ""


def _result_context(message: Message) -> dict[str, Any]:
    record = record_of(message)
    if record is None:
        return {}
    appointment = record.appointment
    lang = homewords.lang_of(message.language)
    return {
        "day": homewords.day(appointment.local_date, lang=lang),
        "passed": record.result == "passed",
        "verifier": record.verifier_name,
        "attendee": record.person_name,
    }


def _stands(message: Message, *states: str) -> str | None:
    appointment = call_of(message)
    if appointment is None:
        return "The call is not on record."
    if appointment.cause != message.cause:
        return "The call was moved to another time."
    if appointment.state not in states:
        return f"The call is {appointment.get_state_display()}."
    if appointment.starts_at <= clock.now():
        return "The time of the call has come."
    return None


def _offered_due(message: Message) -> str | None:
    return _stands(message, AppointmentState.OFFERED)


def _promised_due(message: Message) -> str | None:
    return _stands(message, *PROMISED)


def _cancelled_due(message: Message) -> str | None:
    appointment = call_of(message)
    if appointment is None:
        return "The call is not on record."
    return None if appointment.state == AppointmentState.CANCELLED else f"The call is {appointment.get_state_display()}."


def _result_due(message: Message) -> str | None:
    record = record_of(message)
    if record is None:
        return "The record of the call is not there."
    if record.additions.filter(voids=True).exists():
        return "The verification was voided."
    # What a home is told of its backup must be so when it is told: the collar may be gone since, or another one reported.
    verified = record.job.state == S.BACKUP_VERIFIED
    if record.result == "passed" and not verified:
        return "The backup of this home is not verified any more."
    if record.result != "passed" and verified:
        return "A later test passed."
    return None


def register() -> None:
    for name, said, due in (
        ("call_offered", "call offered", _offered_due),
        ("call_booked", "call booked", _promised_due),
        ("call_moved", "call moved", _promised_due),
    ):
        kinds.register(
            NoticeKind(
                name=name, words=said, to=_to_call, context=_call_context, still_due=due, required=BEFORE_A_TEST, may_go_by_itself=True
            )
        )
    # That a call is off must be known at the home whatever is on hold: somebody would wait, or keep equipment off.
    kinds.register(
        NoticeKind(
            name="call_cancelled",
            words="call cancelled",
            to=_to_call,
            context=_call_context,
            still_due=_cancelled_due,
            stopped_by=None,
            may_go_by_itself=True,
        )
    )
    kinds.register(
        NoticeKind(
            name="call_result",
            words="result of the call",
            to=_to_result,
            context=_result_context,
            still_due=_result_due,
            may_go_by_itself=True,
        )
    )
