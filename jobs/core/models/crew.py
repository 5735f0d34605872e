from __future__ import annotations

import datetime as dt

from django.db import models
from django.db.models import Q

from jobs.core.models.people import User


class Crew(models.Model):
    name = models.CharField(max_length=80, unique=True)

    def __str__(self) -> str:
        return self.name


class CrewMemberQuerySet(models.QuerySet["CrewMember"]):
    def on(self, day: dt.date) -> CrewMemberQuerySet:
        return self.filter(Q(from_on__lte=day), Q(to_on__isnull=True) | Q(to_on__gte=day))


class CrewMember(models.Model):
    crew = models.ForeignKey(Crew, on_delete=models.CASCADE, related_name="members")
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="crew_memberships")
    from_on = models.DateField()
    to_on = models.DateField(null=True, blank=True)

    objects = CrewMemberQuerySet.as_manager()

    def __str__(self) -> str:
        return f"{self.user} in {self.crew}"
