"""What a gateway or mail service tells us: a reply, or what became of a message. Kept as it came, honoured once.

Not acts: nobody presses anything; the signature of the webhook is asked before (webhooks.py), and the row is the trace.
"""

from __future__ import annotations

import hashlib
import json
import re
import uuid
from collections.abc import Mapping
from email.utils import parseaddr
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import Q

from jobs.core import clock, phones
from jobs.core.acts import one_at_a_time
from jobs.core.models import Party, Person
from jobs.notices import confirming, consent, leaving, optout
from jobs.notices.models import Channel, Ended, Message, Received, ReceivedKind, State

K = ReceivedKind
NAMES = {"texts": Channel.TEXT, "mail": Channel.EMAIL}
# How services name what they tell. An unknown name is kept for a person.
EVENTS = {
    K.REPLY: ("reply", "inbound", "incoming", "received"),
    K.DELIVERED: ("delivered", "delivery"),
    K.DELAYED: ("delayed", "deferred", "soft_bounce"),
    K.FAILED: ("failed", "undelivered", "rejected", "bounce", "bounced", "hard_bounce"),
    K.COMPLAINT: ("complaint", "spam"),
}
_KIND_OF = {name: kind for kind, names in EVENTS.items() for name in names}
GONE = (State.SENDING, State.SENT, State.MAY_HAVE_BEEN_SENT)
UID = re.compile(r"[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}")


def take(name: str, body: bytes) -> tuple[Received, bool]:
    """Keep what came and do at once what it asks; the row, and whether it is new."""
    told = _told(name, body)
    event = _word(told, "id")[:200] or f"sha256:{hashlib.sha256(body).hexdigest()}"
    channel = NAMES[name]
    with transaction.atomic():
        one_at_a_time(f"event {channel} {event}")
        known = Received.objects.filter(channel=channel, event=event).first()
        if known is not None:
            return known, False
        row = Received(
            channel=channel,
            event=event,
            kind=_KIND_OF.get(_word(told, "event").lower(), K.UNREADABLE),
            raw=_clean(body.decode("utf-8", "replace")),
            at=clock.now(),
        )
        row.message = _message_of(told, channel)
        _DO[ReceivedKind(row.kind)](row, told)
        row.save()
    return row, True


def _told(name: str, body: bytes) -> dict[str, Any]:
    """The body's fields by our names; {} where it cannot be read."""
    try:
        told = json.loads(body)
    except (ValueError, RecursionError):
        return {}
    if not isinstance(told, dict):
        return {}
    paths: Mapping[str, str] = settings.HOOK_FIELDS[name]
    return told | {ours: _at(told, path) for ours, path in paths.items()}


def _at(told: object, path: str) -> object:
    for step in path.split("."):
        told = told.get(step) if isinstance(told, dict) else None
    return told


def _word(told: Mapping[str, Any], name: str) -> str:
    value = told.get(name)
    return _clean(str(value)).strip() if isinstance(value, str | int) else ""


def _clean(text: str) -> str:
    return text.replace("\0", "�")


def _message_of(told: Mapping[str, Any], channel: str) -> Message | None:
    """By our uid, alone or inside a Message-ID; else by the gateway's own name."""
    found = UID.search(_word(told, "message").lower())
    by_uid = Q(uid=uuid.UUID(found[0])) if found else Q(pk__in=())
    far_id = _word(told, "far_id")
    by_far = Q(far_id=far_id) if far_id else Q(pk__in=())
    return Message.objects.filter(by_uid | by_far, channel=channel).order_by("-pk").first()


# What each kind of word does


def _reply(row: Received, told: Mapping[str, Any]) -> None:
    row.address = _address(row.channel, _word(told, "from"))
    row.text = _word(told, "text")
    row.message = row.message or _last_sent(row)
    _find_people(row)
    one_at_a_time(f"consent {row.address}")
    asked = optout.Asks.STOP if _leaves_the_list(row, told) else optout.asks(row.text)
    if asked == optout.Asks.STOP and row.address:
        _end(row)
    elif asked == optout.Asks.WRONG_NUMBER and row.address:
        consent.end_address(
            row.channel, row.address, person=row.person, words=row.text, how="in reply to a message", by="reply", why=Ended.WRONG
        )
        row.done, row.for_person = "Barred: nothing more leaves to this address until somebody has the right one.", True
    else:
        row.for_person = True


def _leaves_the_list(row: Received, told: Mapping[str, Any]) -> bool:
    """Whether a mail is the one that the List-Unsubscribe of ours asks the reader's program to write (channels.py)."""
    return row.channel == Channel.EMAIL and optout.normal(_word(told, "subject")).startswith("unsubscribe")


def _last_sent(row: Received) -> Message | None:
    """What they most likely answer."""
    sent = Message.objects.in_state(*GONE).filter(channel=row.channel, address=row.address).exclude(kind=consent.CONFIRMATION)
    return sent.order_by("-sent_at", "-pk").first() if row.address else None


def _end(row: Received) -> None:
    if consent.all_ended(row.channel, row.address):
        row.done = "That they want no more was on record already; nothing was sent."
        return
    consent.end_address(row.channel, row.address, person=row.person, words=row.text, how="in reply to a message", by="reply")
    row.done = "They asked for no more: nothing more leaves to this address."
    if row.channel == Channel.TEXT:
        language = row.person.language if row.person else "es" if optout.normal(row.text) in optout.SPANISH else "en"
        confirming.owe(number=row.address, person=row.person, job=row.job, language=language, cause=f"reply {row.uid}")
        row.done += " One text confirms it."


def _delivered(row: Received, told: Mapping[str, Any]) -> None:
    message = _about(row, told)
    if message is None:
        row.done = "No message of ours goes by this name."
        return
    message.state, message.reason, message.claimed_until = State.SENT, "", None
    message.sent_at, message.delivered_at = message.sent_at or row.at, row.at
    message.outcome = "delivered"
    message.save(update_fields=["state", "reason", "claimed_until", "sent_at", "delivered_at", "outcome"])
    leaving.follow_or_log(message)
    row.done = "Recorded as delivered."


def _delayed(row: Received, told: Mapping[str, Any]) -> None:
    message = _about(row, told)
    if message is not None:
        message.outcome = f"on its way: {_word(told, 'reason')}"[:250]
        message.save(update_fields=["outcome"])
    row.done = "The far end goes on trying."


def _failed(row: Received, told: Mapping[str, Any]) -> None:
    message = _about(row, told)
    why = _word(told, "reason") or "no reason given"
    if message is not None:
        message.state, message.claimed_until = State.FAILED, None
        message.reason = message.outcome = f"The far end could not deliver it: {why}"[:250]
        message.save(update_fields=["state", "reason", "claimed_until", "outcome"])
        leaving.follow_or_log(message)
        row.done = "The message failed."
    else:
        row.done, row.for_person = "No message of ours that has left goes by this name.", True
    # A mail that bounces says that the mailbox is not there; a telephone that is off comes back.
    lasting = told.get("permanent") is True or (row.channel == Channel.EMAIL and told.get("permanent") is not False)
    if lasting and row.address:
        consent.end_address(
            row.channel, row.address, person=row.person, words=why, how="reported by the far end", by="report", why=Ended.BOUNCED
        )
        row.done += " The address is barred."


def _complaint(row: Received, told: Mapping[str, Any]) -> None:
    _about(row, told)
    row.for_person = True
    if row.address:
        consent.end_address(row.channel, row.address, person=row.person, words="complaint", how="reported by the far end", by="report")
        row.done = "They complained: nothing more leaves to this address."


def _unreadable(row: Received, told: Mapping[str, Any]) -> None:
    row.address = _address(row.channel, _word(told, "from"))
    row.text = _word(told, "text")
    _find_people(row)
    row.for_person = True


_DO = {
    K.REPLY: _reply,
    K.DELIVERED: _delivered,
    K.DELAYED: _delayed,
    K.FAILED: _failed,
    K.COMPLAINT: _complaint,
    K.UNREADABLE: _unreadable,
}


def _about(row: Received, told: Mapping[str, Any]) -> Message | None:
    """The message that a report is about, locked; None where it has not left, or waits to leave again. Says whose address it was."""
    row.address = row.message.address if row.message else _address(row.channel, _word(told, "to"))
    _find_people(row)
    if row.message is None:
        return None
    held = leaving.held(row.message.pk)
    return held if held.state in GONE else None


def _address(channel: str, typed: str) -> str:
    """As a consent knows it; what is no number or address stands as it came."""
    if channel == Channel.TEXT:
        try:
            return phones.e164(typed).number
        except ValueError:
            return typed[:254]
    # "Sam Uttley <sam@homes.example>" stands in a mail's header.
    return consent.normal(channel, parseaddr(typed)[1] or typed)[:254]


def _find_people(row: Received) -> None:
    """Whose address it is, and which home it is about: that of the last message to it, else their newest."""
    last = row.message or Message.objects.filter(channel=row.channel, address=row.address).exclude(job=None).order_by("-pk").first()
    if last is not None and row.address:
        row.person, row.job = last.person, last.job
        return
    column = "phone" if row.channel == Channel.TEXT else "email__iexact"
    person = Person.objects.filter(**{column: row.address}).order_by("-pk").first() if row.address else None
    party = Party.objects.filter(person=person).select_related("job").order_by("-pk").first() if person else None
    row.person, row.job = person, party.job if party else None
