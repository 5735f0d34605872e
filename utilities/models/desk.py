"""What a utility has told about itself, in versions with the days from which each holds; and its calendar as it was known on each day."""

from __future__ import annotations

import uuid
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import F, Q

from jobs.core.models import User
from utilities.models.utility import Utility
from utilities.terms import UTILITY_ONLY


class Answer(models.TextChoices):
    YES = "yes", "yes"
    NO = "no", "no"
    NOT_KNOWN = "", "not known"


class ProfileVersionQuerySet(models.QuerySet["ProfileVersion"]):
    def seen_by(self, user: User | AnonymousUser) -> ProfileVersionQuerySet:
        return self if user.has_perm("core.see_utilities") else self.none()


class ProfileVersion(models.Model):
    """What holds at a utility from one day to another, both included; days at the utility. What requests were made under stays as it was.

    A list that is empty was not told; the one word "any" means that all are taken. The lists of rows are typed in terms.py.
    """

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    utility = models.ForeignKey(Utility, on_delete=models.CASCADE, related_name="versions")
    valid_from = models.DateField()
    valid_to = models.DateField(null=True, blank=True)  # blank: until further notice

    who_may_fit = models.CharField(max_length=160, default=UTILITY_ONLY)
    who_may_fit_source = models.CharField(max_length=160, blank=True)
    supplies_collar = models.CharField(max_length=4, choices=Answer, blank=True)

    revisions = models.JSONField(default=list)  # of the collar
    meter_forms = models.JSONField(default=list)
    meter_classes = models.JSONField(default=list)
    sockets = models.JSONField(default=list)
    voltages = models.JSONField(default=list)
    in_socket = models.JSONField(default=list)  # other devices that may stand in the socket already

    route = models.CharField(max_length=160, blank=True)  # how it wants requests: portal, form by e-mail
    package = models.JSONField(default=list)  # what must be sent along, in its words
    fee_minor = models.BigIntegerField(null=True, blank=True)  # null: not known; 0: none
    fee_payer = models.CharField(max_length=80, blank=True)
    signature_needed = models.CharField(max_length=4, choices=Answer, blank=True)
    customer_home = models.CharField(max_length=4, choices=Answer, blank=True)
    batch_preference = models.CharField(max_length=160, blank=True)

    desk_phone = models.CharField(max_length=16, blank=True)
    desk_email = models.EmailField(blank=True)
    desk_hours = models.CharField(max_length=120, blank=True)
    reply_habit = models.CharField(max_length=160, blank=True)
    notice_habit = models.CharField(max_length=160, blank=True)
    contacts = models.JSONField(default=list)  # terms.Person
    steps_above = models.JSONField(default=list)  # terms.Person, the nearest first

    limits = models.JSONField(default=list)  # terms.Limit; empty: none is published
    no_limit_asked_on = models.DateField(null=True, blank=True)  # when it was asked whether any is published

    confirmed_on = models.DateField(null=True, blank=True)  # when somebody last asked whether all this still holds
    confirmed_by_name = models.CharField(max_length=160, blank=True)
    confirmed_with = models.CharField(max_length=120, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by_name = models.CharField(max_length=160)

    objects = ProfileVersionQuerySet.as_manager()

    class Meta:
        ordering = ["valid_from"]
        constraints = [
            models.UniqueConstraint(fields=["utility", "valid_from"], name="version_begins_once"),
            models.CheckConstraint(condition=Q(valid_to__isnull=True) | Q(valid_to__gte=F("valid_from")), name="version_days_in_order"),
        ]

    def __str__(self) -> str:
        return f"profile of {self.utility} from {self.valid_from}"


class KnownCalendar(models.Model):
    """A utility's working days as they were known from a day on. A closure entered later must not move a due day that had passed."""

    utility = models.ForeignKey(Utility, on_delete=models.CASCADE, related_name="known_calendars")
    known_on = models.DateField()  # day at the utility
    weekdays = models.JSONField()
    holidays = models.CharField(max_length=20)
    closed: models.JSONField[Any, Any] = models.JSONField(default=list)  # ISO days
    opened: models.JSONField[Any, Any] = models.JSONField(default=list)

    class Meta:
        ordering = ["known_on"]
        constraints = [models.UniqueConstraint(fields=["utility", "known_on"], name="calendar_known_once")]

    def __str__(self) -> str:
        return f"calendar of {self.utility} as known on {self.known_on}"
