"""What leaves the outbox: due, claim, record, lost leases.

    message = claim(pk)             commits: a try is counted, the row is ours for five minutes
    outcome = channels.send(...)    outside any transaction: a slow mail server would hold a database lock
    record(pk, outcome, ...)        a crash before this leaves "may have been sent" for a person

These write without being acts: nobody presses anything, and each may run twice.
"""

from __future__ import annotations

import datetime as dt
import logging
import random
from dataclasses import dataclass

from django.db import connection, transaction

from jobs.core import clock, homefacts, rules, walltime
from jobs.core.models import Job
from jobs.core.refusals import Refused
from jobs.notices import consent, kinds, rendering
from jobs.notices.models import Message, State
from jobs.notices.outcome import GIVE_UP_AFTER, LEASE, Outcome, Result, pause_after
from jobs.notices.quiet import next_open

HOLD_ASKED_AGAIN = dt.timedelta(hours=1)
# What leaves in its minute says what was read; what was held longer is asked whether it would say the same now.
READ_ANEW_AFTER = dt.timedelta(minutes=10)
CHANGED = "What it says has changed since it was released. Read it anew."
_random = random.Random()
_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Stop:
    """Why a released message does not leave now: for good (withdrawn or failed), until it is read anew, or until an instant."""

    state: State
    reason: str
    until: dt.datetime | None = None


def due(*, limit: int = 500) -> list[int]:
    """Keys of released messages whose time has come, the longest due first."""
    rows = Message.objects.filter(state=State.RELEASED, due_at__lte=clock.now()).order_by("due_at", "pk")
    return list(rows.values_list("pk", flat=True)[:limit])


def claim(pk: int) -> Message | None:
    """Take a due message for one try, alone; None where it is not due, another worker has it, or it may not leave now."""
    now = clock.now()
    with transaction.atomic():
        message = (
            Message.objects.select_for_update(skip_locked=connection.features.has_select_for_update_skip_locked, of=("self",))
            .select_related("job__site", "person")
            .filter(pk=pk, state=State.RELEASED, due_at__lte=now)
            .first()
        )
        if message is None:
            return None
        if stop := _stop(message, now):
            if stop.state == State.OWED:
                unfreeze(message)
            message.state, message.reason = stop.state, stop.reason
            message.due_at = stop.until or message.due_at
            message.save()
            return None
        message.state, message.reason = State.SENDING, ""
        message.attempts += 1
        message.claimed_until = now + LEASE
        message.save(update_fields=["state", "reason", "attempts", "claimed_until"])
    return message


def _stop(message: Message, now: dt.datetime) -> Stop | None:
    """What is asked again just before leaving: still due, consent, holds, quiet hours."""
    kind = kinds.find(message.kind)
    if kind is None:
        return Stop(State.FAILED, "This kind of message is no longer known to the program.")
    if message.not_after and now > message.not_after:
        return Stop(State.WITHDRAWN, "Its time was over before it could leave.")
    if overtaken := kind.still_due(message):
        return Stop(State.WITHDRAWN, overtaken)
    if _would_say_otherwise(message, now):
        return Stop(State.OWED, CHANGED)
    if rendering.lacks_no_backup(message):
        return Stop(State.OWED, "The backup of this home is not verified any more, and the text did not say so. Read it anew.")
    if reason := consent.why_not(message):
        # Where no e-mail says the same, somebody must telephone, so it stands on Today.
        return Stop(State.WITHDRAWN if consent.goes_by_mail_too(message) else State.FAILED, reason)
    if message.job and kind.stopped_by and kind.stopped_by in homefacts.stopped(message.job):
        return Stop(State.RELEASED, "Held: a hold on this home stops it.", until=now + HOLD_ASKED_AGAIN)
    if message.job and kind.to_home and not message.at_once_why:
        site = message.job.site
        opens = next_open(now, zone=site.zone, quiet=quiet_hours(), region=site.region)
        if opens > now:
            return Stop(State.RELEASED, "Held until quiet hours at the home are over.", until=opens)
    return None


def _would_say_otherwise(message: Message, now: dt.datetime) -> bool:
    """Whether a fact in the frozen text changed while the message was held. One that was tried goes as it went before."""
    if message.attempts or message.kind == consent.CONFIRMATION or message.released_at is None:
        return False
    if now - message.released_at < READ_ANEW_AFTER:
        return False
    try:
        shown = rendering.made(message)
    except Refused:
        return True
    return (shown.subject, shown.text) != (message.subject, message.text)


def unfreeze(message: Message) -> None:
    """Take away, unsaved but for the files, what was frozen: the message waits for release, with a text made anew."""
    message.attachments.all().delete()
    message.state, message.due_at, message.released_at = State.OWED, None, None
    message.subject = message.text = message.html = message.released_by_name = message.rule = message.at_once_why = ""


def quiet_hours() -> walltime.QuietHours:
    """The house rule in force."""
    opens, closes = rules.several("quiet_opens", "quiet_closes").values()
    return walltime.QuietHours(dt.time(int(opens)), dt.time(int(closes)))


def record(pk: int, outcome: Outcome, *, attempt: int) -> None:
    """Write down what came of a try. A word about an older try than the row's is too late to count.

    A lease that ran out while the server was slow left "may have been sent"; the true answer still replaces that.
    """
    now = clock.now()
    with transaction.atomic():
        message = held(pk)
        if message.attempts != attempt or message.state not in (State.SENDING, State.MAY_HAVE_BEEN_SENT):
            return
        message.claimed_until = None
        message.outcome = outcome.words[:250]
        match outcome.result:
            case Result.SENT | Result.CAPTURED:
                message.state, message.reason, message.sent_at, message.far_id = State.SENT, "", now, outcome.far_id
            case Result.UNKNOWN:
                message.state, message.reason = State.MAY_HAVE_BEEN_SENT, outcome.words
            case Result.PERMANENT:
                message.state, message.reason = State.FAILED, outcome.words
            case Result.PASSING if message.released_at and now - message.released_at > GIVE_UP_AFTER:
                message.state, message.reason = State.FAILED, f"Given up after {message.attempts} tries: {outcome.words}"
            case Result.PASSING:
                message.state, message.reason = State.RELEASED, outcome.words
                pause = pause_after(message.attempts, jitter=_random.random())
                message.due_at = now + max(pause, outcome.wait or pause)
        message.save(update_fields=["state", "reason", "outcome", "sent_at", "due_at", "claimed_until", "far_id"])
        follow_or_log(message)


def held(pk: int) -> Message:
    """The message, locked; its job first where something may follow, in the order of every act."""
    list(Job.objects.select_for_update(of=("self",)).filter(messages__pk=pk, messages__kind__in=kinds.with_followup()).values_list("pk"))
    return Message.objects.select_for_update().get(pk=pk)


def follow(message: Message) -> None:
    """What the kind makes follow from a message that left, or did not arrive after all. Called inside a transaction, on a held row."""
    kind = kinds.find(message.kind)
    if kind is not None and message.state in (State.SENT, State.FAILED):
        kind.follows(message)


def follow_or_log(message: Message) -> None:
    """The same where no person can try again: what became of a message is written down whatever follows, else it may be sent twice."""
    try:
        with transaction.atomic():
            follow(message)
    except Exception:
        _log.exception("What follows from message %s could not be written.", message.uid)


def lose_leases() -> int:
    """Mark what a killed worker held: the message may have gone out just before, so it is never sent again without a person."""
    return Message.objects.filter(state=State.SENDING, claimed_until__lt=clock.now()).update(
        state=State.MAY_HAVE_BEEN_SENT,
        claimed_until=None,
        reason="The program was stopped while this message was being sent. Ask whether it arrived, or send it again.",
    )


def drop_overtaken() -> int:
    """Withdraw what nobody released in its time."""
    rows = Message.objects.in_state(State.OWED, State.NO_RECIPIENT).filter(not_after__lt=clock.now())
    return rows.update(state=State.WITHDRAWN, reason="Its time was over before anybody released it.")
