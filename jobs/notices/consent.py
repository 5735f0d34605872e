"""Who asked for no more messages, at which address. Thin: e-mail only, one scope."""

from __future__ import annotations

from jobs.core import clock
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.refusals import Refused
from jobs.notices.models import Consent, Message


def is_ended(message: Message) -> bool:
    """Whether the newest word about this address is that it may not be written to."""
    rows = Consent.objects.filter(channel=message.channel, address=message.address.lower()).order_by("-pk")
    newest = rows.first()
    return newest is not None and newest.revoked_at is not None


@act(right="core.release_notices", on=Message)
def end(message: Message, *, how: str, by: Actor, words: str = "") -> Consent:
    """The recipient asked for no more messages here: nothing leaves to this address until they ask for it again."""
    _refuse_unnamed(message, how)
    if is_ended(message):
        raise Refused(f"That {message.to_name} wants no more messages at this address is already on record.")
    return _write(message, how=how, words=words, by=by, ends=True)


@act(right="core.release_notices", on=Message)
def give_again(message: Message, *, how: str, by: Actor, words: str = "") -> Consent:
    """The recipient asked to be written to again."""
    _refuse_unnamed(message, how)
    if not is_ended(message):
        raise Refused(f"Nothing on record says that {message.to_name} may not be written to.")
    return _write(message, how=how, words=words, by=by, ends=False)


def _refuse_unnamed(message: Message, how: str) -> None:
    if not message.address:
        raise Refused("This message has no address.")
    if not how.strip():
        raise Refused("Say how they told us, and when: on the telephone today, in an answer to a message.", field="how")
    # Several messages share one address; two people may speak for it at once.
    one_at_a_time(f"consent {message.address.lower()}")


def _write(message: Message, *, how: str, words: str, by: Actor, ends: bool) -> Consent:
    now = clock.now()
    return Consent.objects.create(
        person=message.person,
        channel=message.channel,
        address=message.address.lower(),
        words=words.strip(),
        how=how.strip(),
        given_at=None if ends else now,
        revoked_at=now if ends else None,
        recorded_by_name=by.name,
    )
