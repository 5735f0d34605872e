"""What an address may be used for: consent given and ended, and addresses that are barred.

A text wants consent: of this person, at this number, for this scope. An e-mail about the contracted work wants none, and leaves until
somebody asks for no more. Whoever ends it ends everything at that address, at once (47 CFR 64.1200(a)(10) allows ten business days; ours
is at once). The newest word that bears on an address holds; nothing is changed or deleted.
"""

from __future__ import annotations

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db.models import Q

from jobs.core import clock, phones
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.models import Job, Person
from jobs.core.refusals import Refused
from jobs.notices import kinds
from jobs.notices.models import Channel, Consent, Ended, Message, Scope, State

# The one text that an ended consent allows: 47 CFR 64.1200(a)(12).
CONFIRMATION = "texts_ended"
ENDED_WORDS = {
    Ended.ASKED: "{name} asked for no more messages at this address. Telephone instead.",
    Ended.WRONG: "This address was reported as not theirs. Ask {name} for the right one.",
    Ended.BOUNCED: "Nothing arrives at this address. Ask {name} for another one.",
}


def newest(channel: str, address: str, *, person: Person | None, scope: str) -> Consent | None:
    """The word that holds: an ending of anybody's at this address, or what this person gave for this scope."""
    bears = Q(scope=Scope.ALL) | Q(scope=scope)
    theirs = Q(revoked_at__isnull=False) | Q(person=person) | Q(channel=Channel.EMAIL)
    return Consent.objects.filter(bears & theirs, channel=channel, address=normal(channel, address)).order_by("-pk").first()


def may_text(person: Person | None, number: str, *, scope: str) -> bool:
    """Whether this person agreed to texts of this scope at this number, and nothing has ended it since."""
    if person is None or not number:
        return False
    word = newest(Channel.TEXT, number, person=person, scope=scope)
    return word is not None and word.revoked_at is None


def all_ended(channel: str, address: str) -> bool:
    """Whether nothing more may go to an address, and nobody has agreed to anything there since."""
    last = Consent.objects.filter(channel=channel, address=normal(channel, address)).order_by("-pk").first()
    return last is not None and last.revoked_at is not None


def is_ended(message: Message) -> bool:
    """Whether the newest word about this address is that it may not be written to."""
    word = _word_on(message)
    return word is not None and word.revoked_at is not None


def why_not(message: Message) -> str | None:
    """Why this message may not go to its address, as a sentence; None where it may."""
    if message.kind == CONFIRMATION:
        return None
    word = _word_on(message)
    if word is not None and word.revoked_at is not None:
        return ENDED_WORDS[Ended(word.ended)].format(name=message.to_name)
    if word is None and message.channel == Channel.TEXT:
        return f"{message.to_name} has not agreed to text messages at this number. Telephone, or write an e-mail."
    return None


def _word_on(message: Message) -> Consent | None:
    kind = kinds.find(message.kind)
    return newest(message.channel, message.address, person=message.person, scope=kind.scope if kind else Scope.NOTICES)


def normal(channel: str, address: str) -> str:
    """The one way in which an address stands in a consent."""
    return address.strip().lower() if channel == Channel.EMAIL else address.strip()


# Acts


@act(right="core.release_notices", on=Job)
def give(job: Job, *, person: Person, channel: str, scope: str, words: str, how: str, by: Actor, checked: bool = False) -> Consent:
    """A person of the home agreed to be written to: to what words, and how they said so.

    checked: that a barred address is theirs after all.
    """
    address = _address_of(job, person, channel)
    if scope not in (Scope.NOTICES, Scope.BILLING):
        raise Refused("Say what they agreed to: messages about the work, or about invoices.", field="scope")
    if not words.strip():
        raise Refused("Give the words that they were shown or read when they agreed.", field="words")
    _refuse_without_how(how)
    one_at_a_time(f"consent {address}")
    word = newest(channel, address, person=person, scope=scope)
    if word is not None and word.revoked_at is None:
        raise Refused(f"{person.name} has agreed to this already; it is on record.")
    if word is not None and word.is_bar and not checked:
        raise Refused(
            f"{address} is barred: {word.get_ended_display()}. Enter another one, or say that you have checked that it is theirs.",
            field="checked",
        )
    return _write(channel, address, person=person, scope=scope, words=words, how=how, by=by.name)


@act(right="core.release_notices", on=Job)
def revoke(job: Job, *, person: Person, channel: str, how: str, by: Actor, words: str = "") -> Consent:
    """A person of the home wants no more messages of this channel: nothing more leaves to their address, whatever it is about."""
    address = _address_of(job, person, channel)
    _refuse_without_how(how)
    one_at_a_time(f"consent {address}")
    if all_ended(channel, address):
        raise Refused(f"That {person.name} wants no more messages at this address is already on record.")
    return end_address(channel, address, person=person, words=words, how=how, by=by.name)


@act(right="core.release_notices", on=Message)
def end(message: Message, *, how: str, by: Actor, words: str = "") -> Consent:
    """The recipient asked for no more messages here: nothing leaves to this address until they ask for it again."""
    _refuse_unnamed(message, how)
    if is_ended(message):
        raise Refused(f"That {message.to_name} wants no more messages at this address is already on record.")
    return end_address(message.channel, message.address, person=message.person, words=words, how=how, by=by.name)


@act(right="core.release_notices", on=Message)
def give_again(message: Message, *, how: str, by: Actor, words: str = "") -> Consent:
    """The recipient asked to be written to again."""
    _refuse_unnamed(message, how)
    if not is_ended(message):
        raise Refused(f"Nothing on record says that {message.to_name} may not be written to.")
    kind = kinds.find(message.kind)
    scope = Scope.ALL if message.channel == Channel.EMAIL or kind is None else Scope(kind.scope)
    return _write(message.channel, message.address, person=message.person, scope=scope, words=words, how=how, by=by.name)


# What acts and webhooks share


def end_address(channel: str, address: str, *, person: Person | None, words: str, how: str, by: str, why: Ended = Ended.ASKED) -> Consent:
    """Write that nothing more goes to an address, and take back the texts that wait for it."""
    word = _write(channel, address, person=person, scope=Scope.ALL, words=words, how=how, by=by, ended=why)
    if channel == Channel.TEXT:
        _take_back_waiting(word)
    return word


def _take_back_waiting(word: Consent) -> None:
    """Texts that have not left. Where an e-mail says the same, the text is withdrawn; else it failed, so that somebody telephones."""
    waiting = Message.objects.in_state(State.OWED, State.RELEASED).filter(channel=word.channel, address=word.address)
    for message in waiting.exclude(kind=CONFIRMATION).select_for_update().order_by("pk"):
        message.state = State.WITHDRAWN if goes_by_mail_too(message) else State.FAILED
        message.reason = ENDED_WORDS[Ended(word.ended)].format(name=message.to_name or "the person")
        message.save(update_fields=["state", "reason"])


def goes_by_mail_too(message: Message) -> bool:
    """Whether an e-mail with the same news went, or goes, to the same person."""
    twins = Message.objects.filter(kind=message.kind, cause=message.cause, to_key=message.to_key, channel=Channel.EMAIL)
    return message.channel == Channel.TEXT and twins.in_state(State.OWED, State.RELEASED, State.SENDING, State.SENT).exists()


def _address_of(job: Job, person: Person, channel: str) -> str:
    if not job.parties.filter(person=person).exists():
        raise Refused("This person is not one of the people of this home.", field="person")
    address = person.phone if channel == Channel.TEXT else person.email
    if channel not in Channel.values or not address:
        wanted = "telephone number" if channel == Channel.TEXT else "e-mail address"
        raise Refused(f"{person.name} has no {wanted} on record; enter it first.", field="person")
    refuse_unusable(channel, address)
    return normal(channel, address)


def refuse_unusable(channel: str, address: str) -> None:
    """Refuse what is no number or no e-mail address: 911, a line break, two in one."""
    if any(letter in address for letter in "\r\n\0"):
        raise Refused("The address holds a line break; enter it anew, on one line.")
    try:
        if channel == Channel.TEXT:
            phones.e164(address)
        else:
            validate_email(address)
    except ValueError as fault:
        raise Refused(str(fault)) from fault
    except ValidationError:
        raise Refused(f"“{address}” is not an e-mail address; wanted one such as name@place.example.") from None


def _refuse_without_how(how: str) -> None:
    if not how.strip():
        raise Refused("Say how they told us, and when: on the telephone today, in an answer to a message.", field="how")


def _refuse_unnamed(message: Message, how: str) -> None:
    if not message.address:
        raise Refused("This message has no address.")
    _refuse_without_how(how)
    # Several messages share one address; two people may speak for it at once.
    one_at_a_time(f"consent {normal(message.channel, message.address)}")


def _write(
    channel: str, address: str, *, person: Person | None, scope: str, words: str, how: str, by: str, ended: Ended | None = None
) -> Consent:
    now = clock.now()
    return Consent.objects.create(
        person=person,
        channel=channel,
        address=normal(channel, address),
        scope=scope,
        words=words.strip(),
        how=how.strip(),
        given_at=None if ended else now,
        revoked_at=now if ended else None,
        ended=ended or "",
        recorded_by_name=by,
    )
