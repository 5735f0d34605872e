"""What a phone sent: one row for each part of the day-one form and each key made on a phone, kept for ever."""

from __future__ import annotations

import uuid

from django.db import models

from jobs.core.models.facts import Fact
from jobs.core.models.job import Job
from jobs.core.models.people import User


class Outcome(models.TextChoices):
    RECORDED = "recorded", "recorded"
    SAME = "same", "the same was on record already"
    WAITING = "waiting", "two versions, and nobody has chosen yet"
    DROPPED = "dropped", "what was on record was kept"


class PhonePartQuerySet(models.QuerySet["PhonePart"]):
    def seen_by(self, user: User) -> PhonePartQuerySet:
        return self.filter(job__in=Job.objects.seen_by(user))

    def waiting(self) -> PhonePartQuerySet:
        return self.filter(outcome=Outcome.WAITING)


class PhonePart(models.Model):
    """A key is honoured once: sent again, it is answered from here. A version that waits for a choice is kept whole."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="phone_parts")
    part = models.CharField(max_length=30)
    key = models.CharField(max_length=64, unique=True)
    contents = models.JSONField(default=dict)  # field: the values as they were typed
    photos = models.JSONField(default=list)  # of a version that waits: field, name, sha256
    changed = models.JSONField(default=list)  # sentences: what was changed since the phone began it
    outcome = models.CharField(max_length=10, choices=Outcome.choices)
    fact = models.ForeignKey(Fact, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    filled_at = models.DateTimeField(null=True, blank=True)  # by the phone's own clock
    received_at = models.DateTimeField()
    sent_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    sent_by_name = models.CharField(max_length=160)
    chosen_by_name = models.CharField(max_length=160, blank=True)
    chosen_at = models.DateTimeField(null=True, blank=True)

    objects = PhonePartQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["job", "part"]), models.Index(fields=["outcome"])]

    def __str__(self) -> str:
        return f"{self.part} of {self.job}, {self.outcome}"
