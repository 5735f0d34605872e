"""The outbox (the row is the queue), the files that go with a message, consent, what came back, and telephone calls beside them."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import Q

from jobs.core import phones
from jobs.core.models import Job, Person, StoredFile, User
from jobs.core.models.people import Language
from jobs.notices import kinds


class State(models.TextChoices):
    OWED = "owed", "waits for release"
    RELEASED = "released", "released"
    SENDING = "sending", "being sent"
    SENT = "sent", "sent"
    MAY_HAVE_BEEN_SENT = "may have been sent", "may have been sent"
    FAILED = "failed", "failed"
    WITHDRAWN = "withdrawn", "withdrawn"
    NO_RECIPIENT = "no recipient", "no recipient"


class Channel(models.TextChoices):
    EMAIL = "email", "e-mail"
    TEXT = "text", "text message"


def shown_address(channel: str, address: str) -> str:
    """As a person reads it: "(303) 555-0142"; what is no number, as it came."""
    if channel != Channel.TEXT:
        return address
    try:
        return phones.shown(phones.e164(address).number)
    except ValueError:
        return address


class Scope(models.TextChoices):
    """What a person agreed to be texted about."""

    NOTICES = "notices", "the work on the home: calls, visits, results"
    BILLING = "billing", "invoices and reminders of payment"
    ALL = "all", "everything"  # of endings only: who wants no more wants none of it


class MessageQuerySet(models.QuerySet["Message"]):
    def seen_by(self, user: User | AnonymousUser) -> MessageQuerySet:
        """Those of the jobs the person may know of; with amounts of money in them only where they may see amounts."""
        if not user.is_authenticated or not user.has_perm("core.see_notices"):
            return self.none()
        rows = self.filter(Q(job__isnull=True) | Q(job__in=Job.objects.seen_by(user)))
        return rows if user.has_perm("core.see_money") else rows.exclude(kind__in=kinds.about_money())

    def in_state(self, *states: State) -> MessageQuerySet:
        return self.filter(state__in=[state.value for state in states])


class Message(models.Model):
    """One message to one address. From release on its subject, texts and files are frozen: what leaves is what was read."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(max_length=40)
    cause = models.CharField(max_length=120)  # what made it due, "call_booked <uid> 2"; the same cause owes it once
    about = models.JSONField(default=dict, blank=True)  # what the kind needs to find its context again
    job = models.ForeignKey(Job, null=True, blank=True, on_delete=models.CASCADE, related_name="messages")
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="messages")
    to_key = models.CharField(max_length=60, blank=True)  # names the recipient, "person 12"; blank where there is none
    to_name = models.CharField(max_length=160, blank=True)
    address = models.CharField(max_length=254, blank=True)
    channel = models.CharField(max_length=8, choices=Channel, default=Channel.EMAIL)
    language = models.CharField(max_length=2, choices=Language, default=Language.ENGLISH)

    state = models.CharField(max_length=20, choices=State, default=State.OWED)
    reason = models.TextField(blank=True)  # why it failed, was withdrawn, is held, or could not be released by a rule
    not_before = models.DateTimeField(null=True, blank=True)
    not_after = models.DateTimeField(null=True, blank=True)

    subject = models.CharField(max_length=250, blank=True)
    text = models.TextField(blank=True)
    html = models.TextField(blank=True)
    released_by_name = models.CharField(max_length=160, blank=True)
    released_at = models.DateTimeField(null=True, blank=True)
    rule = models.CharField(max_length=60, blank=True)  # the approved rule that released it, instead of a person

    attempts = models.PositiveIntegerField(default=0)
    due_at = models.DateTimeField(null=True, blank=True)
    claimed_until = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    outcome = models.CharField(max_length=250, blank=True)  # what the far end said, or "captured"
    message_id = models.CharField(max_length=200, blank=True)  # the same on every copy
    far_id = models.CharField(max_length=200, blank=True)  # what the gateway calls it
    delivered_at = models.DateTimeField(null=True, blank=True)  # as the far end reported it
    at_once_why = models.CharField(max_length=200, blank=True)  # a named person let it leave in quiet hours
    created_at = models.DateTimeField()

    objects = MessageQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-pk"]
        indexes = [
            models.Index(fields=["due_at"], condition=Q(state="released"), name="message_due"),
            models.Index(fields=["claimed_until"], condition=Q(state="sending"), name="message_leased"),
            models.Index(fields=["state", "created_at"]),
            models.Index(fields=["job", "cause"]),
            models.Index(fields=["channel", "address"], condition=Q(state__in=["owed", "released"]), name="message_waiting_to"),
            models.Index(fields=["far_id"], condition=~Q(far_id=""), name="message_far_id"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["kind", "cause", "to_key", "channel"], name="message_once"),
            models.CheckConstraint(
                condition=~Q(state__in=["released", "sending", "sent", "may have been sent"])
                | ((~Q(subject="") | Q(channel="text")) & ~Q(text="") & ~Q(address="") & Q(released_at__isnull=False)),
                name="message_frozen_before_it_leaves",
            ),
            models.CheckConstraint(
                condition=~Q(state="sending") | Q(claimed_until__isnull=False),
                name="message_leased_while_sending",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} to {self.to_name or 'nobody'}"

    @property
    def kind_words(self) -> str:
        kind = kinds.find(self.kind)
        return kind.words if kind else self.kind.replace("_", " ")

    @property
    def state_words(self) -> str:
        return "captured, not sent" if self.captured else State(self.state).label

    @property
    def shown_address(self) -> str:
        return shown_address(self.channel, self.address)

    @property
    def captured(self) -> bool:
        """Kept to be read on its page, and handed to no mail server."""
        return self.state == State.SENT and self.outcome == "captured"

    @property
    def has_left(self) -> bool:
        """Whether its news is out. What was captured told nobody; only in the demo, where nothing else happens, does it count."""
        return self.state == State.SENT and (settings.DEMO or not self.captured)


class MessageFile(models.Model):
    """A file that goes with a message, frozen with its texts."""

    message = models.ForeignKey(Message, on_delete=models.CASCADE, related_name="attachments")
    position = models.PositiveSmallIntegerField()
    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=160)
    content_type = models.CharField(max_length=120)  # with parameters: "text/calendar; method=REQUEST"

    class Meta:
        ordering = ["message", "position"]
        constraints = [models.UniqueConstraint(fields=["message", "position"], name="message_file_once")]

    def __str__(self) -> str:
        return self.name


class Ended(models.TextChoices):
    """Why an address may not be written to any more."""

    ASKED = "asked", "they asked for no more"
    WRONG = "wrong", "it is not theirs"  # barred, whoever gives it, until somebody has checked it
    BOUNCED = "bounced", "nothing arrives there"  # likewise


class Consent(models.Model):
    """One word about what an address may be used for. Insert only; the newest that bears on an address, person and scope holds.

    Given: words are those that were shown, how and given_at say how and when. Ended: words are those that ended it.
    """

    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.CASCADE, related_name="consents")
    channel = models.CharField(max_length=8, choices=Channel, default=Channel.EMAIL)
    address = models.CharField(max_length=254)  # an e-mail address in lower case, or a number in E.164
    scope = models.CharField(max_length=40, choices=Scope, default=Scope.NOTICES)
    words = models.TextField(blank=True)
    how = models.TextField(blank=True)
    given_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    ended = models.CharField(max_length=8, choices=Ended, blank=True)
    recorded_by_name = models.CharField(max_length=160)

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["channel", "address"])]
        constraints = [
            models.CheckConstraint(
                condition=Q(given_at__isnull=False, revoked_at__isnull=True, ended="")
                | (Q(given_at__isnull=True, revoked_at__isnull=False) & ~Q(ended="")),
                name="consent_given_or_ended",
            )
        ]

    def __str__(self) -> str:
        return f"{self.address}: {'ended' if self.revoked_at else 'given'}"

    @property
    def shown_address(self) -> str:
        return shown_address(self.channel, self.address)

    @property
    def is_bar(self) -> bool:
        return self.ended in (Ended.WRONG, Ended.BOUNCED)


class ReceivedKind(models.TextChoices):
    REPLY = "reply", "reply"
    DELIVERED = "delivered", "delivered"
    DELAYED = "delayed", "delayed"
    FAILED = "failed", "not delivered"
    COMPLAINT = "complaint", "complaint"
    UNREADABLE = "unreadable", "not understood"


class ReceivedQuerySet(models.QuerySet["Received"]):
    def seen_by(self, user: User | AnonymousUser) -> ReceivedQuerySet:
        """For those who see messages; what is about no home that we know is theirs too."""
        if not user.is_authenticated or not user.has_perm("core.see_notices"):
            return self.none()
        return self.filter(Q(job__isnull=True) | Q(job__in=Job.objects.seen_by(user)))

    def waiting(self) -> ReceivedQuerySet:
        """What a person has yet to answer or settle."""
        return self.filter(for_person=True, settled_at__isnull=True)


class Received(models.Model):
    """What a gateway or mail service told us by its webhook: a reply, or what became of a message. Kept as it came."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    channel = models.CharField(max_length=8, choices=Channel)
    event = models.CharField(max_length=200)  # names the event at the far end; told twice, it counts once
    kind = models.CharField(max_length=12, choices=ReceivedKind)
    address = models.CharField(max_length=254, blank=True)  # whose word it is, or to whom the message went
    text = models.TextField(blank=True)
    raw = models.TextField()
    at = models.DateTimeField()  # when it came here
    message = models.ForeignKey(Message, null=True, blank=True, on_delete=models.SET_NULL, related_name="received")
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    job = models.ForeignKey(Job, null=True, blank=True, on_delete=models.CASCADE, related_name="received")
    done = models.CharField(max_length=250, blank=True)  # what the program did at once
    for_person = models.BooleanField(default=False)
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by_name = models.CharField(max_length=160, blank=True)
    settled_how = models.TextField(blank=True)

    objects = ReceivedQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [
            models.Index(fields=["at"], condition=Q(for_person=True, settled_at__isnull=True), name="received_waiting"),
            models.Index(fields=["job", "at"]),
        ]
        constraints = [models.UniqueConstraint(fields=["channel", "event"], name="received_once")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.address or 'nobody'}"

    @property
    def shown_address(self) -> str:
        return shown_address(self.channel, self.address)


class Direction(models.TextChoices):
    IN = "in", "they telephoned"
    OUT = "out", "we telephoned"


class CallOutcome(models.TextChoices):
    SPOKE = "spoke", "spoke with them"
    OTHER = "other", "spoke with somebody else"
    VOICEMAIL = "voicemail", "left a message"
    NO_ANSWER = "no_answer", "no answer"
    WRONG = "wrong", "wrong number"


class PhoneCallQuerySet(models.QuerySet["PhoneCall"]):
    def seen_by(self, user: User | AnonymousUser) -> PhoneCallQuerySet:
        if not user.is_authenticated or not user.has_perm("core.see_notices"):
            return self.none()
        return self.filter(job__in=Job.objects.seen_by(user))


class PhoneCall(models.Model):
    """A telephone call with somebody of a home, in or out. It stands beside the messages; insert only."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="phone_calls")
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    name = models.CharField(max_length=160)
    number = models.CharField(max_length=16, blank=True)  # E.164
    direction = models.CharField(max_length=4, choices=Direction)
    at = models.DateTimeField()
    outcome = models.CharField(max_length=12, choices=CallOutcome)
    words = models.TextField(blank=True)
    cause = models.CharField(max_length=120, blank=True)  # what it was about, in words
    recorded_by_name = models.CharField(max_length=160)
    recorded_at = models.DateTimeField()

    objects = PhoneCallQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["job", "at"])]

    def __str__(self) -> str:
        return f"{self.get_direction_display()}: {self.name}"
