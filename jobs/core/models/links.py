from __future__ import annotations

import uuid

from django.db import models

from jobs.core.models.job import Job
from jobs.core.models.people import Person


class SignedLink(models.Model):
    """What one link given to one person opens: one purpose of one job. The token itself is not stored; a new version voids older ones."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    purpose = models.CharField(max_length=20)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="links")
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="links")
    about = models.CharField(max_length=60, blank=True)  # the uid of what it is about, an appointment for instance
    version = models.PositiveIntegerField(default=1)
    expires_at = models.DateTimeField()
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["purpose", "job", "person", "about"], name="link_once")]

    def __str__(self) -> str:
        return f"{self.purpose} link of {self.job}"
