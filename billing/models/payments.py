"""Money that came in or went out, and what it was put to."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any, NoReturn

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import F, Q

from billing.models.invoices import CreditNote, Invoice
from billing.models.payers import Payer
from billing.models.plan import Milestone
from billing.models.sums import LEFT, allocated, sent_back
from jobs.core.models import User

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager


class PaymentMethod(models.TextChoices):
    BANK = "bank", "bank transfer"
    CHECK = "check", "check"
    CARD = "card", "card"
    OTHER = "other", "other"


class PaymentQuerySet(models.QuerySet["Payment"]):
    def seen_by(self, user: User | AnonymousUser) -> PaymentQuerySet:
        return self if user.has_perm("core.see_money") else self.none()

    def with_left(self) -> PaymentQuerySet:
        """`left_minor`: what of it is not yet put to anything."""
        return self.annotate(**{LEFT: F("amount_minor") - allocated("payment", kind=AllocationKind.PAYMENT) - sent_back()})

    def unapplied(self) -> PaymentQuerySet:
        return self.with_left().filter(**{f"{LEFT}__gt": 0})


class Payment(models.Model):
    """Money that came in. What it was put to stands in its allocations; the rest is unapplied."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    payer = models.ForeignKey(Payer, on_delete=models.PROTECT, related_name="payments")
    received_on = models.DateField()
    amount_minor = models.BigIntegerField()
    reference = models.CharField(max_length=120, blank=True)
    method = models.CharField(max_length=10, choices=PaymentMethod, default=PaymentMethod.BANK)
    difference = models.CharField(max_length=240, blank=True)  # of a remittance for several invoices: what it was about
    recorded_at = models.DateTimeField()
    recorded_by_name = models.CharField(max_length=160)

    objects = PaymentQuerySet.as_manager()

    class Meta:
        ordering = ["-received_on", "-pk"]
        indexes = [models.Index(fields=["received_on"])]
        constraints = [
            models.CheckConstraint(condition=Q(amount_minor__gt=0), name="payment_above_nothing"),
            # The natural key: the same payment brought in twice, or typed after it came in a file, is on record once.
            models.UniqueConstraint(fields=["payer", "reference", "received_on", "amount_minor"], name="payment_once"),
        ]

    if TYPE_CHECKING:
        allocations: RelatedManager[Allocation]
        left_minor: int  # of with_left()

    def __str__(self) -> str:
        return f"payment of {self.payer}, {self.received_on}"


class SentBackKind(models.TextChoices):
    REFUND = "refund", "refund"
    RETURNED = "returned", "returned by the bank"


class SentBack(models.Model):
    """Money of a payment that went back: refunded by us, or returned by the bank. Insert only."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    payment = models.ForeignKey(Payment, on_delete=models.PROTECT, related_name="sent_back")
    kind = models.CharField(max_length=10, choices=SentBackKind)
    amount_minor = models.BigIntegerField()
    on = models.DateField()
    reference = models.CharField(max_length=120, blank=True)
    reason = models.CharField(max_length=240)
    at = models.DateTimeField()
    by_name = models.CharField(max_length=160)

    class Meta:
        ordering = ["on", "pk"]
        constraints = [models.CheckConstraint(condition=Q(amount_minor__gt=0), name="sent_back_above_nothing")]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.payment}"

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise TypeError("What went back is never deleted.")


class AllocationKind(models.TextChoices):
    PAYMENT = "payment", "payment"
    FEE = "fee", "lender's fee"
    TAX = "tax_withheld", "tax withheld"
    WRITE_OFF = "write_off", "write-off"
    CREDIT = "credit", "credit note"


class Allocation(models.Model):
    """What lessens an invoice or opening balance, by how much, and whether by money that came in.

    Insert only: what is taken back is a row below zero that names the one it takes back.
    """

    payment = models.ForeignKey(Payment, null=True, blank=True, on_delete=models.PROTECT, related_name="allocations")
    invoice = models.ForeignKey(Invoice, null=True, blank=True, on_delete=models.PROTECT, related_name="allocations")
    # An opening balance.
    milestone = models.ForeignKey(Milestone, null=True, blank=True, on_delete=models.PROTECT, related_name="allocations")
    credit_note = models.ForeignKey(CreditNote, null=True, blank=True, on_delete=models.PROTECT, related_name="allocations")
    reverses = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="reversals")
    amount_minor = models.BigIntegerField()
    kind = models.CharField(max_length=12, choices=AllocationKind, default=AllocationKind.PAYMENT)
    reason = models.CharField(max_length=240, blank=True)
    at = models.DateTimeField()
    by_name = models.CharField(max_length=160)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(amount_minor__gt=0, reverses__isnull=True) | Q(amount_minor__lt=0, reverses__isnull=False),
                name="allocation_above_nothing",
            ),
            models.CheckConstraint(
                condition=Q(invoice__isnull=False, milestone__isnull=True) | Q(invoice__isnull=True, milestone__isnull=False),
                name="allocation_to_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(payment__isnull=False, credit_note__isnull=True) & ~Q(kind="credit")
                | Q(kind="write_off", credit_note__isnull=True)
                | Q(kind="credit", credit_note__isnull=False, payment__isnull=True),
                name="allocation_of_a_payment",
            ),
            models.CheckConstraint(condition=~Q(kind="write_off") | ~Q(reason=""), name="write_off_with_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} on {self.invoice or self.milestone}"

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise TypeError("An allocation is never changed.")
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise TypeError("An allocation is never deleted.")


class BankLineQuerySet(models.QuerySet["BankLine"]):
    def seen_by(self, user: User | AnonymousUser) -> BankLineQuerySet:
        return self if user.has_perm("core.see_money") else self.none()

    def open(self) -> BankLineQuerySet:
        return self.filter(payment__isnull=True, set_aside="")


class BankLine(models.Model):
    """A line of a bank's or lender's file. It is a payment only when a person has confirmed whose and for what."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    payer_text = models.CharField(max_length=160)  # as the file names it
    received_on = models.DateField()
    amount_minor = models.BigIntegerField()
    reference = models.CharField(max_length=120, blank=True)
    invoices = models.CharField(max_length=240, blank=True)  # the numbers the file gives
    nth = models.PositiveSmallIntegerField(default=1)  # of rows that are equal and were said to be payments of their own
    brought_in_at = models.DateTimeField()
    brought_in_by = models.CharField(max_length=160)
    payment = models.OneToOneField(Payment, null=True, blank=True, on_delete=models.PROTECT, related_name="bank_line")
    set_aside = models.CharField(max_length=240, blank=True)  # why it is no payment of ours
    decided_by = models.CharField(max_length=160, blank=True)

    objects = BankLineQuerySet.as_manager()

    class Meta:
        ordering = ["received_on", "pk"]
        constraints = [
            models.CheckConstraint(condition=Q(amount_minor__gt=0), name="bank_line_above_nothing"),
            models.UniqueConstraint(fields=["payer_text", "reference", "received_on", "amount_minor", "nth"], name="bank_line_once"),
            models.CheckConstraint(condition=Q(payment__isnull=True) | Q(set_aside=""), name="bank_line_decided_once"),
        ]

    def __str__(self) -> str:
        return f"line of {self.payer_text}, {self.received_on}"
