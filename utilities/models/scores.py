"""How good the forecasts were, as worked out by a task; and the replays of past days that give them something to be judged by."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q

from utilities.models.utility import Utility


class Source(models.TextChoices):
    """Never mixed: what was said on its day, and what would have been said by today's method and records."""

    SAID = "said", "as it was said"
    REPLAYED = "replayed", "replayed"


class Score(models.Model):
    """Of one utility, or of all together (none). Overwritten whenever they are worked out; pages read it.

    tables: `scoring.Table.as_json()`.
    """

    source = models.CharField(max_length=10, choices=Source)
    utility = models.ForeignKey(Utility, null=True, on_delete=models.CASCADE, related_name="scores")
    known_to = models.DateField()  # what happened up to the end of this day counts
    made_at = models.DateTimeField()
    tables = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["source", "utility"], name="score_of_utility"),
            models.UniqueConstraint(fields=["source"], condition=Q(utility__isnull=True), name="score_of_all"),
        ]

    def __str__(self) -> str:
        return f"{self.utility or 'all utilities'}, {self.source}, {self.known_to}"


class Replay(models.Model):
    """The forecasting of past days anew, one day after another in the background; the row holds how far it has come."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    days = models.JSONField(default=list)  # as-of days, oldest first, as 2026-06-07
    days_done = models.PositiveIntegerField(default=0)
    begun_at = models.DateTimeField()
    moved_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True)  # with the scores worked out
    by_name = models.CharField(max_length=160)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return f"replay of {len(self.days)} days"
