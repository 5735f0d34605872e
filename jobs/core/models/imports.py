from __future__ import annotations

import uuid

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from jobs.core.models.people import User


class ImportRunQuerySet(models.QuerySet["ImportRun"]):
    def seen_by(self, user: User) -> ImportRunQuerySet:
        """One's own; and everybody's for those who may see money, for a file may hold amounts."""
        return self if user.has_perm("core.see_money") else self.filter(by=user)


class ImportRun(models.Model):
    """One file brought in: its bytes, the matching of columns, and how far applying has come."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(max_length=20)
    name = models.CharField(max_length=160)
    sha256 = models.CharField(max_length=64)
    columns = models.JSONField(default=dict)  # what a person said of the file: jobs.core.sheets.choices
    checked = models.JSONField(default=dict)  # of a long file, what checking all of it found; empty until that is done
    good_rows_only = models.BooleanField(default=False)
    rows_total = models.PositiveIntegerField(default=0)
    rows_done = models.PositiveIntegerField(default=0)
    counts = models.JSONField(default=dict)
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    dropped_at = models.DateTimeField(null=True)
    taken_back_at = models.DateTimeField(null=True)
    taken_back_by_name = models.CharField(max_length=160, blank=True)
    by = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=160)
    created_at = models.DateTimeField(auto_now_add=True)

    objects = ImportRunQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return f"{self.kind} from {self.name}"


class ImportRefusal(models.Model):
    """One thing to correct that kept a row of an import from being applied."""

    run = models.ForeignKey(ImportRun, on_delete=models.CASCADE, related_name="refusals")
    row = models.PositiveIntegerField()
    column = models.TextField(blank=True)  # the heading in the file
    value = models.TextField(blank=True)
    wanted = models.TextField()

    class Meta:
        ordering = ["row", "pk"]
        indexes = [models.Index(fields=["run", "row"])]

    def __str__(self) -> str:
        return f"row {self.row}: {self.wanted}"


class ImportChunk(models.Model):
    """What some rows of an import wrote, applied in one transaction, so that the import can be taken back.

    `written`: for each record its model, key, a digest of what it was then, and of one that stood before what changed and how.
    """

    run = models.ForeignKey(ImportRun, on_delete=models.CASCADE, related_name="chunks")
    first_row = models.PositiveIntegerField()
    last_row = models.PositiveIntegerField()
    written = models.JSONField(encoder=DjangoJSONEncoder)
    beyond = models.JSONField(default=list)  # tables that were written in a way of which nothing is known

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"rows {self.first_row} to {self.last_row}"
