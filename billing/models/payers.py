"""Who is billed."""

from __future__ import annotations

import uuid

from django.contrib.auth.models import AnonymousUser
from django.db import models

from jobs.core.models import Person, User
from jobs.core.models.people import Language


class PayerKind(models.TextChoices):
    HOMEOWNER = "homeowner", "homeowner"
    LENDER = "lender", "lender"
    OWNER = "third_party_owner", "third-party owner"


class PayerQuerySet(models.QuerySet["Payer"]):
    def seen_by(self, user: User | AnonymousUser) -> PayerQuerySet:
        return self if user.has_perm("core.see_money") else self.none()


class Payer(models.Model):
    """Who is billed. A homeowner's address and language are those of the person, as they are by then."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    name = models.CharField(max_length=160)
    kind = models.CharField(max_length=20, choices=PayerKind, default=PayerKind.HOMEOWNER)
    person = models.OneToOneField(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="payer")
    email = models.EmailField(blank=True)  # of a payer who is no person of a home
    address = models.CharField(max_length=240, blank=True)  # printed on invoices; blank: the home's
    terms_days = models.PositiveSmallIntegerField(null=True, blank=True)  # blank: the rule's

    objects = PayerQuerySet.as_manager()

    class Meta:
        ordering = ["name", "pk"]
        indexes = [models.Index(fields=["name"])]

    def __str__(self) -> str:
        return self.name

    @property
    def mail_to(self) -> str:
        return self.person.email if self.person else self.email

    @property
    def language(self) -> str:
        return self.person.language if self.person else Language.ENGLISH.value
