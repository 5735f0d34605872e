"""What a withdrawn hardware revision asks of us at each utility: one task."""

from __future__ import annotations

import uuid

from django.contrib.auth.models import AnonymousUser
from django.db import models

from jobs.core.models import User, WithdrawnRevision
from utilities.models.utility import Utility


class RevisionTaskQuerySet(models.QuerySet["RevisionTask"]):
    def seen_by(self, user: User | AnonymousUser) -> RevisionTaskQuerySet:
        return self if user.has_perm("core.record_requests") else self.none()

    def open(self) -> RevisionTaskQuerySet:
        return self.filter(done_at__isnull=True)


class RevisionTask(models.Model):
    """The homes of one utility that hold it, told to its desk and swapped together; without a utility: the homes that have none yet."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    withdrawn = models.ForeignKey(WithdrawnRevision, on_delete=models.CASCADE, related_name="tasks")
    utility = models.ForeignKey(Utility, null=True, blank=True, on_delete=models.CASCADE, related_name="revision_tasks")
    done_at = models.DateTimeField(null=True, blank=True)
    done_how = models.CharField(max_length=240, blank=True)
    done_by_name = models.CharField(max_length=160, blank=True)

    objects = RevisionTaskQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["withdrawn", "utility"], name="revision_task_once", nulls_distinct=False)]

    def __str__(self) -> str:
        return f"{self.withdrawn} at {self.utility or 'no utility'}"
