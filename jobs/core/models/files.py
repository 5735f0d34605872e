from __future__ import annotations

import uuid

from django.db import models

from jobs.core.models.job import Job


class StoredFile(models.Model):
    """Bytes on disk under their SHA-256; several documents may point to one file."""

    sha256 = models.CharField(max_length=64, unique=True)
    size = models.BigIntegerField()
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.sha256[:12]


class Document(models.Model):
    """A photo or paper of a job, by subject."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="documents")
    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT)
    subject = models.CharField(max_length=80)
    name = models.CharField(max_length=160)  # as its sender named it; shown, never used as a path
    content_type = models.CharField(max_length=80)
    taken_on = models.DateField(null=True, blank=True)
    added_at = models.DateTimeField()
    added_by = models.CharField(max_length=160)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.subject}: {self.name}"
