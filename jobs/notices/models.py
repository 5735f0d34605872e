"""The outbox (the row is the queue), the files that go with a message, and who asked for no more of them."""

from __future__ import annotations

import uuid

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import Q

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
    created_at = models.DateTimeField()

    objects = MessageQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-pk"]
        indexes = [
            models.Index(fields=["due_at"], condition=Q(state="released"), name="message_due"),
            models.Index(fields=["claimed_until"], condition=Q(state="sending"), name="message_leased"),
            models.Index(fields=["state", "created_at"]),
            models.Index(fields=["job", "cause"]),
        ]
        constraints = [
            models.UniqueConstraint(fields=["kind", "cause", "to_key", "channel"], name="message_once"),
            models.CheckConstraint(
                condition=~Q(state__in=["released", "sending", "sent", "may have been sent"])
                | (~Q(subject="") & ~Q(text="") & ~Q(address="") & Q(released_at__isnull=False)),
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
    def captured(self) -> bool:
        """Kept to be read on its page, and handed to no mail server."""
        return self.state == State.SENT and self.outcome == "captured"


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


class Consent(models.Model):
    """What one address may be used for. Insert only but for its end; the newest row of an address and scope holds."""

    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.CASCADE, related_name="consents")
    channel = models.CharField(max_length=8, choices=Channel, default=Channel.EMAIL)
    address = models.CharField(max_length=254)  # lower case
    scope = models.CharField(max_length=40, default="notices")
    words = models.TextField(blank=True)  # shown when consent was asked, or said when it was ended
    how = models.TextField(blank=True)
    given_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    recorded_by_name = models.CharField(max_length=160)

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["channel", "address"])]

    def __str__(self) -> str:
        return f"{self.address}: {'ended' if self.revoked_at else 'given'}"
