"""What is kept beside the calls themselves: tentative times, the standby list, and each verifier's calendar address."""

from __future__ import annotations

import datetime as dt
import uuid
from zoneinfo import ZoneInfo

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import F, Q

from jobs.core import clock
from jobs.core.models import Job, Person, User


class TentativeQuerySet(models.QuerySet["Tentative"]):
    def seen_by(self, user: User | AnonymousUser) -> TentativeQuerySet:
        return self.filter(job__in=Job.objects.seen_by(user)) if user.has_perm("core.see_calls") else self.none()

    def workable_by(self, user: User | AnonymousUser) -> TentativeQuerySet:
        """Those a person may turn into an offer or give up: every one, or those on the own hours."""
        if user.has_perm("core.book_any_call"):
            return self.seen_by(user)
        return self.seen_by(user).filter(verifier_id=user.pk) if user.has_perm("core.book_calls") else self.none()

    def standing(self) -> TentativeQuerySet:
        """Whose time has not come and that nobody has ended: they take a place."""
        return self.filter(ended_at__isnull=True, starts_at__gt=clock.now())

    def overlapping(self, starts_at: dt.datetime, ends_at: dt.datetime) -> TentativeQuerySet:
        return self.filter(starts_at__lt=ends_at, ends_at__gt=starts_at)


class Tentative(models.Model):
    """A place kept for a home that will likely be ready by then. Nobody outside is told of it.

    In a table of its own, because no rule about calls (one that is offered, promised, begun) is to meet it. That it never lies on a call of
    the same verifier is held by that verifier's row lock, under which every place is looked for.
    """

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="tentative_times")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    verifier = models.ForeignKey(User, on_delete=models.PROTECT, related_name="tentative_times")
    local_date = models.DateField()
    local_time = models.TimeField()
    fold = models.PositiveSmallIntegerField(default=0)
    zone = models.CharField(max_length=64)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    chance_millionths = models.PositiveIntegerField(null=True, blank=True)  # that the collar is in by then, as the forecast said that day
    set_at = models.DateTimeField()
    set_by_name = models.CharField(max_length=160)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_reason = models.CharField(max_length=300, blank=True)

    objects = TentativeQuerySet.as_manager()

    class Meta:
        ordering = ["starts_at", "pk"]
        indexes = [models.Index(fields=["verifier", "starts_at"])]
        constraints = [models.CheckConstraint(condition=Q(starts_at__lt=F("ends_at")), name="tentative_in_order")]

    def __str__(self) -> str:
        return f"tentative time of {self.job} on {self.local_date} at {self.local_time:%H:%M}"

    @property
    def local_start(self) -> dt.datetime:
        return dt.datetime.combine(self.local_date, self.local_time, ZoneInfo(self.zone)).replace(fold=self.fold)


class StandbyQuerySet(models.QuerySet["Standby"]):
    def seen_by(self, user: User | AnonymousUser) -> StandbyQuerySet:
        return self.filter(job__in=Job.objects.seen_by(user)) if user.has_perm("core.see_calls") else self.none()

    def standing(self) -> StandbyQuerySet:
        return self.filter(ended_at__isnull=True)


class Standby(models.Model):
    """A home that would take a time that falls free at short notice."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="standby")
    said_by = models.CharField(max_length=160)
    note = models.CharField(max_length=200, blank=True)  # when they can: "any afternoon, an hour's notice"
    set_at = models.DateTimeField()
    set_by_name = models.CharField(max_length=160)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_reason = models.CharField(max_length=300, blank=True)

    objects = StandbyQuerySet.as_manager()

    class Meta:
        ordering = ["set_at", "pk"]
        constraints = [models.UniqueConstraint(fields=["job"], condition=Q(ended_at__isnull=True), name="standby_once")]

    def __str__(self) -> str:
        return f"standby of {self.job}"


class CalendarFeed(models.Model):
    """The secret address at which a verifier's calendar is read; kept as its hash, so that nobody can read it out of the table."""

    verifier = models.OneToOneField(User, on_delete=models.CASCADE, related_name="calendar_feed")
    token_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    made_by_name = models.CharField(max_length=160)

    def __str__(self) -> str:
        return f"calendar of {self.verifier}"
