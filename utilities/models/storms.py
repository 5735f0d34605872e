"""A storm declared for a utility, or for one area of it: what we ask and what we book rests; the homes' waits do not."""

from __future__ import annotations

import uuid

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import F, Q

from jobs.core.models import User
from utilities.models.utility import District, Utility


class StormQuerySet(models.QuerySet["Storm"]):
    def seen_by(self, user: User | AnonymousUser) -> StormQuerySet:
        return self if user.has_perm("core.see_utilities") else self.none()

    def standing(self) -> StormQuerySet:
        return self.filter(lifted_at__isnull=True)


class Storm(models.Model):
    """Its hold on each affected home carries `cause`, so that all are lifted together. Days of the office, both ends included."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    utility = models.ForeignKey(Utility, on_delete=models.CASCADE, related_name="storms")
    district = models.ForeignKey(District, null=True, blank=True, on_delete=models.PROTECT, related_name="storms")  # blank: all of it
    from_on = models.DateField()
    review_on = models.DateField()  # a storm without an end comes back on this day
    source = models.CharField(max_length=240)  # who says so, and where
    declared_at = models.DateTimeField()
    declared_by_name = models.CharField(max_length=160)
    lifted_on = models.DateField(null=True, blank=True)
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by_name = models.CharField(max_length=160, blank=True)

    objects = StormQuerySet.as_manager()

    class Meta:
        ordering = ["-from_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(lifted_on__isnull=True) | Q(lifted_on__gte=F("from_on")), name="storm_ends_after_it_began"),
            models.UniqueConstraint(
                fields=["utility", "district"], condition=Q(lifted_at__isnull=True), nulls_distinct=False, name="one_storm_an_area"
            ),
        ]

    def __str__(self) -> str:
        return f"storm at {self.area}"

    @property
    def cause(self) -> str:
        return f"storm {self.uid}"

    @property
    def area(self) -> str:
        return f"{self.utility}, {self.district}" if self.district else str(self.utility)
