"""What every act leaves or stands on: traces, idempotency keys, rules, secrets; and the runs of imports."""

from __future__ import annotations

from django.db import models

from jobs.core.models.job import Job
from jobs.core.models.people import User


class Trace(models.Model):
    """Who did what, when, on what, from where. One for each act."""

    act = models.CharField(max_length=80)
    on = models.CharField(max_length=80)  # model and number, "core.job 17"
    job = models.ForeignKey(Job, null=True, on_delete=models.CASCADE, related_name="traces")
    actor = models.CharField(max_length=160)
    user = models.ForeignKey(User, null=True, on_delete=models.PROTECT, related_name="+")
    source = models.CharField(max_length=20)
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["job", "at"])]

    def __str__(self) -> str:
        return f"{self.act} on {self.on} by {self.actor}"


class IdempotencyKey(models.Model):
    """The answer once given to a key, so that the same request sent twice is done once."""

    actor = models.CharField(max_length=80)
    key = models.CharField(max_length=120)
    act = models.CharField(max_length=80)
    input_hash = models.CharField(max_length=64)
    answer = models.JSONField(default=dict)
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["actor", "key"], name="idempotency_once")]

    def __str__(self) -> str:
        return f"{self.act} {self.key}"


class Rule(models.Model):
    """One value of a rule from a day on; the newest that has begun holds. Typed and bounded in rules.py."""

    name = models.CharField(max_length=60)
    value = models.JSONField()
    valid_from = models.DateField()
    set_by_name = models.CharField(max_length=160)
    set_at = models.DateTimeField()

    class Meta:
        ordering = ["name", "valid_from", "pk"]
        indexes = [models.Index(fields=["name", "valid_from"])]

    def __str__(self) -> str:
        return f"{self.name} from {self.valid_from}"


class Secret(models.Model):
    """A gate code or the like, encrypted; shown for a purpose, and each showing is traced."""

    job = models.ForeignKey(Job, null=True, on_delete=models.CASCADE, related_name="secrets")
    name = models.CharField(max_length=60)
    sealed = models.BinaryField()
    set_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["job", "name"], name="secret_once")]

    def __str__(self) -> str:
        return f"{self.name} of {self.job}"


class Heartbeat(models.Model):
    """One row that a task writes each minute: one number for broker, beat and worker."""

    name = models.CharField(max_length=40, unique=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.name} at {self.at}"
