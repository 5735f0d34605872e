"""People of the office (User), people around a home (Person), and what a person is to a job (Party)."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.auth.models import PermissionsMixin
from django.db import models
from django.db.models import Q


class UserManager(BaseUserManager["User"]):
    def create_user(self, email: str, password: str | None = None, **fields: Any) -> User:
        user = User(email=self.normalize_email(email), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user


class User(AbstractBaseUser, PermissionsMixin):
    """Someone who signs in: by e-mail, with rights from groups."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    email = models.EmailField(unique=True)
    name = models.CharField(max_length=120)
    is_active = models.BooleanField(default=True)
    zone = models.CharField(max_length=64, default="America/Denver")
    languages = models.JSONField(default=list, blank=True)  # spoken with homeowners: ["en", "es"]
    is_demo = models.BooleanField(default=False)

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = ["name"]

    def __str__(self) -> str:
        return self.name

    @property
    def role_words(self) -> str:
        return ", ".join(sorted(group.name for group in self.groups.all())) or "no role"


class Language(models.TextChoices):
    ENGLISH = "en", "English"
    SPANISH = "es", "Spanish"


class Person(models.Model):
    """Someone at or around a home; kept apart from the site, since homes are sold and let."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=160)
    language = models.CharField(max_length=2, choices=Language, default=Language.ENGLISH)
    phone = models.CharField(max_length=16, blank=True)  # E.164
    phone_ext = models.CharField(max_length=8, blank=True)
    email = models.EmailField(blank=True)
    needs_relay = models.BooleanField(default=False)  # a relay service doubles the length of a call
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.name


class PartyRole(models.TextChoices):
    OWNER = "owner", "owner"
    ACCOUNT_HOLDER = "account_holder", "account holder"
    AT_HOME = "at_home", "person at home"
    PAYER = "payer", "payer"


class PartyQuerySet(models.QuerySet["Party"]):
    def on(self, day: dt.date) -> PartyQuerySet:
        return self.filter(Q(from_on__isnull=True) | Q(from_on__lte=day), Q(to_on__isnull=True) | Q(to_on__gte=day))

    def of_role(self, role: str) -> PartyQuerySet:
        return self.filter(role=role)


class Party(models.Model):
    """What a person is to a job, from and to which day."""

    job = models.ForeignKey("core.Job", on_delete=models.CASCADE, related_name="parties")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="parties")
    role = models.CharField(max_length=20, choices=PartyRole)
    from_on = models.DateField(null=True, blank=True)
    to_on = models.DateField(null=True, blank=True)

    objects = PartyQuerySet.as_manager()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["job", "person", "role", "from_on"], name="party_once", nulls_distinct=False)]

    def __str__(self) -> str:
        return f"{self.person}, {self.get_role_display()}"
