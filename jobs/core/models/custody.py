"""Where each collar is: the unit, its moves, its bag tags, and what a stranger at the bag told us."""

from __future__ import annotations

import uuid
from typing import Any, NoReturn

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import Q

from jobs.core.models.facts import Fact
from jobs.core.models.files import Document
from jobs.core.models.job import Job
from jobs.core.models.people import User


class Place(models.TextChoices):
    STORE = "store", "in the store"
    VAN = "van", "in a van"
    SITE = "site", "in its bag at the home"
    UTILITY = "utility", "with the utility"
    SOCKET = "socket", "in the socket"
    RETURNED = "returned", "returned"
    UNKNOWN = "unknown", "not known"


class CollarQuerySet(models.QuerySet["Collar"]):
    def seen_by(self, user: User | AnonymousUser) -> CollarQuerySet:
        """Those of the homes one may know of, and those of no home for whoever records custody."""
        if not user.is_authenticated:
            return self.none()
        own = Q(job__in=Job.objects.seen_by(user))
        return self.filter(own | Q(job__isnull=True)) if user.has_perm("core.record_custody") else self.filter(own)

    def staged(self) -> CollarQuerySet:
        return self.filter(place=Place.SITE)


class Collar(models.Model):
    """One unit. To which home it belongs follows from that home's facts (custody.follow); where it is, from its newest move."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    serial = models.CharField(max_length=24, unique=True)
    revision = models.CharField(max_length=20, blank=True)
    job = models.ForeignKey(Job, null=True, blank=True, on_delete=models.SET_NULL, related_name="collars")
    order_number = models.CharField(max_length=40, blank=True)
    received_on = models.DateField(null=True, blank=True)

    # A cache of the newest move.
    place = models.CharField(max_length=10, choices=Place, default=Place.UNKNOWN)
    where = models.CharField(max_length=160, blank=True)
    place_since = models.DateField(null=True, blank=True)

    barred_on = models.DateField(null=True, blank=True)
    barred_why = models.CharField(max_length=240, blank=True)
    barred_by = models.ForeignKey(Fact, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")  # the swap that barred it

    objects = CollarQuerySet.as_manager()

    class Meta:
        ordering = ["serial"]
        indexes = [models.Index(fields=["place", "place_since"]), models.Index(fields=["revision"])]
        constraints = [models.UniqueConstraint(fields=["job"], condition=Q(job__isnull=False), name="collar_one_a_home")]

    def __str__(self) -> str:
        return self.serial


class CollarMove(models.Model):
    """One step of a collar's chain of custody; insert only."""

    collar = models.ForeignKey(Collar, on_delete=models.CASCADE, related_name="moves")
    on = models.DateField()
    place = models.CharField(max_length=10, choices=Place)
    where = models.CharField(max_length=160, blank=True)  # which van, which shelf, where the bag hangs
    home = models.ForeignKey(Job, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    reason = models.CharField(max_length=240, blank=True)
    fact = models.ForeignKey(Fact, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=160)
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.collar} {self.get_place_display()} on {self.on}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise TypeError("A move is never changed; record where the collar is now.")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise TypeError("A move is never deleted; record where the collar is now.")


class WithdrawnRevision(models.Model):
    """A hardware revision that may be fitted no more: the maker's recall, or a utility's list that left it out."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    revision = models.CharField(max_length=20, unique=True)
    on = models.DateField()
    notice = models.CharField(max_length=240)  # whose notice, its number and day
    by_name = models.CharField(max_length=160)
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["-on", "pk"]

    def __str__(self) -> str:
        return f"revision {self.revision}"


class BagTag(models.Model):
    """One printed tag. Its token stands on the paper only; here its SHA-256, so that whoever reads the table can open nothing."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="bag_tags")
    token_hash = models.CharField(max_length=64, unique=True)
    serial = models.CharField(max_length=24)  # of the collar it was printed for
    made_at = models.DateTimeField()
    made_by_name = models.CharField(max_length=160)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_why = models.CharField(max_length=160, blank=True)

    token = ""  # known while it is being printed, and never again

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"tag of {self.job}"


class BagReportQuerySet(models.QuerySet["BagReport"]):
    def seen_by(self, user: User | AnonymousUser) -> BagReportQuerySet:
        return self.filter(job__in=Job.objects.seen_by(user)) if user.has_perm("core.record_requests") else self.none()

    def waiting(self) -> BagReportQuerySet:
        return self.filter(settled_at__isnull=True)


class BagReport(models.Model):
    """What somebody at the bag told us: a proposal for the office, never a fact by itself."""

    class What(models.TextChoices):
        FITTED = "fitted", "fitted"
        NO_ENTRY = "could not get in", "could not get in"
        NOT_FOUND = "not found", "not found"

    class From(models.TextChoices):
        TAG = "tag", "whoever read the tag"
        HOME = "home", "the person at home"

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="bag_reports")
    tag = models.ForeignKey(BagTag, null=True, blank=True, on_delete=models.SET_NULL, related_name="reports")
    told_by = models.CharField(max_length=4, choices=From)
    what = models.CharField(max_length=20, choices=What)
    order_number = models.CharField(max_length=40, blank=True)  # of the utility's crew, if it gave one
    told_at = models.DateTimeField()
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_how = models.CharField(max_length=240, blank=True)
    settled_by_name = models.CharField(max_length=160, blank=True)

    objects = BagReportQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["settled_at", "told_at"])]
        constraints = [
            # Said twice, it waits once.
            models.UniqueConstraint(fields=["job", "told_by", "what"], condition=Q(settled_at__isnull=True), name="bag_report_waits_once")
        ]

    def __str__(self) -> str:
        return f"{self.what}, told at {self.job}"


class DesignDocument(models.Model):
    """One revision of a design paper, with the equipment that it shows; a later revision stands beside it, never over it."""

    class Kind(models.TextChoices):
        ONE_LINE = "one-line diagram", "one-line diagram"
        SITE_PLAN = "site plan", "site plan"
        EQUIPMENT = "equipment list", "equipment list"
        LOADS = "load calculation", "load calculation"
        LABELS = "label plan", "label plan"

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="designs")
    kind = models.CharField(max_length=20, choices=Kind)
    revision = models.CharField(max_length=8)
    dated_on = models.DateField()
    document = models.OneToOneField(Document, on_delete=models.PROTECT, related_name="design")
    shows = models.JSONField(default=dict)  # jobs.core.drawn.Equipment, as far as the paper says it
    recorded_at = models.DateTimeField()
    recorded_by_name = models.CharField(max_length=160)

    class Meta:
        ordering = ["kind", "dated_on", "pk"]
        constraints = [models.UniqueConstraint(fields=["job", "kind", "revision"], name="design_revision_once")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, revision {self.revision}"
