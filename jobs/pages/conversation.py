"""What was said between the office and a home, in order: messages, replies, and telephone calls in and out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.urls import reverse

from jobs.core import clock, phones, walltime, words
from jobs.core.models import Job, User
from jobs.notices.models import Channel, Direction, Message, PhoneCall, Received, ReceivedKind, State
from jobs.notices.shown import instant

RECENT = 6  # that stand open; older ones fold away
MOST = 300  # of each, newest first: what is older stands in the list of messages


@dataclass(frozen=True)
class Said:
    """One row. ours: it came from the office. cause: why, with a link where it has a page. outcome: what became of it."""

    at: dt.datetime
    ours: bool
    whom: str
    how: str  # "e-mail to", "text from", "telephone"
    title: str
    url: str = ""
    words: str = ""
    lang: str = "en"
    cause: str = ""
    cause_url: str = ""
    outcome: str = ""
    under: str = ""
    by: str = ""
    when: str = ""
    time: str = ""


@dataclass(frozen=True)
class Conversation:
    older: tuple[Said, ...]
    recent: tuple[Said, ...]

    @property
    def count(self) -> int:
        return len(self.older) + len(self.recent)


def conversation(job: Job, user: User, *, today: dt.date) -> Conversation:
    """All of it that this person may see; days and times are those at the home."""
    rows = sorted([*_messages(job, user), *_replies(job, user), *_calls(job, user)], key=lambda said: said.at)
    zone = walltime.zone_of(job.site.zone)
    shown = [_dated(said, said.at.astimezone(zone), today=today) for said in rows]
    return Conversation(tuple(shown[:-RECENT]), tuple(shown[-RECENT:]))


def _dated(said: Said, local: dt.datetime, *, today: dt.date) -> Said:
    return Said(**(vars(said) | {"when": words.day_short(local.date(), today=today), "time": words.time_office(local)}))


def _messages(job: Job, user: User) -> Iterable[Said]:
    newest = Message.objects.seen_by(user).filter(job=job).order_by("-created_at", "-pk")[:MOST]
    for message in reversed(newest):  # what one act owes at one instant stays in its order
        cause, url = cause_of(message)
        yield Said(
            # Where it has left, when it left: that is when the other side could read it.
            at=message.sent_at or message.created_at,
            ours=True,
            whom=message.to_name or "nobody",
            how=f"{message.get_channel_display()} to",
            title=message.kind_words,
            url=reverse("notice", kwargs={"uid": message.uid}),
            words=message.text.strip() if message.channel == Channel.TEXT else message.subject,
            lang=message.language,
            cause=cause,
            cause_url=url,
            outcome="delivered" if message.delivered_at and message.state == State.SENT else message.state_words,
            under=message.reason or _leaves(message),
            by=message.released_by_name or ("approved rule" if message.rule else ""),
        )


def _leaves(message: Message) -> str:
    """When a released message may leave, while that is still to come."""
    waits = message.state == State.RELEASED and message.due_at is not None and message.due_at > clock.now()
    return f"leaves from {instant(message.due_at)}" if waits else ""


# What a message is about, by what it was owed with: in words, and the name of its page.
ABOUT = {
    "call": ("the call", "call"),
    "record": ("the result of the call", ""),
    "fact": ("a fact of this home", ""),
    "visit": ("the utility's visit", ""),
    "request": ("the request to fit", ""),
    "invoice": ("the invoice", "invoice"),
    "paper": ("a paper is missing", ""),
}


def cause_of(message: Message) -> tuple[str, str]:
    for key, (said, page) in ABOUT.items():
        if uid := message.about.get(key):
            return said, reverse(page, kwargs={"uid": uid}) if page else ""
    return "", ""


def _replies(job: Job, user: User) -> Iterable[Said]:
    found = Received.objects.seen_by(user).filter(job=job, kind__in=(ReceivedKind.REPLY, ReceivedKind.COMPLAINT))
    for reply in found.select_related("person", "message").order_by("-at", "-pk")[:MOST]:
        answered = reply.message
        waits = reply.for_person and reply.settled_at is None
        yield Said(
            at=reply.at,
            ours=False,
            whom=reply.person.name if reply.person else reply.shown_address,
            how=f"{reply.get_channel_display()} from",
            title=reply.get_kind_display(),
            url=reverse("received", kwargs={"uid": reply.uid}),
            words=reply.text,
            lang="",
            cause=f"answers: {answered.kind_words}" if answered else "",
            outcome="to be answered" if waits else "settled" if reply.settled_at else "done",
            under=reply.settled_how or reply.done,
            by=reply.settled_by_name,
        )


def _calls(job: Job, user: User) -> Iterable[Said]:
    for call in PhoneCall.objects.seen_by(user).filter(job=job).order_by("-at", "-pk")[:MOST]:
        ours = call.direction == Direction.OUT
        yield Said(
            at=call.at,
            ours=ours,
            whom=call.name,
            how="telephone to" if ours else "telephone from",
            title=f"{call.get_direction_display()}{f', {phones.shown(call.number)}' if call.number else ''}",
            words=call.words,
            cause=call.cause,
            outcome=call.get_outcome_display(),
            by=call.recorded_by_name,
        )
