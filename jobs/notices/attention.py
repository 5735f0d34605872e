"""What of the outbox needs a person: to release, failed, may have been sent, nobody to send to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.urls import reverse
from django.utils.http import urlencode

from jobs.core import clock, rules, words
from jobs.core.attention import Attention, Figure, Row, Section, says
from jobs.core.models import User
from jobs.notices.models import Message, MessageQuerySet, Received, ReceivedQuerySet, State
from jobs.notices.shown import day_at

MOST = 10
HEADINGS = ("Since", "To", "Message", "Home", "Next act")


@dataclass(frozen=True)
class _Group:
    name: str
    state: State
    title: str
    nothing: str
    note: str
    act: str
    order: int
    says: Callable[[int], str]


GROUPS = (
    _Group(
        "notices_failed",
        State.FAILED,
        "Messages that failed",
        "No message has failed.",
        "nobody has read them; telephone, or mend the address and send again",
        "Settle",
        20,
        says("message failed", "messages failed"),
    ),
    _Group(
        "notices_unsure",
        State.MAY_HAVE_BEEN_SENT,
        "Messages that may have been sent",
        "Of every message it is known whether it was sent.",
        "the program was stopped, or the mail server fell silent, just then",
        "Settle",
        21,
        says("message may have been sent", "messages may have been sent"),
    ),
    _Group(
        "notices_nobody",
        State.NO_RECIPIENT,
        "Messages with nobody to send them to",
        "Every message has a recipient.",
        "enter the person, then look again",
        "Look again",
        22,
        says("message has nobody to be sent to", "messages have nobody to be sent to"),
    ),
    _Group(
        "notices_to_release",
        State.OWED,
        "Messages to release",
        "No message waits for release.",
        "nothing leaves before a person has read it",
        "Read and release",
        40,
        says("message is to be released", "messages are to be released"),
    ),
)


def for_user(user: User) -> Attention:
    """At most ten rows of each, for those who release messages."""
    if not user.has_perm("core.release_notices"):
        return Attention()
    seen = Message.objects.seen_by(user)
    sections = tuple(_section(group, seen.in_state(group.state)) for group in GROUPS)
    to_release = sections[-1]
    answers = _answers(Received.objects.seen_by(user).waiting())
    figure = Figure("Messages to release", words.number(to_release.count), to_release.all_url)
    return Attention(sections=(*sections, answers), figures=(figure,))


def _answers(found: ReceivedQuerySet) -> Section:
    """Replies and reports that only a person can settle."""
    zone = rules.text("office_zone")
    today = clock.office_today()
    first = found.select_related("job__site", "person").order_by("at", "pk")[:MOST]
    return Section(
        name="notices_answers",
        title="Replies to read",
        headings=HEADINGS,
        rows=[
            Row(
                margin=words.day_short(day_at(row.at, zone), today=today),
                title=row.person.name if row.person else "unknown sender",
                under=row.shown_address,
                url=reverse("received", kwargs={"uid": row.uid}),
                cells=(row.text[:120] or row.get_kind_display(), f"{row.job.code}, {row.job.site.street}" if row.job else ""),
                next_act="Read and settle",
            )
            for row in first
        ],
        nothing="No reply waits to be read.",
        note="nobody has answered them yet",
        all_url=reverse("received_list"),
        total=found.count(),
        order=19,
        says=says("reply is to be read", "replies are to be read"),
    )


def _section(group: _Group, found: MessageQuerySet) -> Section:
    zone = rules.text("office_zone")
    today = clock.office_today()
    first = found.select_related("job__site").order_by("created_at", "pk")[:MOST]
    return Section(
        name=group.name,
        title=group.title,
        headings=HEADINGS,
        rows=[
            Row(
                margin=words.day_short(day_at(message.created_at, zone), today=today),
                title=message.to_name or "nobody",
                under=message.shown_address,
                url=reverse("notice_release" if group.state == State.OWED else "notice", kwargs={"uid": message.uid}),
                cells=(message.kind_words, f"{message.job.code}, {message.job.site.street}" if message.job else ""),
                next_act=group.act,
            )
            for message in first
        ],
        nothing=group.nothing,
        note=group.note,
        all_url=f"{reverse('notices')}?{urlencode({'state': group.state})}",
        total=found.count(),
        order=group.order,
        says=group.says,
    )
