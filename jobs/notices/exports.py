"""Messages as a table, for the page and the command; without their texts, which stand on their own pages."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from jobs.core.exports import Export
from jobs.core.refusals import Refused
from jobs.notices import kinds
from jobs.notices.models import Message, MessageQuerySet, State

HEADINGS = (
    "created_at", "kind", "job", "to", "address", "channel", "language", "state", "reason", "subject", "released_by", "released_at",
    "attempts", "sent_at", "outcome",
)  # fmt: skip


def lines(messages: MessageQuerySet) -> Iterator[Sequence[object]]:
    for message in messages.select_related("job").iterator(chunk_size=500):
        yield (
            message.created_at, message.kind_words, message.job.code if message.job else "", message.to_name, message.address,
            message.get_channel_display(), message.language, message.state, message.reason, message.subject,
            message.released_by_name or message.rule, message.released_at, message.attempts, message.sent_at, message.outcome,
        )  # fmt: skip


def _rows(filters: Mapping[str, str]) -> Iterable[Sequence[object]]:
    messages = Message.objects.order_by("pk")
    if state := filters.get("state"):
        if state not in State.values:
            raise Refused(f"“{state}” is not a state of a message; wanted one of: {', '.join(State.values)}.", field="state")
        messages = messages.filter(state=state)
    if kind := filters.get("kind"):
        if kinds.find(kind) is None:
            known = ", ".join(known.name for known in kinds.all_kinds())
            raise Refused(f"“{kind}” is not a kind of message; wanted one of: {known}.", field="kind")
        messages = messages.filter(kind=kind)
    if job := filters.get("job"):
        messages = messages.filter(job__code=job.upper())
    return lines(messages)


EXPORTS = (Export("notices", "Messages", HEADINGS, _rows, filters=("state", "kind", "job")),)
