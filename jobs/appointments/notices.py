"""Kinds of message about a call: offered, booked, reminders, moved, cancelled, result.

None asks for a reply: some words of one would opt out. Booked, moved and cancelled bring the call to the reader's calendar.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.conf import settings
from django.urls import reverse

from jobs.appointments import homewords, reminders
from jobs.appointments.models import PROMISED, Appointment, AppointmentState, VerificationRecord
from jobs.core import cautions, clock, links, phones, rules
from jobs.core.models import Person, SignedLink
from jobs.core.models.people import PartyRole
from jobs.core.states import S
from jobs.notices import calendarpart, kinds
from jobs.notices.kinds import Attachment, NoticeKind, Owing
from jobs.notices.models import Channel, Message, State

# What the person at home must know before a test; each stands in every message that names its time.
BEFORE_A_TEST = ("medical", "lifts", "alarms", "save_work", "pumps")
LINK = "call"


def call_of(owed: Message | Owing) -> Appointment | None:
    uid = str(owed.about.get("call", ""))
    return Appointment.objects.with_names().filter(job=owed.job, uid=uid).first() if uid else None


def record_of(owed: Message | Owing) -> VerificationRecord | None:
    uid = str(owed.about.get("record", ""))
    return (
        VerificationRecord.objects.select_related("appointment__person", "visit__person", "job__site").filter(job=owed.job, uid=uid).first()
        if uid
        else None
    )


def _to_call(owing: Owing) -> list[Person]:
    """Who will be at home, the owner in copy if another."""
    appointment = call_of(owing)
    return _people([appointment.person] if appointment else [], owing)


def _to_result(owing: Owing) -> list[Person]:
    """The owner and the person at home who was on the call."""
    record = record_of(owing)
    return _people([record.person] if record else [], owing)


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


def _invitation(message: Message) -> list[Attachment]:
    appointment = call_of(message)
    return [_part(appointment, message, calendarpart.REQUEST, sequence=appointment.sequence)] if appointment else []


def _withdrawal(message: Message) -> list[Attachment]:
    """Takes the call out of the calendars that it was brought to: those to whom a mail that it is booked has left, or may have."""
    appointment = call_of(message)
    if appointment is None:
        return []
    told = Message.objects.in_state(State.SENDING, State.SENT, State.MAY_HAVE_BEEN_SENT).filter(
        job_id=appointment.job_id,
        kind__in=("call_booked", "call_moved"),
        channel=Channel.EMAIL,
        to_key=message.to_key,
        about__call=str(appointment.uid),
    )
    # RFC 5546, 3.2.5: the same UID, and a SEQUENCE above that of the last invitation.
    return [_part(appointment, message, calendarpart.CANCEL, sequence=appointment.sequence + 1)] if told.exists() else []


def calendar_file(appointment: Appointment, *, lang: str) -> Attachment:
    """The booked call for the homeowner's own calendar: UID and sequence of the mailed invitation, so that the two are one entry."""
    told = {"verifier": appointment.verifier.name, "attendee": appointment.person.name}
    to = (appointment.person.name, appointment.person.email)
    return _entry(appointment, told, to, lang, appointment.made_at, calendarpart.REQUEST, sequence=appointment.sequence)


def _part(appointment: Appointment, message: Message, method: str, *, sequence: int) -> Attachment:
    to = (message.to_name, message.address)
    return _entry(appointment, _call_context(message), to, message.language, message.created_at, method, sequence=sequence)


def _entry(
    appointment: Appointment, told: dict[str, Any], to: tuple[str, str], lang: str, stamp: dt.datetime, method: str, *, sequence: int
) -> Attachment:
    """No gate code and no medical word stands in it (TRADE.md 2.8): calendars are shared."""
    company = rules.several("company_name", "company_email", "company_phone")
    spanish = lang == "es"
    summary = "Prueba del respaldo por teléfono" if spanish else "Backup test by telephone"
    about = f"{told['verifier']} llama a {told['attendee']}." if spanish else f"{told['verifier']} calls {told['attendee']}."
    at_home = "Debe haber una persona adulta en casa." if spanish else "An adult must be at home."
    return calendarpart.part(
        calendarpart.Event(
            uid=calendarpart.uid_of(str(appointment.uid), settings.EMAIL_FROM),
            sequence=sequence,
            stamp=stamp,
            starts=appointment.local_start,
            ends=appointment.call_ends_at,
            summary=f"{summary}, {company['company_name']}",
            description=" ".join(part for part in (about, at_home, str(company["company_phone"])) if part),
            location=appointment.job.site.line,
            organizer=(str(company["company_name"]), str(company["company_email"]) or settings.EMAIL_FROM),
            attendee=to,
            language=lang,
        ),
        method=method,
    )


def _result_context(message: Message) -> dict[str, Any]:
    record = record_of(message)
    if record is None:
        return {}
    lang = homewords.lang_of(message.language)
    return {
        "day": homewords.day(record.day, lang=lang),
        "passed": record.result == "passed",
        "on_site": record.visit_id is not None,
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
        (reminders.DAY_BEFORE, "reminder of the call, the day before", _promised_due),
        (reminders.HOURS_BEFORE, "reminder of the call, two hours before", _promised_due),
    ):
        kinds.register(
            NoticeKind(
                name=name,
                words=said,
                to=_to_call,
                context=_call_context,
                still_due=due,
                required=BEFORE_A_TEST,
                may_go_by_itself=True,
                by_text=True,
                required_in_text=() if name == "call_offered" else ("medical",),  # the page that its link opens asks it
                attachments=_invitation if name in ("call_booked", "call_moved") else kinds.no_attachments,
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
            attachments=_withdrawal,
            may_go_by_itself=True,
            by_text=True,
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
            by_text=True,
        )
    )
