"""Verifiers' hours, appointments, what was seen on a call, and what it proved."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any, NoReturn
from zoneinfo import ZoneInfo

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import F, Q

from jobs.appointments.callsteps import CAUSES
from jobs.appointments.planmodels import CalendarFeed as CalendarFeed  # Django finds models here
from jobs.appointments.planmodels import Standby as Standby
from jobs.appointments.planmodels import Tentative as Tentative
from jobs.appointments.visitmodels import SiteVisit
from jobs.core.facts import CALL_RESULTS
from jobs.core.models import Job, Person, User
from jobs.core.models.people import Language


class VerifierHours(models.Model):
    """Hours on one weekday (Monday is 0), by the wall clock where the verifier works (User.zone)."""

    verifier = models.ForeignKey(User, on_delete=models.CASCADE, related_name="verifier_hours")
    weekday = models.PositiveSmallIntegerField()
    start = models.TimeField()
    end = models.TimeField()

    class Meta:
        ordering = ["verifier", "weekday", "start"]
        constraints = [
            models.CheckConstraint(condition=Q(weekday__lte=6), name="hours_on_a_weekday"),
            models.CheckConstraint(condition=Q(start__lt=F("end")), name="hours_in_order"),
            models.UniqueConstraint(fields=["verifier", "weekday", "start"], name="hours_once"),
        ]

    def __str__(self) -> str:
        return f"{self.verifier}, weekday {self.weekday}, {self.start:%H:%M} to {self.end:%H:%M}"


class TimeOffQuerySet(models.QuerySet["TimeOff"]):
    def standing(self) -> TimeOffQuerySet:
        return self.filter(withdrawn_at__isnull=True)

    def seen_by(self, user: User | AnonymousUser) -> TimeOffQuerySet:
        if user.has_perm("core.see_calls"):
            return self
        return self.none()


class TimeOff(models.Model):
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    verifier = models.ForeignKey(User, on_delete=models.CASCADE, related_name="time_off")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    reason = models.CharField(max_length=160, blank=True)
    set_by_name = models.CharField(max_length=160)
    set_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    objects = TimeOffQuerySet.as_manager()

    class Meta:
        ordering = ["starts_at"]
        constraints = [models.CheckConstraint(condition=Q(starts_at__lt=F("ends_at")), name="time_off_in_order")]

    def __str__(self) -> str:
        return f"{self.verifier} off from {self.starts_at}"


class AppointmentState(models.TextChoices):
    OFFERED = "offered", "offered"  # the place is kept; the homeowner has not answered
    BOOKED = "booked", "booked, not confirmed"
    CONFIRMED = "confirmed", "confirmed"
    DECLINED = "declined", "declined"
    CANCELLED = "cancelled", "cancelled"
    MISSED = "missed", "nobody answered"
    HELD = "held", "held"


class Why(models.TextChoices):
    """Why a call was given up, as the homeowner is told it."""

    US = "us", "we cannot hold it then"
    HOMEOWNER = "homeowner", "the homeowner asked"
    REMOVED = "removed", "the collar is not in place"
    EMERGENCY = "emergency", "an emergency at the home"
    HOLD = "hold", "calls are on hold"
    MEDICAL = "medical", "the test is not run by telephone here"
    CONTRACT = "contract", "the contract was cancelled"


# In these a place is taken: no other call of the same verifier may lie on it.
TAKING = (AppointmentState.OFFERED.value, AppointmentState.BOOKED.value, AppointmentState.CONFIRMED.value)
PROMISED = (AppointmentState.BOOKED.value, AppointmentState.CONFIRMED.value)


class AppointmentQuerySet(models.QuerySet["Appointment"]):
    def seen_by(self, user: User | AnonymousUser) -> AppointmentQuerySet:
        if user.has_perm("core.see_calls"):
            return self.filter(job__in=Job.objects.seen_by(user))
        return self.none()

    def workable_by(self, user: User | AnonymousUser) -> AppointmentQuerySet:
        """Those a person may book, move and cancel: every call, or the own ones."""
        if user.has_perm("core.book_any_call"):
            return self.seen_by(user)
        return self.held_by(user) if user.has_perm("core.book_calls") else self.none()

    def held_by(self, user: User | AnonymousUser) -> AppointmentQuerySet:
        """A verifier's own calls: who was on the call records it, and nobody else."""
        return self.seen_by(user).filter(verifier_id=user.pk)

    def taking(self) -> AppointmentQuerySet:
        return self.filter(state__in=TAKING)

    def promised(self) -> AppointmentQuerySet:
        return self.filter(state__in=PROMISED)

    def overlapping(self, starts_at: dt.datetime, ends_at: dt.datetime) -> AppointmentQuerySet:
        return self.filter(starts_at__lt=ends_at, ends_at__gt=starts_at)

    def with_names(self) -> AppointmentQuerySet:
        return self.select_related("job__site", "person", "verifier")


class Appointment(models.Model):
    """One verification call. Moving it keeps the row and its uid and raises `sequence`, as a calendar wants it.

    The promise is the wall time at the site; `starts_at` and `ends_at` are the places taken, the buffer with them.
    """

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="appointments")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="appointments")  # who will be at home
    verifier = models.ForeignKey(User, on_delete=models.PROTECT, related_name="appointments")
    language = models.CharField(max_length=2, choices=Language, default=Language.ENGLISH)

    local_date = models.DateField()
    local_time = models.TimeField()
    fold = models.PositiveSmallIntegerField(default=0)
    zone = models.CharField(max_length=64)
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    call_ends_at = models.DateTimeField()
    places = models.PositiveSmallIntegerField(default=1)

    state = models.CharField(max_length=12, choices=AppointmentState)
    sequence = models.PositiveIntegerField(default=0)
    made_at = models.DateTimeField()
    made_by_name = models.CharField(max_length=160)
    answered_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_why = models.CharField(max_length=12, choices=Why, blank=True)
    ended_reason = models.CharField(max_length=300, blank=True)  # the office's own words; never sent

    objects = AppointmentQuerySet.as_manager()

    class Meta:
        ordering = ["starts_at", "pk"]
        indexes = [models.Index(fields=["verifier", "starts_at"]), models.Index(fields=["state", "starts_at"])]
        constraints = [
            # One open call a home. That no two calls of a verifier overlap: 0002 on PostgreSQL, a locked check everywhere.
            models.UniqueConstraint(fields=["job"], condition=Q(state__in=TAKING), name="call_open_once"),
            models.CheckConstraint(
                condition=Q(starts_at__lt=F("call_ends_at"), call_ends_at__lte=F("ends_at"), places__gte=1), name="call_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"call of {self.job} on {self.local_date} at {self.local_time:%H:%M}"

    @property
    def local_start(self) -> dt.datetime:
        """The promised time, aware, in the site's zone."""
        return dt.datetime.combine(self.local_date, self.local_time, ZoneInfo(self.zone)).replace(fold=self.fold)

    @property
    def cause(self) -> str:
        """Names this time of this call in the outbox: a moved call owes its messages anew."""
        return f"call {self.uid} {self.sequence}"

    @property
    def is_open(self) -> bool:
        return self.state in TAKING

    @property
    def begun(self) -> CallRecord | None:
        return CallRecord.objects.filter(appointment=self).first()


class AppointmentChange(models.Model):
    """What happened to an appointment, in order; insert only."""

    appointment = models.ForeignKey(Appointment, on_delete=models.CASCADE, related_name="changes")
    sequence = models.PositiveIntegerField()
    state = models.CharField(max_length=12, choices=AppointmentState)
    verifier = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    starts_at = models.DateTimeField()
    at = models.DateTimeField()
    by_name = models.CharField(max_length=160)
    reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.appointment}: {self.state}"


class CallRecordQuerySet(models.QuerySet["CallRecord"]):
    def seen_by(self, user: User | AnonymousUser) -> CallRecordQuerySet:
        return self.filter(appointment__in=Appointment.objects.seen_by(user))

    def held_by(self, user: User | AnonymousUser) -> CallRecordQuerySet:
        return self.filter(appointment__in=Appointment.objects.held_by(user))

    def running(self) -> CallRecordQuerySet:
        return self.filter(ended_at__isnull=True)


class CallRecord(models.Model):
    """A call that was begun. What was said and seen on it are its presses."""

    appointment = models.OneToOneField(Appointment, on_delete=models.CASCADE, related_name="call")
    begun_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    # A cache of the presses, for Today: in island mode since, and the last press of any kind.
    islanded_at = models.DateTimeField(null=True, blank=True)
    line_lost_at = models.DateTimeField(null=True, blank=True)
    last_press_at = models.DateTimeField()

    objects = CallRecordQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["islanded_at"], condition=Q(islanded_at__isnull=False), name="call_islanded")]

    def __str__(self) -> str:
        return f"{self.appointment}, begun {self.begun_at}"

    @property
    def job(self) -> Job:
        return self.appointment.job


class PressQuerySet(models.QuerySet["Press"]):
    def standing(self) -> PressQuerySet:
        """Those that no later press has corrected; a withdrawing correction does not stand either."""
        return self.filter(corrected_by__isnull=True, withdrawn=False)

    def held_by(self, user: User | AnonymousUser) -> PressQuerySet:
        return self.filter(call__in=CallRecord.objects.held_by(user))


class Press(models.Model):
    """One thing said or seen on a call, at the server's time; insert only, a correction names the one it replaces."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    call = models.ForeignKey(CallRecord, on_delete=models.CASCADE, related_name="presses")
    what = models.CharField(max_length=40)
    value = models.JSONField(default=dict)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by_name = models.CharField(max_length=160)
    corrects = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrected_by")
    withdrawn = models.BooleanField(default=False)
    reason = models.CharField(max_length=300, blank=True)

    objects = PressQuerySet.as_manager()

    class Meta:
        ordering = ["at", "pk"]
        indexes = [models.Index(fields=["call", "at"])]

    def __str__(self) -> str:
        return f"{self.what} at {self.at}"

    @property
    def job(self) -> Job:
        return self.call.job

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise TypeError("What was seen is never changed; add a correction with its reason.")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise TypeError("What was seen is never deleted; add a correction with its reason.")


class VerificationRecordQuerySet(models.QuerySet["VerificationRecord"]):
    def seen_by(self, user: User | AnonymousUser) -> VerificationRecordQuerySet:
        return self.filter(job__in=Job.objects.seen_by(user)) if user.has_perm("core.see_calls") else self.none()


class VerificationRecord(models.Model):
    """What a call proved: immutable; corrections are additions. It is no inspection, permission, warranty or approval."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="verification_records")
    # Of a call, or of a site visit; of exactly one of them.
    appointment = models.OneToOneField(Appointment, null=True, blank=True, on_delete=models.PROTECT, related_name="record")
    visit = models.OneToOneField(SiteVisit, null=True, blank=True, on_delete=models.PROTECT, related_name="record")
    result = models.CharField(max_length=12, choices=[(result, result) for result in CALL_RESULTS])
    reason = models.CharField(max_length=300, blank=True)
    cause = models.CharField(max_length=20, blank=True, choices=list(CAUSES.items()))
    verifier = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    verifier_name = models.CharField(max_length=160)
    person_name = models.CharField(max_length=160)
    statement = models.TextField(blank=True)  # what the person at home said of it
    begun_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    # The two evidence intervals and where they overlap; empty where it never came to the island test.
    disconnected_from = models.DateTimeField(null=True)
    disconnected_to = models.DateTimeField(null=True)
    served_from = models.DateTimeField(null=True)
    served_to = models.DateTimeField(null=True)
    overlap_from = models.DateTimeField(null=True)
    overlap_to = models.DateTimeField(null=True)
    put_back = models.CharField(max_length=4, blank=True)  # reserve and mode put back: yes, no; empty where nothing was changed
    presses = models.JSONField(default=list)  # frozen as they stood
    equipment = models.JSONField(default=dict)  # serial and software versions as they were known

    objects = VerificationRecordQuerySet.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            # Passed needs both pieces of evidence at the same moment.
            models.CheckConstraint(
                condition=~Q(result="passed")
                | Q(overlap_from__isnull=False, overlap_to__isnull=False, overlap_to__gte=F("overlap_from"), put_back="yes"),
                name="passed_on_overlap",
            ),
            models.CheckConstraint(
                condition=Q(appointment__isnull=True, visit__isnull=False) | Q(appointment__isnull=False, visit__isnull=True),
                name="record_of_one_test",
            ),
        ]

    def __str__(self) -> str:
        return f"verification of {self.job}: {self.result}"

    @property
    def test(self) -> Appointment | SiteVisit:
        """The call or the visit on which it was made."""
        found = self.appointment or self.visit
        assert found is not None
        return found

    @property
    def person(self) -> Person:
        """Who was at home."""
        return self.test.person

    @property
    def zone(self) -> str:
        return self.job.site.zone

    @property
    def day(self) -> dt.date:
        """The day at the home."""
        return self.recorded_at.astimezone(ZoneInfo(self.zone)).date()

    @property
    def return_visit_avoided(self) -> bool:
        """Passed on a call: nobody drove there for it."""
        return self.result == "passed" and self.appointment_id is not None

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise TypeError("A verification record is never changed; add a correction.")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise TypeError("A verification record is never deleted; add a correction.")


class VerificationAddition(models.Model):
    """A correction of a record, by addition; one that voids it takes its proof away."""

    record = models.ForeignKey(VerificationRecord, on_delete=models.PROTECT, related_name="additions")
    text = models.TextField()
    voids = models.BooleanField(default=False)
    at = models.DateTimeField()
    by_name = models.CharField(max_length=160)

    class Meta:
        ordering = ["pk"]
        constraints = [models.UniqueConstraint(fields=["record"], condition=Q(voids=True), name="record_voided_once")]

    def __str__(self) -> str:
        return f"addition to {self.record}"
