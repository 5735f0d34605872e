"""What happened to one message, in order, for its page."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from jobs.core.models import Trace
from jobs.notices.models import Message
from jobs.notices.shown import instant

ACTS = {
    "jobs.notices.outbox.release": "Released.",
    "jobs.notices.outbox.take_back": "Taken back before it left.",
    "jobs.notices.outbox.withdraw_message": "Withdrawn.",
    "jobs.notices.outbox.send_again": "Released to be sent again.",
    "jobs.notices.outbox.record_arrived": "Recorded that it arrived.",
    "jobs.notices.outbox.look_again": "Looked again for a recipient.",
    "jobs.notices.consent.end": "Recorded that they want no more messages at this address.",
    "jobs.notices.consent.give_again": "Recorded that they may be written to again.",
}

CAPTURED = "Captured, not sent: no mail server is set."


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
    released = {"jobs.notices.outbox.release", "jobs.notices.outbox.send_again"}
    if message.released_at and not any(trace.act in released for trace in traces):
        # Released with others at once, inside another act, or by a rule.
        steps.append(Step(message.released_at, "Released.", message.released_by_name or f"rule: {message.rule}"))
    if message.sent_at:
        steps.append(Step(message.sent_at, CAPTURED if message.captured else f"Sent: {message.outcome}."))
    return sorted(steps, key=lambda step: step.at)
