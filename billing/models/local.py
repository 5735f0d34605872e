"""What a state's law sets: the most a deposit may be, and the tax on what is billed. Insert only; the newest that has begun holds."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q


class Rounding(models.TextChoices):
    HALF_EVEN = "half-even", "half to even"
    HALF_UP = "half-up", "half up"


class DepositCap(models.Model):
    """At most an amount, at most a share of the price; where both stand, the lesser."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    region = models.CharField(max_length=2)  # USPS abbreviation
    most_minor = models.BigIntegerField(null=True, blank=True)
    share_millionths = models.PositiveIntegerField(null=True, blank=True)
    source = models.CharField(max_length=160)
    read_on = models.DateField()  # when the source was read
    valid_from = models.DateField()
    at = models.DateTimeField()
    by_name = models.CharField(max_length=160)

    class Meta:
        ordering = ["region", "-valid_from", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(most_minor__isnull=True, share_millionths__isnull=True)
                | Q(most_minor__gte=0)
                | Q(share_millionths__lte=1_000_000),
                name="deposit_cap_is_sane",
            )
        ]

    def __str__(self) -> str:
        return f"deposit in {self.region}"


class TaxRate(models.Model):
    """A rate of nothing ends a tax."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    region = models.CharField(max_length=2)
    words = models.CharField(max_length=80)  # as it is printed
    rate_millionths = models.PositiveIntegerField()
    rounding = models.CharField(max_length=10, choices=Rounding)
    source = models.CharField(max_length=160)
    valid_from = models.DateField()
    at = models.DateTimeField()
    by_name = models.CharField(max_length=160)

    class Meta:
        ordering = ["region", "-valid_from", "-pk"]
        constraints = [models.CheckConstraint(condition=Q(rate_millionths__lte=1_000_000), name="tax_rate_is_sane")]

    def __str__(self) -> str:
        return self.words
