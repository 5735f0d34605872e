"""The outbox: owe, release, take back, withdraw. What leaves it, and how: leaving.py. The row is the queue.

An app owes a message inside its own act's transaction; a person, or a rule that a person approved, releases it. At release the
texts and files are made and frozen on the row: what leaves is what was read.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.db import transaction

from jobs.core import clock, files, rules, waking
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import Job
from jobs.core.refusals import OutOfSight, Refused
from jobs.notices import consent, kinds, rendering
from jobs.notices.kinds import NoticeKind, Owing, Recipient
from jobs.notices.leaving import CHANGED, claim, due, follow, record, unfreeze
from jobs.notices.models import Channel, Message, MessageFile, State
from jobs.notices.recipients import address_anew, recipients_of
from jobs.notices.rendering import Rendered

__all__ = [
    "claim",
    "due",
    "let_go",
    "look_again",
    "owe",
    "preview",
    "record",
    "record_arrived",
    "release",
    "release_at_once",
    "release_many",
    "send_again",
    "take_back",
    "withdraw",
    "withdraw_message",
]

SEND = "jobs.notices.tasks.send_notice"
TAKE_BACK = dt.timedelta(minutes=1)
# Where a message that no longer counts may still be stopped.
NOT_GONE = (State.OWED, State.RELEASED, State.NO_RECIPIENT, State.FAILED)


def owe(
    kind_name: str,
    *,
    job: Job | None,
    cause: str,
    by: Actor,
    about: dict[str, Any] | None = None,
    not_before: dt.datetime | None = None,
    not_after: dt.datetime | None = None,
) -> list[Message]:
    """Owe a message to each recipient of the kind, once for each cause. Called inside an act; nothing is sent here.

    Nobody to write to: one row in state "no recipient", which stands on Today. Imports owe nothing.
    """
    if by.quiet:
        return []
    kind = kinds.of(kind_name)
    owing = Owing(job, cause, about or {})
    owed = _owe_to(kind, owing, recipients_of(kind, owing) or (None,), not_before=not_before, not_after=not_after)
    if kind.may_go_by_itself and kind.name in _approved():
        for message in owed:
            if message.state == State.OWED:
                _release_by_rule(message)
    return owed


def _owe_to(
    kind: NoticeKind,
    owing: Owing,
    people: Sequence[Recipient | None],
    *,
    not_before: dt.datetime | None,
    not_after: dt.datetime | None,
) -> list[Message]:
    """One message for each way in which each of them may be written to."""
    return [
        _owe_one(kind, owing, to=to, channel=channel, not_before=not_before, not_after=not_after)
        for to in people
        for channel in _channels_to(kind, to)
    ]


def _channels_to(kind: NoticeKind, to: Recipient | None) -> Sequence[Channel]:
    """E-mail, and a text beside it where the kind has one and the person agreed; only a text to whoever has no e-mail."""
    if to is None or not kind.by_text or not consent.may_text(to.person, to.phone, scope=kind.scope):
        return (Channel.EMAIL,)
    return (Channel.EMAIL, Channel.TEXT) if to.address else (Channel.TEXT,)


def _owe_one(
    kind: NoticeKind,
    owing: Owing,
    *,
    to: Recipient | None,
    channel: Channel,
    not_before: dt.datetime | None,
    not_after: dt.datetime | None,
) -> Message:
    address = "" if to is None else to.phone if channel == Channel.TEXT else to.address
    message, _ = Message.objects.get_or_create(
        kind=kind.name,
        cause=owing.cause,
        to_key=to.key if to else "",
        channel=channel,
        defaults={
            "job": owing.job,
            "about": owing.about,
            "person": to.person if to else None,
            "to_name": to.name if to else "",
            "address": address,
            "language": to.language if to else "en",
            "state": State.OWED if to else State.NO_RECIPIENT,
            "not_before": not_before,
            "not_after": not_after,
            "created_at": clock.now(),
        },
    )
    return message


def _approved() -> set[str]:
    """Kinds that the manager lets leave by themselves."""
    return {name.strip() for name in rules.text("notices_by_themselves").split(",")}


def _release_by_rule(message: Message) -> None:
    try:
        let_go(message, rule="notices_by_themselves")
    except Refused as refusal:
        # What made the message due stands all the same; a person sees why it did not leave.
        message.reason = str(refusal)
        message.save(update_fields=["reason"])


def release_anew() -> int:
    """Release what changed while it was held, where a rule lets its kind leave by itself; how many. Each may run twice."""
    changed = Message.objects.in_state(State.OWED).filter(reason=CHANGED, kind__in=_approved()).values_list("pk", flat=True)
    for pk in list(changed):
        with transaction.atomic():
            message = Message.objects.select_for_update().filter(pk=pk, state=State.OWED, reason=CHANGED).first()
            if message is not None:
                _release_by_rule(message)
    return len(changed)


def withdraw(*, job: Job | None, cause: str, reason: str) -> int:
    """Take back every message of a cause that has not left: it was overtaken. Called inside an act; how many there were."""
    return Message.objects.filter(job=job, cause=cause).in_state(*NOT_GONE).update(state=State.WITHDRAWN, reason=reason)


def preview(message: Message) -> Rendered:
    """What the message says: as it would be made now, or as it was frozen. Raises Refused where it cannot be made."""
    if message.state in (State.OWED, State.NO_RECIPIENT):
        address_anew(message)
        return rendering.made(message)
    return rendering.frozen(message)


def let_go(message: Message, *, by: Actor | None = None, rule: str = "", seen: str = "") -> Message:
    """Make the texts, freeze them on the row and release it. Called inside an act, on a row that it holds.

    by: the person who releases; or rule: the approved rule that does. seen: the digest of the text that was read before, if it was.
    """
    if message.state != State.OWED:
        raise Refused(_not_owed(message))
    address_anew(message)
    rendering.refuse_unsendable(message)
    if overtaken := kinds.of(message.kind).still_due(message):
        raise Refused(f"This message is no longer due: {overtaken} Withdraw it.")
    shown = rendering.made(message)
    if seen and seen != shown.digest:
        raise Refused("The text has changed since you opened this page. Read it again and then release it.")
    now = clock.now()
    message.subject, message.text, message.html = shown.subject, shown.text, shown.html
    message.state, message.reason = State.RELEASED, ""
    message.released_by_name, message.rule, message.released_at = by.name if by else "", rule, now
    # What a person releases waits a moment, in which it can be taken back.
    message.due_at = max(now if by is None else now + TAKE_BACK, message.not_before or now)
    message.message_id = f"<{message.uid}@{settings.EMAIL_FROM.rpartition('@')[2]}>"
    message.save()
    MessageFile.objects.bulk_create(
        MessageFile(message=message, position=place, file=files.store(part.data), name=part.name, content_type=part.content_type)
        for place, part in enumerate(shown.attachments)
    )
    if message.due_at <= now:
        waking.wake(SEND, message.pk)
    return message


def _not_owed(message: Message) -> str:
    if message.state == State.NO_RECIPIENT:
        return "There is nobody to send this message to; enter the person and their e-mail address, then look again."
    if message.state == State.WITHDRAWN:
        return f"This message was withdrawn: {message.reason}"
    return f"This message was already released by {message.released_by_name or 'a rule'}; nothing was changed."


@act(right="core.release_notices", on=Message)
def release(message: Message, *, by: Actor, seen: str = "") -> Message:
    """Release one message. It leaves after a minute, in which it can be taken back."""
    return let_go(message, by=by, seen=seen)


@act(right="core.release_notices", on=Message)
def release_at_once(message: Message, *, why: str, by: Actor) -> Message:
    """In an emergency a named person lets a message leave at once, in quiet hours too: no minute to take it back in."""
    if by.user is None:
        raise Refused("Only a person of the office, by name, lets a message leave in quiet hours.")
    if not why.strip():
        raise Refused("Say what the emergency is, such as: the house is without power.", field="why")
    if message.state not in (State.OWED, State.RELEASED):
        raise Refused(_not_owed(message))
    if message.state == State.OWED:
        let_go(message, by=by)
    message.at_once_why, message.reason, message.due_at = f"{why.strip()} ({by.name})"[:200], "", clock.now()
    message.save(update_fields=["at_once_why", "reason", "due_at"])
    waking.wake(SEND, message.pk)
    return message


@act(right="core.release_notices")
def release_many(uids: Sequence[str], *, by: Actor, seen: dict[str, str] | None = None) -> list[Message]:
    """Release several messages, all or none. seen: the digest of each text as it was read, by uid."""
    rows = Message.objects.filter(uid__in=[uid for uid in uids if _is_uid(uid)])
    rows = rows if by.user is None else rows.seen_by(by.user)
    wanted = {str(message.uid): message for message in rows}
    if missing := [uid for uid in uids if uid not in wanted]:
        raise OutOfSight(f"{len(missing)} of these messages are not among those you may see.")
    if not wanted:
        raise Refused("No message is chosen; choose at least one.", field="uids")
    # Jobs before messages, each in one order, so that two people who release the same list wait for each other and never for ever.
    list(Job.objects.select_for_update().filter(messages__in=[m.pk for m in wanted.values()]).order_by("pk").values_list("pk"))
    released = []
    for message in Message.objects.select_for_update().filter(pk__in=[m.pk for m in wanted.values()]).order_by("pk"):
        try:
            released.append(let_go(message, by=by, seen=(seen or {}).get(str(message.uid), "")))
        except Refused as refusal:
            to = message.to_name or "nobody"
            raise Refused(f"Nothing was released, because of “{message.kind_words}” to {to}: {refusal}", field="uids") from None
    return released


def _is_uid(text: str) -> bool:
    try:
        uuid.UUID(text)
    except ValueError:
        return False
    return True


@act(right="core.release_notices", on=Message)
def take_back(message: Message, *, by: Actor) -> Message:
    """Undo a release before the message leaves; it waits for release again, with a text made anew."""
    if message.state != State.RELEASED or message.attempts or message.due_at is None or message.due_at <= clock.now():
        raise Refused("It is too late to take this message back: it has left, is leaving, or is not released.")
    unfreeze(message)
    message.save()
    return message


@act(right="core.release_notices", on=Message)
def withdraw_message(message: Message, *, reason: str, by: Actor) -> Message:
    """A person decides that this message does not go."""
    if not reason.strip():
        raise Refused("Give the reason why this message does not go; it stands beside it.", field="reason")
    if message.state not in NOT_GONE:
        raise Refused(f"This message cannot be withdrawn: it is {message.get_state_display()}.")
    message.state, message.reason = State.WITHDRAWN, f"{reason.strip()} ({by.name})"
    message.save(update_fields=["state", "reason"])
    return message


@act(right="core.release_notices", on=Message)
def send_again(message: Message, *, by: Actor) -> Message:
    """Send a failed message, or one that may have been sent, once more: the same text and the same Message-ID."""
    if message.state not in (State.FAILED, State.MAY_HAVE_BEEN_SENT):
        raise Refused(f"Only a message that failed or may have been sent is sent again; this one is {message.get_state_display()}.")
    if message.state == State.FAILED:
        # The address may have been what failed, and was mended since.
        address_anew(message)
        rendering.refuse_unsendable(message)
    now = clock.now()
    message.state, message.reason, message.due_at = State.RELEASED, "", now
    message.released_by_name, message.released_at, message.claimed_until = by.name, now, None
    message.save()
    waking.wake(SEND, message.pk)
    return message


@act(right="core.release_notices", on=Message)
def record_arrived(message: Message, *, how: str, by: Actor) -> Message:
    """A person has learnt that a message which may have been sent did arrive."""
    if message.state != State.MAY_HAVE_BEEN_SENT:
        raise Refused(f"This message is {message.get_state_display()}; only of one that may have been sent is it asked whether it arrived.")
    if not how.strip():
        raise Refused("Say how you know that it arrived.", field="how")
    message.state, message.reason = State.SENT, ""
    message.sent_at, message.outcome = clock.now(), f"arrived, says {by.name}: {how.strip()}"[:250]
    message.save(update_fields=["state", "reason", "sent_at", "outcome"])
    follow(message)
    return message


@act(right="core.release_notices", on=Message)
def look_again(message: Message, *, by: Actor) -> list[Message]:
    """Look once more for somebody to send a message to, after people or addresses were entered."""
    if message.state != State.NO_RECIPIENT:
        raise Refused("This message has a recipient, or was withdrawn meanwhile.")
    kind, owing = kinds.of(message.kind), Owing(message.job, message.cause, message.about)
    people = recipients_of(kind, owing)
    if not people:
        raise Refused("There is still nobody to send this message to; enter the person first.")
    owed = _owe_to(kind, owing, people, not_before=message.not_before, not_after=message.not_after)
    message.state, message.reason = State.WITHDRAWN, "A recipient was found; it is owed to them."
    message.save(update_fields=["state", "reason"])
    return owed
