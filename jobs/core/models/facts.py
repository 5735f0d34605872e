"""Dated facts, on which everything about a home rests; insert only."""

from __future__ import annotations

import uuid
from typing import Any, NoReturn

from django.db import models
from django.db.models import Q

from jobs.core.kinds import MEDICAL_ANSWER
from jobs.core.models.files import Document
from jobs.core.models.job import STATE_CHOICES, Job
from jobs.core.models.people import User


class FactQuerySet(models.QuerySet["Fact"]):
    def seen_by(self, user: User) -> FactQuerySet:
        rows = self.filter(job__in=Job.objects.seen_by(user))
        return rows if user.has_perm("core.see_medical") else rows.exclude(kind=MEDICAL_ANSWER)

    def correctable_by(self, user: User) -> FactQuerySet:
        # Whoever may record the medical answer may mend it, though a crew does not read it later; to others it is not there.
        rows = self.filter(job__in=Job.objects.seen_by(user))
        knows = user.has_perm("core.see_medical") or user.has_perm("core.record_medical")
        return rows if knows else rows.exclude(kind=MEDICAL_ANSWER)

    def of_kind(self, kind: str) -> FactQuerySet:
        return self.filter(kind=kind)

    def standing(self) -> FactQuerySet:
        """Those that no later fact has corrected or withdrawn."""
        return self.filter(replaced_by__isnull=True, withdrawn=False)


class Fact(models.Model):
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="facts")
    kind = models.CharField(max_length=32)

    # When it happened: a day at the site, an instant, or a bracket (after_on, by_on].
    happened_on = models.DateField(null=True, blank=True)
    happened_at = models.DateTimeField(null=True, blank=True)
    after_on = models.DateField(null=True, blank=True)
    by_on = models.DateField(null=True, blank=True)
    # The first day known, at the site; derived once, so that facts sort in the database.
    day = models.DateField()

    said_by_role = models.CharField(max_length=40)
    said_by_name = models.CharField(max_length=160, blank=True)
    value = models.JSONField(default=dict)
    note = models.TextField(blank=True)
    evidence = models.ManyToManyField(Document, blank=True, related_name="facts")

    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    recorded_by_name = models.CharField(max_length=160)

    replaces = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by")
    reason = models.TextField(blank=True)
    withdrawn = models.BooleanField(default=False)  # a correction that says: it did not happen

    source = models.CharField(max_length=20, default="page")
    source_key = models.CharField(max_length=120, null=True, blank=True)

    objects = FactQuerySet.as_manager()

    class Meta:
        ordering = ["day", "pk"]
        indexes = [models.Index(fields=["job", "kind"]), models.Index(fields=["kind", "day"])]
        constraints = [
            models.UniqueConstraint(fields=["source", "source_key"], condition=Q(source_key__isnull=False), name="fact_source_once"),
            models.CheckConstraint(
                condition=Q(after_on__isnull=True) | Q(by_on__isnull=False, after_on__lt=models.F("by_on")), name="fact_bracket_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} of {self.job} on {self.day}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise TypeError("A fact is never changed; record a correction that names it.")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise TypeError("A fact is never deleted; record a correction that withdraws it.")


class StateChange(models.Model):
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="state_changes")
    was = models.CharField(max_length=20, choices=STATE_CHOICES)
    became = models.CharField(max_length=20, choices=STATE_CHOICES)
    since = models.DateField()  # the day at the site on which the last needed fact happened
    by = models.CharField(max_length=160)
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["became", "since"])]

    def __str__(self) -> str:
        return f"{self.job}: {self.was} to {self.became}"
