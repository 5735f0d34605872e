"""Forecasts as they were said: kept, never changed, so that they can be scored later."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q

from jobs.core.models import Job
from utilities.models.requests import FitRequest
from utilities.models.utility import Utility


class ForecastRun(models.Model):
    """One working-out of forecasts: of all utilities (a night's), or of those whose history changed."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    as_of = models.DateField()  # what was known at the end of this day
    rule = models.CharField(max_length=40)  # why it ran: "nightly", "history changed", "replayed"
    night_of = models.DateField(null=True, unique=True)  # "done for this night", however many workers try
    begun_at = models.DateTimeField()  # what changed later is not in it
    method = models.CharField(max_length=40)
    rows = models.PositiveIntegerField(default=0)  # of the history
    dropped = models.PositiveIntegerField(default=0)  # of them, ended before anybody watched them

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["as_of"], condition=Q(rule="replayed"), name="replayed_once")]

    def __str__(self) -> str:
        return f"forecasts as of {self.as_of}"


class Forecast(models.Model):
    """Of one open request; or of a home whose request is not sent yet, "if asked by filed_on" (job set, request not);
    or of a request that this utility would get on the as-of day (neither set).
    """

    run = models.ForeignKey(ForecastRun, on_delete=models.CASCADE, related_name="forecasts")
    utility = models.ForeignKey(Utility, on_delete=models.CASCADE, related_name="forecasts")
    request = models.ForeignKey(FitRequest, null=True, on_delete=models.CASCADE, related_name="forecasts")
    job = models.ForeignKey(Job, null=True, on_delete=models.CASCADE, related_name="forecasts")
    as_of = models.DateField()
    filed_on = models.DateField()  # the day it was worked out for; of a home not asked for yet, a planned one
    offsets = models.BinaryField()  # 99 day offsets from as_of, two bytes each (leadtimes.quantiles.pack)
    half_on = models.DateField(null=True)  # the 50th of them, by which lists are sorted; blank beyond the horizon, and where replayed
    p_never_millionths = models.PositiveIntegerField()
    why = models.JSONField(default=dict)  # own fittings, borrowed ones, whether pooled, whether thin
    newest = models.BooleanField(default=True)  # a later one of the same request takes it off; pages read the newest
    first = models.BooleanField(default=False)  # of its request; kept for good
    quoted = models.BooleanField(default=False)  # to a person outside; kept for good

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["request"], condition=Q(newest=True, request__isnull=False), name="newest_of_request"),
            models.UniqueConstraint(
                fields=["job"], condition=Q(newest=True, request__isnull=True, job__isnull=False), name="newest_of_job"
            ),
            models.UniqueConstraint(
                fields=["utility"], condition=Q(newest=True, request__isnull=True, job__isnull=True), name="newest_of_utility"
            ),
        ]

    def __str__(self) -> str:
        return f"forecast as of {self.as_of}"


class Outlook(models.Model):
    """What is to be expected of one utility as a whole, by the newest run that covered it. Overwritten by each; pages read it.

    curve: `waitcurve.WaitCurve.as_json()`.
    weeks: of its open requests, from the Monday after the as-of day's week: {"week": "2026-11-30", "mean", "variance", "low", "high"}.
    watch: what the drift alarm froze and how the counts have gone since, `leadtimes.alarm.Watch.as_json()`; null before the first.
    alarm: the newest alarm, `watching.Alarm.as_json()`; null where there was none.
    """

    utility = models.OneToOneField(Utility, on_delete=models.CASCADE, related_name="outlook")
    run = models.ForeignKey(ForecastRun, on_delete=models.PROTECT, related_name="outlooks")
    as_of = models.DateField()
    curve = models.JSONField(default=dict)
    weeks = models.JSONField(default=list)
    watch = models.JSONField(null=True)
    alarm = models.JSONField(null=True)

    def __str__(self) -> str:
        return f"outlook of {self.utility} as of {self.as_of}"
