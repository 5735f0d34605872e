from __future__ import annotations

import datetime as dt
import uuid

from django.db import models
from django.db.models import Q

from jobs.core.models.job import Job
from jobs.core.models.people import User


class HoldKind(models.TextChoices):
    STORM = "storm", "storm"
    DISPUTE = "dispute", "dispute"
    WISH = "wish", "homeowner's wish"
    ESTATE = "estate", "death or insolvency"


class Stops(models.TextChoices):
    CALLS = "calls", "calls"
    REMINDERS = "reminders", "reminders to us"
    HOMEOWNER = "homeowner", "messages to the homeowner"
    UTILITY = "utility", "messages to the utility"
    COLLECTION = "collection", "collection"


class HoldQuerySet(models.QuerySet["Hold"]):
    def seen_by(self, user: User) -> HoldQuerySet:
        return self.filter(job__in=Job.objects.seen_by(user))

    def standing(self, on: dt.date) -> HoldQuerySet:
        return self.filter(from_on__lte=on, lifted_at__isnull=True)


class Hold(models.Model):
    """Stops some of what we do for a job. It never stops the wait, safety messages or the recording of facts."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="holds")
    kind = models.CharField(max_length=12, choices=HoldKind)
    stops = models.JSONField(default=list)
    from_on = models.DateField()
    review_on = models.DateField()
    reason = models.TextField()
    by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=160)
    cause = models.CharField(max_length=60, blank=True)  # one storm writes a hold for each job, and lifts them together
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by_name = models.CharField(max_length=160, blank=True)

    objects = HoldQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["review_on"], condition=Q(lifted_at__isnull=True), name="hold_to_review")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} hold of {self.job}"
