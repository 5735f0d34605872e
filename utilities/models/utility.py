"""A utility: which days it works, and who of us asks it. What it has told about itself stands in versions (desk.py)."""

from __future__ import annotations

import uuid

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import F, Q

from jobs.core.models import User
from utilities.workdays import HolidayRule


class UtilityKind(models.TextChoices):
    INVESTOR_OWNED = "investor_owned", "investor-owned"
    MUNICIPAL = "municipal", "municipal"
    COOPERATIVE = "cooperative", "cooperative"
    DISTRICT = "district", "public utility district"


HOLIDAYS = [
    (HolidayRule.FEDERAL.value, "federal holidays, observed days too"),
    (HolidayRule.FEDERAL_DATES.value, "federal holidays on their own dates"),
    (HolidayRule.RESERVE_BANKS.value, "holidays of the Federal Reserve Banks"),
    (HolidayRule.NONE.value, "no public holidays"),
]


def monday_to_friday() -> list[int]:
    return [0, 1, 2, 3, 4]


class UtilityQuerySet(models.QuerySet["Utility"]):
    def seen_by(self, user: User | AnonymousUser) -> UtilityQuerySet:
        return self if user.has_perm("core.see_utilities") else self.none()


class Utility(models.Model):
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=120, unique=True)
    kind = models.CharField(max_length=20, choices=UtilityKind, default=UtilityKind.INVESTOR_OWNED)
    zone = models.CharField(max_length=64)  # its days are the days there
    emergency_phone = models.CharField(max_length=16, blank=True)  # E.164; without it no call for its homes is booked or begun

    # Its working days; closures and days opened besides are rows of Closure.
    worked_weekdays = models.JSONField(default=monday_to_friday)  # 0 Monday to 6 Sunday
    holidays = models.CharField(max_length=20, choices=HOLIDAYS, default=HolidayRule.FEDERAL.value)

    clerk = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="utilities_asked")
    stand_in = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="utilities_stood_in_for")
    away_from = models.DateField(null=True, blank=True)  # the clerk's absence, office days, both included
    away_to = models.DateField(null=True, blank=True)

    note = models.TextField(blank=True)
    calendar_at = models.DateTimeField(null=True)  # its working days changed; forecasts made before are stale

    objects = UtilityQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "utilities"
        constraints = [
            models.CheckConstraint(
                condition=Q(away_from__isnull=True) | Q(away_to__isnull=True) | Q(away_from__lte=F("away_to")), name="utility_away_in_order"
            )
        ]

    def __str__(self) -> str:
        return self.name


class District(models.Model):
    """A part of a utility with a desk or crews of its own."""

    utility = models.ForeignKey(Utility, on_delete=models.CASCADE, related_name="districts")
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["name"]
        constraints = [models.UniqueConstraint(fields=["utility", "name"], name="district_once")]

    def __str__(self) -> str:
        return self.name


class Closure(models.Model):
    """One day on which a utility does not work although it usually would, or works although it usually would not."""

    class Kind(models.TextChoices):
        CLOSED = "closed", "closed"
        OPEN = "open", "worked besides"

    utility = models.ForeignKey(Utility, on_delete=models.CASCADE, related_name="closures")
    day = models.DateField()
    kind = models.CharField(max_length=8, choices=Kind, default=Kind.CLOSED)

    class Meta:
        ordering = ["day"]
        constraints = [models.UniqueConstraint(fields=["utility", "day"], name="closure_once")]

    def __str__(self) -> str:
        return f"{self.utility} {self.kind} on {self.day}"
