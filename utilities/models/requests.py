"""What a home asks of its utility: the service, the request (one wait), its sendings, visits and contacts.

Days are days at the utility.
"""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import F, Q

from jobs.core.models import Document, Fact, Job, User
from utilities.models.desk import ProfileVersion
from utilities.models.utility import District, Utility


class ServiceQuerySet(models.QuerySet["Service"]):
    def seen_by(self, user: User | AnonymousUser) -> ServiceQuerySet:
        return self.filter(job__in=Job.objects.seen_by(user)) if user.has_perm("core.see_utilities") else self.none()


class Service(models.Model):
    """One meter of a home at one utility; a home may have two."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="services")
    utility = models.ForeignKey(Utility, on_delete=models.PROTECT, related_name="services")
    district = models.ForeignKey(District, null=True, blank=True, on_delete=models.PROTECT, related_name="services")
    meter_number = models.CharField(max_length=40, blank=True)
    meter_form = models.CharField(max_length=20, blank=True)  # as its face says: 2S
    account_number = models.CharField(max_length=40, blank=True)
    exchange_asked_on = models.DateField(null=True, blank=True)  # an exchange of the meter that the utility still owes
    exchange_done_on = models.DateField(null=True, blank=True)

    objects = ServiceQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["job", "utility", "meter_number"], name="service_once")]
        indexes = [models.Index(fields=["meter_number"])]

    @property
    def exchange_pending(self) -> bool:
        return self.exchange_asked_on is not None and self.exchange_done_on is None

    def __str__(self) -> str:
        return f"meter {self.meter_number}" if self.meter_number else "meter not known"


class Outcome(models.TextChoices):
    OPEN = "open", "open"
    FITTED = "fitted", "fitted"
    CANCELLED = "cancelled", "ended without fitting"
    VOID = "void", "never sent"  # its sending was recorded in error and withdrawn; it is no wait


class FitRequestQuerySet(models.QuerySet["FitRequest"]):
    def seen_by(self, user: User | AnonymousUser) -> FitRequestQuerySet:
        """Those of the jobs this person may know of; the history that has no job, whoever may see utilities."""
        if not user.has_perm("core.see_utilities"):
            return self.none()
        return self.filter(Q(job__isnull=True) | Q(job__in=Job.objects.seen_by(user)))

    def open(self) -> FitRequestQuerySet:
        return self.filter(outcome=Outcome.OPEN)

    def waits(self) -> FitRequestQuerySet:
        """Rows of the forecast history."""
        return self.exclude(outcome=Outcome.VOID)


class FitRequest(models.Model):
    """One wait at one utility. Repeating it is a further sending and never restarts the wait.

    Dates and outcome of a job's request follow from the job's facts (truth.py); of the history without a job they are its own.
    """

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    code = models.CharField(max_length=8, unique=True)
    service = models.ForeignKey(Service, null=True, blank=True, on_delete=models.PROTECT, related_name="requests")
    job = models.ForeignKey(Job, null=True, blank=True, on_delete=models.CASCADE, related_name="fit_requests")
    utility = models.ForeignKey(Utility, on_delete=models.PROTECT, related_name="requests")
    district = models.ForeignKey(District, null=True, blank=True, on_delete=models.PROTECT, related_name="requests")

    filed_on = models.DateField()  # first sent; the wait starts on the next working day
    known_from = models.DateField(null=True, blank=True)  # first day under observation; blank: from filed_on
    outcome = models.CharField(max_length=10, choices=Outcome, default=Outcome.OPEN)
    ended_on = models.DateField(null=True, blank=True)
    fitted_after = models.DateField(null=True, blank=True)  # last day known not fitted; the fitting lies in (fitted_after, fitted_by]
    fitted_by = models.DateField(null=True, blank=True)  # first day known fitted
    end_reason = models.CharField(max_length=160, blank=True)

    follows = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="followed_by")
    counts_as_new = models.BooleanField(null=True)  # what the utility says, where a request follows another
    route = models.CharField(max_length=80, blank=True)  # of the first sending
    utility_reference = models.CharField(max_length=80, blank=True)  # the utility's number for it
    acknowledged_on = models.DateField(null=True, blank=True)
    complete_on = models.DateField(null=True, blank=True)  # the utility found the package complete
    version = models.ForeignKey(ProfileVersion, null=True, blank=True, on_delete=models.PROTECT, related_name="requests")  # made under it
    closed_there_on = models.DateField(null=True, blank=True)  # closed in their books while it is open in ours
    closed_there_reason = models.CharField(max_length=160, blank=True)
    withdrawal_heard_on = models.DateField(null=True, blank=True)  # the utility acknowledged that it was withdrawn
    withdrawal_heard_from = models.CharField(max_length=120, blank=True)
    own_reference = models.CharField(max_length=80, blank=True)  # of a history row: the contractor's number
    source_key = models.CharField(max_length=240, null=True, blank=True, unique=True)  # of an imported row

    recorded_at = models.DateTimeField()
    recorded_by_name = models.CharField(max_length=160)
    changed_at = models.DateTimeField()  # of what forecasts rest on; a sweep compares it with the last run

    objects = FitRequestQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["outcome", "filed_on"]),
            models.Index(fields=["utility", "outcome", "filed_on"]),
            models.Index(fields=["changed_at"]),
            models.Index(fields=["own_reference"]),
            models.Index(fields=["utility_reference"]),
        ]
        constraints = [
            models.UniqueConstraint(fields=["service"], condition=Q(outcome="open"), name="one_open_request"),
            models.CheckConstraint(condition=Q(service__isnull=True) | Q(job__isnull=False), name="request_service_has_job"),
            models.CheckConstraint(
                condition=Q(outcome="open", ended_on__isnull=True) | (~Q(outcome="open") & Q(ended_on__isnull=False)),
                name="request_ended_or_open",
            ),
            models.CheckConstraint(condition=Q(ended_on__isnull=True) | Q(ended_on__gte=F("filed_on")), name="request_ends_after_sending"),
            models.CheckConstraint(
                condition=Q(outcome="fitted", fitted_by=F("ended_on"))
                | (~Q(outcome="fitted") & Q(fitted_by__isnull=True, fitted_after__isnull=True)),
                name="request_fitted_has_day",
            ),
            models.CheckConstraint(
                condition=Q(fitted_after__isnull=True) | Q(fitted_after__lt=F("fitted_by")), name="request_bracket_in_order"
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def is_open(self) -> bool:
        return self.outcome == Outcome.OPEN


class Sending(models.Model):
    """One sending of a package inside a request, as it left; never changed but for a corrected day, which follows its fact."""

    request = models.ForeignKey(FitRequest, on_delete=models.CASCADE, related_name="sendings")
    version = models.ForeignKey(ProfileVersion, null=True, blank=True, on_delete=models.PROTECT, related_name="+")  # checked against it
    sent_on = models.DateField()
    route = models.CharField(max_length=80, blank=True)
    reference = models.CharField(max_length=80, blank=True)
    note = models.TextField(blank=True)
    fee_minor = models.BigIntegerField(null=True, blank=True)
    fee_paid_on = models.DateField(null=True, blank=True)
    fee_reference = models.CharField(max_length=80, blank=True)
    signed_on = models.DateField(null=True, blank=True)  # by the account holder
    signed_by = models.CharField(max_length=120, blank=True)
    access_note = models.CharField(max_length=240, blank=True)  # as disclosed to the utility; never a gate code
    one_visit = models.BooleanField(null=True)  # where a meter exchange was pending: one visit was asked for both
    by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    by_name = models.CharField(max_length=160)
    recorded_at = models.DateTimeField()
    fact = models.OneToOneField(Fact, null=True, on_delete=models.PROTECT, related_name="sending")
    withdrawn = models.BooleanField(default=False)

    FOLLOWS_ITS_FACT = frozenset({"fact", "sent_on", "withdrawn"})

    class Meta:
        ordering = ["sent_on", "pk"]

    def __str__(self) -> str:
        return f"{self.request} sent on {self.sent_on}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding and not set(kwargs.get("update_fields") or ["all"]) <= self.FOLLOWS_ITS_FACT:
            raise TypeError("What was sent is not changed afterwards; record a further sending.")
        super().save(*args, **kwargs)


class SentFile(models.Model):
    """A file of a sending: which item of the package it was, and the SHA-256 of its bytes. Written once."""

    sending = models.ForeignKey(Sending, on_delete=models.CASCADE, related_name="files")
    item = models.CharField(max_length=120, blank=True)  # of the utility's list; blank: sent along besides
    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=160)
    sha256 = models.CharField(max_length=64)
    size = models.PositiveBigIntegerField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.name} ({self.sha256[:12]})"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise TypeError("What was sent is not changed afterwards; record a further sending.")
        super().save(*args, **kwargs)


class OfRequestQuerySet(models.QuerySet["ChangeOrder"]):
    def seen_by(self, user: User | AnonymousUser) -> OfRequestQuerySet:
        return self.filter(request__in=FitRequest.objects.seen_by(user))


class VisitQuerySet(models.QuerySet["Visit"]):
    def seen_by(self, user: User | AnonymousUser) -> VisitQuerySet:
        return self.filter(request__in=FitRequest.objects.seen_by(user))

    def standing(self) -> VisitQuerySet:
        return self.filter(withdrawn=False)

    def pending(self) -> VisitQuerySet:
        """Announced, and nothing has come of it yet."""
        return self.standing().filter(outcome="")


class Visit(models.Model):
    """A visit of the utility: announced with its window, then what came of it."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    request = models.ForeignKey(FitRequest, on_delete=models.CASCADE, related_name="visits")
    announced_on = models.DateField(null=True, blank=True)
    window_from = models.DateField(null=True, blank=True)
    window_to = models.DateField(null=True, blank=True)
    window_words = models.CharField(max_length=80, blank=True)  # "between 8 and 12"
    homeowner_told_on = models.DateField(null=True, blank=True)
    access_note = models.CharField(max_length=240, blank=True)  # of this visit: dog, who opens; never a gate code
    told_by_message = models.BooleanField(default=False)  # by ours (utilities/notices.py); else somebody of the office told them

    visited_on = models.DateField(null=True, blank=True)
    outcome = models.CharField(max_length=40, blank=True)  # blank: nothing has come of it yet
    reason = models.CharField(max_length=240, blank=True)
    missed_by = models.CharField(max_length=20, blank=True)  # utility, homeowner, us: counted (TRADE.md C6a)
    next_actor = models.CharField(max_length=40, blank=True)
    next_act = models.CharField(max_length=160, blank=True)
    next_due_on = models.DateField(null=True, blank=True)  # by the rules as they stood when it was recorded
    said_by = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by_name = models.CharField(max_length=160)
    fact = models.OneToOneField(Fact, null=True, on_delete=models.PROTECT, related_name="visit")
    withdrawn = models.BooleanField(default=False)

    objects = VisitQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["outcome", "visited_on"]), models.Index(fields=["outcome", "window_to"])]
        constraints = [
            models.CheckConstraint(
                condition=Q(window_from__isnull=True) | Q(window_to__isnull=False, window_from__lte=F("window_to")),
                name="visit_window_in_order",
            ),
            models.CheckConstraint(condition=Q(outcome="") | Q(visited_on__isnull=False), name="visit_outcome_has_day"),
        ]

    def __str__(self) -> str:
        return f"visit to {self.request}"

    @property
    def job(self) -> Job | None:
        return self.request.job


class Contact(models.Model):
    """A word with a utility's desk about a request: what was asked, what was answered. "Nothing new" is an answer too."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    request = models.ForeignKey(FitRequest, on_delete=models.CASCADE, related_name="contacts")
    utility = models.ForeignKey(Utility, on_delete=models.PROTECT, related_name="contacts")
    on = models.DateField()
    ours = models.BooleanField(default=True)  # we asked; else the utility told us by itself
    channel = models.CharField(max_length=20, blank=True)
    person = models.CharField(max_length=120, blank=True)
    asked = models.CharField(max_length=240, blank=True)
    answered = models.CharField(max_length=400, blank=True)  # blank: we wrote, and nothing has come back yet
    promised_by = models.DateField(null=True, blank=True)
    next_on = models.DateField(null=True, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by_name = models.CharField(max_length=160)
    fact = models.OneToOneField(Fact, null=True, on_delete=models.PROTECT, related_name="contact")
    withdrawn = models.BooleanField(default=False)

    class Meta:
        ordering = ["on", "pk"]
        indexes = [models.Index(fields=["utility", "on"])]

    def __str__(self) -> str:
        return f"contact about {self.request} on {self.on}"


class ChangeOrder(models.Model):
    """What must change at a home before the collar can be fitted: found by a visit, proposed, signed by the owner; then a new request."""

    class Option(models.TextChoices):
        METER = "meter", "the utility exchanges the meter"
        SOCKET = "socket", "an electrician replaces the socket, with a disconnect and reconnect order"
        DESIGN = "design", "another way of backup is designed"
        NO_BACKUP = "no backup", "the backup is taken out of the contract"

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    request = models.ForeignKey(FitRequest, on_delete=models.CASCADE, related_name="change_orders")
    found = models.CharField(max_length=240)
    option = models.CharField(max_length=20, choices=Option)
    proposed_on = models.DateField()
    proposed_by_name = models.CharField(max_length=160)
    signed_on = models.DateField(null=True, blank=True)
    signed_by = models.CharField(max_length=120, blank=True)

    objects = OfRequestQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["request"], condition=Q(signed_on__isnull=True), name="one_unsigned_change"),
            models.CheckConstraint(condition=Q(signed_on__isnull=True) | Q(signed_on__gte=F("proposed_on")), name="change_signed_later"),
        ]

    def __str__(self) -> str:
        return f"change for {self.request}: {self.get_option_display()}"

    @property
    def job(self) -> Job | None:
        return self.request.job
