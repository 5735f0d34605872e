"""Papers that expire while a home waits, the authorities that give them, and the terms of warranties."""

from __future__ import annotations

import uuid

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import F, Q

from jobs.core.models.files import Document
from jobs.core.models.job import Job
from jobs.core.models.people import User


class Answer(models.TextChoices):
    YES = "yes", "yes"
    NO = "no", "no"
    NOT_KNOWN = "", "not known"


class Authority(models.Model):
    """An authority having jurisdiction: how it is written to, and what it does while the backup cannot be shown yet."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=120, unique=True)
    email = models.EmailField(blank=True)
    # Whether it gives its final before the collar is in (TRADE.md A5, B5).
    finals_before_collar = models.CharField(max_length=3, choices=Answer, default=Answer.NOT_KNOWN, blank=True)
    note = models.CharField(max_length=240, blank=True)

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "authorities"

    def __str__(self) -> str:
        return self.name


class PaperKind(models.TextChoices):
    PERMIT = "permit", "permit"
    APPROVAL = "approval", "interconnection approval"
    INCENTIVE = "incentive", "incentive reservation"
    LENDER = "lender", "lender's funding window"
    PRICE = "price", "contract price held until"
    WARRANTY = "warranty", "warranty of the staged collar"


class ExpiringPaperQuerySet(models.QuerySet["ExpiringPaper"]):
    def seen_by(self, user: User | AnonymousUser) -> ExpiringPaperQuerySet:
        return self.filter(job__in=Job.objects.seen_by(user)) if user.has_perm("core.record_papers") else self.none()

    def standing(self) -> ExpiringPaperQuerySet:
        return self.filter(ended_at__isnull=True)


class ExpiringPaper(models.Model):
    """One paper of a home that runs out. Extended, it keeps its first days: each extension is a row of its own."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="expiring_papers")
    kind = models.CharField(max_length=10, choices=PaperKind)
    number = models.CharField(max_length=80, blank=True)
    authority = models.ForeignKey(Authority, null=True, blank=True, on_delete=models.PROTECT, related_name="papers")
    issued_on = models.DateField()
    expires_on = models.DateField()  # with its newest extension; the last day on which it holds
    first_expires_on = models.DateField()
    lead_days = models.PositiveIntegerField()  # what renewing takes
    renewing = models.CharField(max_length=240, blank=True)  # and how it is done
    # Whether the utility wants the authority's final before it fits, as far as this home was told.
    utility_wants_final = models.CharField(max_length=3, choices=Answer, default=Answer.NOT_KNOWN, blank=True)
    owner = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="papers_owned")
    document = models.ForeignKey(Document, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    recorded_at = models.DateTimeField()
    recorded_by_name = models.CharField(max_length=160)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_why = models.CharField(max_length=240, blank=True)

    objects = ExpiringPaperQuerySet.as_manager()

    class Meta:
        ordering = ["expires_on", "pk"]
        indexes = [models.Index(fields=["ended_at", "expires_on"])]
        constraints = [models.CheckConstraint(condition=Q(issued_on__lt=F("expires_on")), name="paper_expires_after_issue")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.number}".strip()


class PaperExtension(models.Model):
    """A longer day that was granted; insert only."""

    paper = models.ForeignKey(ExpiringPaper, on_delete=models.CASCADE, related_name="extensions")
    granted_on = models.DateField()
    was_until = models.DateField()
    expires_on = models.DateField()
    reference = models.CharField(max_length=80, blank=True)
    document = models.ForeignKey(Document, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    recorded_at = models.DateTimeField()
    recorded_by_name = models.CharField(max_length=160)

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(condition=Q(was_until__lt=F("expires_on")), name="extension_is_longer")]

    def __str__(self) -> str:
        return f"{self.paper} until {self.expires_on}"


class WarrantyTerm(models.Model):
    """A maker's or our own terms: which part, from which event, how long. A home has those in force on the day of its contract."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    part = models.CharField(max_length=40)
    event = models.CharField(max_length=20)  # jobs.core.warranties.EVENTS
    months = models.PositiveIntegerField()
    document = models.CharField(max_length=160)  # which paper says so
    valid_from = models.DateField()
    set_by_name = models.CharField(max_length=160)
    set_at = models.DateTimeField()

    class Meta:
        ordering = ["part", "valid_from", "pk"]

    def __str__(self) -> str:
        return f"{self.part}, {self.months} months from {self.event}"
