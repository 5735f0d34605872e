"""A home (Site), the work on it (Job) and its contract."""

from __future__ import annotations

import uuid

from django.contrib.auth.models import AnonymousUser
from django.db import models

from jobs.core import clock
from jobs.core.ctsignatures import Service
from jobs.core.models.crew import Crew, CrewMember
from jobs.core.models.people import User
from jobs.core.rights import RIGHTS
from jobs.core.states import HomeKind, S

STATE_CHOICES = [(state.value, state.words) for state in S]


class Site(models.Model):
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    street = models.CharField(max_length=160)
    unit = models.CharField(max_length=40, blank=True)
    city = models.CharField(max_length=80)
    region = models.CharField(max_length=2)  # USPS abbreviation
    postal_code = models.CharField(max_length=10, blank=True)
    zone = models.CharField(max_length=64)  # IANA; from the address, never from a telephone number
    access_note = models.TextField(blank=True)

    class Meta:
        indexes = [models.Index(fields=["street"])]

    def __str__(self) -> str:
        return self.line

    @property
    def line(self) -> str:
        street = f"{self.street}, {self.unit}" if self.unit else self.street
        return f"{street}, {self.city}, {self.region} {self.postal_code}".strip()


class JobQuerySet(models.QuerySet["Job"]):
    def seen_by(self, user: User | AnonymousUser) -> JobQuerySet:
        """The jobs this person may know of: all, those of the own crew, or none."""
        if not user.is_authenticated:
            return self.none()
        if user.has_perm("core.see_jobs"):
            return self
        if user.has_perm("core.see_own_jobs"):
            crews = CrewMember.objects.on(clock.office_today()).filter(user=user).values("crew")
            return self.filter(crew__in=crews)
        return self.none()

    def open(self) -> JobQuerySet:
        return self.exclude(state__in=[S.CANCELLED, S.BACKUP_VERIFIED])

    def in_state(self, *states: S) -> JobQuerySet:
        return self.filter(state__in=[state.value for state in states])

    def oldest_first(self) -> JobQuerySet:
        return self.order_by("state_since", "code")


class Job(models.Model):
    """One contract's work on one home. Its state is never typed: `lifecycle.settle` writes it from dated facts."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    code = models.CharField(max_length=8, unique=True)
    contractor_number = models.CharField(max_length=40, blank=True)  # the number the contractor's own books use
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="jobs")
    has_battery = models.BooleanField(default=True)
    has_pv = models.BooleanField(default=True)
    service = models.CharField(max_length=8, default=Service.SPLIT_120_240, choices=[(s.value, f"{s.value} V") for s in Service])
    battery_kwh = models.DecimalField(max_digits=6, decimal_places=1, null=True, blank=True)
    inverter_w = models.PositiveIntegerField(null=True, blank=True)
    crew = models.ForeignKey(Crew, null=True, blank=True, on_delete=models.SET_NULL, related_name="jobs")
    install_on = models.DateField(null=True, blank=True)  # planned
    request_planned_on = models.DateField(null=True, blank=True)
    looked_after_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="jobs_looked_after")
    created_at = models.DateTimeField(auto_now_add=True)
    imported_on = models.DateField(null=True, blank=True)  # follow-ups of a half-done home start here

    # A cache; only lifecycle.settle writes it, and `reconcile` compares it with the facts.
    state = models.CharField(max_length=20, choices=STATE_CHOICES, default=S.IN_BUILD)
    state_since = models.DateField(null=True)
    waiting_on = models.CharField(max_length=20, blank=True)
    waiting_since = models.DateField(null=True)
    next_act = models.CharField(max_length=160, blank=True)
    next_role = models.CharField(max_length=40, blank=True)
    next_due_on = models.DateField(null=True)

    objects = JobQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["state", "state_since"]),
            models.Index(fields=["next_due_on"]),
            models.Index(fields=["waiting_on", "waiting_since"]),
        ]
        constraints = [
            models.UniqueConstraint(fields=["contractor_number"], condition=~models.Q(contractor_number=""), name="job_number_once")
        ]
        default_permissions = ()
        permissions = [(name, words) for name, (words, _) in RIGHTS.items()]

    def __str__(self) -> str:
        return self.code

    @property
    def job(self) -> Job:
        # Everything an act works on answers to `.job`: what it locks.
        return self

    @property
    def home_kind(self) -> HomeKind:
        return HomeKind(has_battery=self.has_battery, service=Service(self.service))

    @property
    def state_words(self) -> str:
        return S(self.state).words

    def person_of(self, role: str) -> str:
        """The name of today's party of this role, or nothing."""
        party = self.parties.on(clock.today_in(self.site.zone)).filter(role=role).select_related("person").first()
        return party.person.name if party else ""

    @property
    def homeowner(self) -> str:
        """The name by which the office knows the home: its owner's; from prefetched parties where a list fetched them."""
        owners = [party.person.name for party in self.parties.all() if party.role == "owner" and party.to_on is None]
        return owners[0] if owners else ""


class Contract(models.Model):
    """The price and its day. Milestones are billing's."""

    job = models.OneToOneField(Job, on_delete=models.CASCADE, related_name="contract")
    signed_on = models.DateField(null=True, blank=True)
    amount_minor = models.BigIntegerField()

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(amount_minor__gte=0), name="contract_not_negative")]

    def __str__(self) -> str:
        return f"contract of {self.job}"
