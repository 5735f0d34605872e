"""Kinds of message, as the apps that owe them register them when they are ready (AppConfig.ready).

    kinds.register(
        NoticeKind(
            name="call_booked",
            words="call booked",
            to=("at_home", "owner"),
            context=booked_context,
            still_due=booked_still_due,
        )
    )

with templates/notices/call_booked/subject.en.txt, body.en.txt, body.en.html, and the same in .es. The bodies extend
notices/mail.txt and notices/mail.html and fill their block "words".
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from jobs.core.models import Job, Person
    from jobs.notices.models import Message


@dataclass(frozen=True)
class Recipient:
    """Whom a message goes to. `key` names them for ever: a message is owed once to each."""

    key: str
    name: str
    address: str
    language: str = "en"
    person: Person | None = None
    phone: str = ""  # E.164, for texts

    @classmethod
    def of(cls, person: Person) -> Recipient:
        return cls(f"person {person.pk}", person.name, person.email, person.language, person, person.phone)


@dataclass(frozen=True)
class Owing:
    """What is about to be owed: enough for a kind to choose the recipients."""

    job: Job | None
    cause: str
    about: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Attachment:
    """A file as the kind makes it at release. A calendar part: content_type "text/calendar; method=REQUEST"."""

    name: str
    content_type: str
    data: bytes


def _still_due(message: Message) -> str | None:
    return None


def _no_context(message: Message) -> dict[str, Any]:
    return {}


def _nothing_follows(message: Message) -> None:
    return None


def no_attachments(message: Message) -> Sequence[Attachment]:
    return ()


# Roles of the job's parties on the day at the site ("owner", "at_home", "account_holder", "payer"), or a function.
To = tuple[str, ...] | Callable[[Owing], "Sequence[Recipient | Person]"]


@dataclass(frozen=True)
class NoticeKind:
    """One kind of message.

    words: as lists and the ledger say it.
    context: names for the templates, beside those that rendering.py always gives.
    still_due: None while the message is still true, else the reason for which it is withdrawn, as a sentence.
    required: names of cautions (jobs.core.cautions) that must stand in each text. "no_backup_yet" is required by itself of
        whatever goes to a home before its backup is verified.
    stopped_by: which of the things that a hold stops stops this kind; None for safety messages.
    to_home: it goes to people of the home: quiet hours at the site, and "no backup yet".
    may_go_by_itself: a rule that the manager approves ("notices_by_themselves") may release it.
    money: it names amounts; only those who may see amounts see it.
    by_text: a short text goes beside the e-mail, to a number whose owner agreed to texts: text.en.txt, text.es.txt.
    required_in_text: names of cautions whose few words (jobs.notices.brief) must stand in that text.
    scope: what that consent must be for (jobs.notices.models.Scope).
    follows: what must follow, in the same transaction and under the job's lock, each time it becomes known that a message left
        (message.has_left), or did not arrive after all. It may be told the same twice.
    """

    name: str
    words: str
    to: To
    context: Callable[[Message], dict[str, Any]] = _no_context
    still_due: Callable[[Message], str | None] = _still_due
    required: tuple[str, ...] = ()
    attachments: Callable[[Message], Sequence[Attachment]] = no_attachments
    stopped_by: str | None = "homeowner"
    to_home: bool = True
    may_go_by_itself: bool = False
    money: bool = False
    by_text: bool = False
    required_in_text: tuple[str, ...] = ()
    scope: str = "notices"
    follows: Callable[[Message], None] = _nothing_follows


_registered: Final[dict[str, NoticeKind]] = {}


def register(kind: NoticeKind) -> NoticeKind:
    """Registered once under its name, however often the app is made ready."""
    _registered[kind.name] = kind
    return kind


def of(name: str) -> NoticeKind:
    return _registered[name]


def find(name: str) -> NoticeKind | None:
    return _registered.get(name)


def all_kinds() -> list[NoticeKind]:
    return sorted(_registered.values(), key=lambda kind: kind.words)


def with_followup() -> list[str]:
    return [kind.name for kind in _registered.values() if kind.follows is not _nothing_follows]


def about_money() -> list[str]:
    return [kind.name for kind in _registered.values() if kind.money]
