"""What must hold in the outbox; each breach is a sentence."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from django.db.models import Count, Exists, OuterRef, Q

from jobs.core import clock
from jobs.notices import consent, kinds
from jobs.notices.models import Channel, Consent, Message, State

# The sweep marks a lost lease each minute; it may be late, but not for long.
SWEPT_WITHIN = dt.timedelta(minutes=10)
LEFT = (State.SENDING, State.SENT, State.MAY_HAVE_BEEN_SENT)


def breaches() -> Iterator[str]:
    yield from _stuck()
    yield from _unfrozen()
    yield from _sent_without_try()
    yield from _twice()
    yield from _of_no_kind()
    yield from _texted_without_consent()


def _stuck() -> Iterator[str]:
    for message in Message.objects.in_state(State.SENDING).filter(claimed_until__lt=clock.now() - SWEPT_WITHIN):
        yield f"Message {message.uid} is being sent since before its lease ran out: the sweep does not run."


def _unfrozen() -> Iterator[str]:
    of_mail = Q(subject="") | Q(html="")
    bare = Q(text="") | Q(address="") | Q(message_id="") | (Q(channel=Channel.EMAIL) & of_mail)
    for message in Message.objects.in_state(*LEFT, State.RELEASED).filter(bare):
        yield f"Message {message.uid} is {message.get_state_display()} without its text, address or Message-ID."
    for message in Message.objects.in_state(*LEFT, State.RELEASED).filter(released_by_name="", rule=""):
        yield f"Message {message.uid} is {message.get_state_display()}, and neither a person nor a rule released it."


def _sent_without_try() -> Iterator[str]:
    for message in Message.objects.in_state(*LEFT).filter(attempts=0):
        yield f"Message {message.uid} is {message.get_state_display()} and was never tried."
    for message in Message.objects.in_state(State.SENT).filter(sent_at__isnull=True):
        yield f"Message {message.uid} is sent and does not say when."


def _twice() -> Iterator[str]:
    doubled = Message.objects.exclude(message_id="").values("message_id").annotate(n=Count("pk")).filter(n__gt=1)
    for row in doubled:
        yield f"{row['n']} messages have the Message-ID {row['message_id']}."


def _texted_without_consent() -> Iterator[str]:
    agreed = Consent.objects.filter(
        channel=Channel.TEXT, person=OuterRef("person"), address=OuterRef("address"), given_at__lte=OuterRef("created_at")
    )
    texts = Message.objects.in_state(*LEFT).filter(channel=Channel.TEXT).exclude(kind=consent.CONFIRMATION)
    for message in texts.exclude(Exists(agreed)):
        yield f"Message {message.uid} went as a text to {message.to_name}, who had not agreed to texts at that number."


def _of_no_kind() -> Iterator[str]:
    known = [kind.name for kind in kinds.all_kinds()]
    for name in Message.objects.exclude(kind__in=known).order_by("kind").values_list("kind", flat=True).distinct():
        yield f"Messages of the kind {name} exist, which no app registers."
