"""Sheets of waiting homes for a utility's desk: prepared, checked again, released, and then as they were given."""

from __future__ import annotations

import uuid

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import Q

from jobs.core.models import User
from utilities.models.requests import FitRequest
from utilities.models.utility import Utility


class SheetQuerySet(models.QuerySet["DeskSheet"]):
    def seen_by(self, user: User | AnonymousUser) -> SheetQuerySet:
        return self if user.has_perm("core.record_requests") else self.none()

    def prepared(self) -> SheetQuerySet:
        return self.filter(released_at__isnull=True, discarded_at__isnull=True)


class DeskSheet(models.Model):
    """One sheet for one desk. Until it is released its lines follow the record; what was given stays as it was given."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    utility = models.ForeignKey(Utility, on_delete=models.CASCADE, related_name="desk_sheets")
    prepared_at = models.DateTimeField()
    prepared_by_name = models.CharField(max_length=160)
    discarded_at = models.DateTimeField(null=True, blank=True)  # thrown away before anybody outside saw it
    released_on = models.DateField(null=True, blank=True)  # given to the desk; day at the utility
    released_at = models.DateTimeField(null=True, blank=True)
    released_by_name = models.CharField(max_length=160, blank=True)
    channel = models.CharField(max_length=20, blank=True)
    person = models.CharField(max_length=120, blank=True)  # to whom it was given

    objects = SheetQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["utility"], condition=Q(released_at__isnull=True, discarded_at__isnull=True), name="one_unreleased_sheet"
            ),
            models.CheckConstraint(
                condition=Q(released_at__isnull=True, released_on__isnull=True) | Q(released_at__isnull=False, released_on__isnull=False),
                name="sheet_released_has_day",
            ),
        ]

    def __str__(self) -> str:
        return f"sheet for {self.utility}"


class SheetLine(models.Model):
    """One home of a sheet, by its request. printed: as it stood on the paper, texts by column; empty until the release."""

    sheet = models.ForeignKey(DeskSheet, on_delete=models.CASCADE, related_name="lines")
    request = models.ForeignKey(FitRequest, on_delete=models.CASCADE, related_name="sheet_lines")
    place = models.PositiveIntegerField()
    printed = models.JSONField(default=dict)
    left_off = models.CharField(max_length=240, blank=True)  # why it was taken off before the release

    class Meta:
        ordering = ["sheet", "place"]
        constraints = [models.UniqueConstraint(fields=["sheet", "request"], name="request_once_on_a_sheet")]

    def __str__(self) -> str:
        return f"{self.request} on {self.sheet}"
