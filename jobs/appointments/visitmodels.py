"""Site visits instead of a call or after a test, and the list of licensed persons on call."""

from __future__ import annotations

import uuid

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import F, Q

from jobs.appointments.callsteps import NOT_BY_TELEPHONE
from jobs.core.facts import SITE_VISIT_ENDS
from jobs.core.models import Job, Person, User


class VisitReason(models.TextChoices):
    """Why somebody drives there: instead of a call, or after a test. Words that do not tell a medical answer."""

    MEDICAL = "medical", NOT_BY_TELEPHONE
    INTERNET = "internet", "no communications that reach"
    COMMUNICATIONS = "communications", "communications"
    WIRING = "wiring", "wiring"
    DEVICE = "device", "device fault"
    LOAD = "load", "load too big"
    OTHER = "other", "another reason"


class SiteVisitQuerySet(models.QuerySet["SiteVisit"]):
    def seen_by(self, user: User | AnonymousUser) -> SiteVisitQuerySet:
        return self.filter(job__in=Job.objects.seen_by(user)) if user.has_perm("core.see_calls") else self.none()

    def open(self) -> SiteVisitQuerySet:
        return self.filter(ended_at__isnull=True)

    def with_names(self) -> SiteVisitQuerySet:
        return self.select_related("job__site", "person")


class SiteVisit(models.Model):
    """Somebody drives to a home whose collar is in: instead of a call, or after a test that was not passed."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="site_visits")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="site_visits")  # who will be at home
    after = models.ForeignKey(
        "appointments.VerificationRecord", null=True, blank=True, on_delete=models.PROTECT, related_name="visits_after"
    )
    reason = models.CharField(max_length=20, choices=VisitReason)
    words = models.CharField(max_length=300, blank=True)
    planned_on = models.DateField()  # the day at the home
    licensed_name = models.CharField(max_length=160)
    license_number = models.CharField(max_length=80)
    parts = models.CharField(max_length=300, blank=True)  # to bring
    planned_at = models.DateTimeField()
    planned_by_name = models.CharField(max_length=160)

    how = models.CharField(max_length=40, blank=True, choices=[(how, how) for how in SITE_VISIT_ENDS])
    found = models.TextField(blank=True)
    parts_used = models.CharField(max_length=300, blank=True)
    minutes = models.PositiveIntegerField(null=True, blank=True)  # on site
    chargeable = models.BooleanField(null=True, blank=True)
    cost_minor = models.BigIntegerField(null=True, blank=True)
    ended_on = models.DateField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_by_name = models.CharField(max_length=160, blank=True)

    objects = SiteVisitQuerySet.as_manager()

    class Meta:
        ordering = ["planned_on", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["job"], condition=Q(ended_at__isnull=True), name="site_visit_open_once"),
            models.CheckConstraint(condition=Q(cost_minor__isnull=True) | Q(cost_minor__gte=0), name="visit_cost_not_negative"),
        ]

    def __str__(self) -> str:
        return f"site visit at {self.job} on {self.planned_on}"

    @property
    def is_open(self) -> bool:
        return self.ended_at is None

    @property
    def instead_of_a_call(self) -> bool:
        return self.after_id is None


class OnCallQuerySet(models.QuerySet["OnCall"]):
    def standing(self) -> OnCallQuerySet:
        return self.filter(withdrawn_at__isnull=True)

    def seen_by(self, user: User | AnonymousUser) -> OnCallQuerySet:
        return self if user.has_perm("core.set_hours") else self.none()


class OnCall(models.Model):
    """A licensed person who answers in an emergency, from and to; at any time one at most."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=160)
    license_number = models.CharField(max_length=80)
    phone = models.CharField(max_length=16)
    phone_ext = models.CharField(max_length=8, blank=True)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    set_by_name = models.CharField(max_length=160)
    set_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = OnCallQuerySet.as_manager()

    class Meta:
        ordering = ["starts_at", "pk"]
        constraints = [models.CheckConstraint(condition=Q(starts_at__lt=F("ends_at")), name="on_call_in_order")]

    def __str__(self) -> str:
        return f"{self.name} on call from {self.starts_at}"
