"""What happened to one message, in order, for its page."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from jobs.core.models import Trace
from jobs.notices.models import Channel, Message
from jobs.notices.shown import instant

ACTS = {
    "jobs.notices.outbox.release": "Released.",
    "jobs.notices.outbox.release_at_once": "Released to leave at once, in quiet hours too.",
    "jobs.notices.outbox.take_back": "Taken back before it left.",
    "jobs.notices.outbox.withdraw_message": "Withdrawn.",
    "jobs.notices.outbox.send_again": "Released to be sent again.",
    "jobs.notices.outbox.record_arrived": "Recorded that it arrived.",
    "jobs.notices.outbox.look_again": "Looked again for a recipient.",
    "jobs.notices.consent.end": "Recorded that they want no more messages at this address.",
    "jobs.notices.consent.give_again": "Recorded that they may be written to again.",
}

CAPTURED = {
    Channel.EMAIL: "Captured, not sent: no mail server is set.",
    Channel.TEXT: "Captured, not sent: no gateway for text messages is set.",
}


@dataclass(frozen=True)
class Step:
    at: dt.datetime
    words: str
    by: str = ""

    @property
    def shown(self) -> str:
        return instant(self.at)


def of(message: Message) -> list[Step]:
    traces = Trace.objects.filter(on=f"{message._meta.label_lower} {message.pk}", act__in=ACTS)
    steps = [Step(message.created_at, f"Owed: {message.kind_words}.", "")]
    steps += [Step(trace.at, ACTS[trace.act], trace.actor) for trace in traces]
    released = {"jobs.notices.outbox.release", "jobs.notices.outbox.release_at_once", "jobs.notices.outbox.send_again"}
    if message.released_at and not any(trace.act in released for trace in traces):
        # Released with others at once, inside another act, or by a rule.
        steps.append(Step(message.released_at, "Released.", message.released_by_name or f"rule: {message.rule}"))
    if message.sent_at:
        steps.append(Step(message.sent_at, CAPTURED[Channel(message.channel)] if message.captured else f"Sent: {message.outcome}."))
    for row in message.received.order_by("pk"):
        said = f": {row.text}" if row.text else ""
        steps.append(Step(row.at, f"Came back: {row.get_kind_display()}{said}. {row.done}".strip()))
    return sorted(steps, key=lambda step: step.at)
