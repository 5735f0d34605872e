"""Payers, milestone plans and what was earned on them, invoices, payments and what they were put to."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, Any, NoReturn

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import Exists, F, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce

from jobs.core.models import Job, Person, StoredFile, User
from jobs.core.models.people import Language

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager


_LEFT = "left_minor"


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


class MilestoneQuerySet(models.QuerySet["Milestone"]):
    def seen_by(self, user: User | AnonymousUser) -> MilestoneQuerySet:
        return self.filter(job__in=Job.objects.seen_by(user)) if user.has_perm("core.see_money") else self.none()

    def ours(self) -> MilestoneQuerySet:
        """Those that we bill; opening balances were billed from the books before."""
        return self.filter(opening=False)

    def openings(self) -> MilestoneQuerySet:
        return self.filter(opening=True)

    def open(self) -> MilestoneQuerySet:
        """Opening balances not yet paid."""
        paid = F("opening_paid_minor") + _allocated("milestone")
        return self.openings().with_left().filter(opening_invoiced_minor__gt=paid)

    def with_left(self) -> MilestoneQuerySet:
        """`left_minor`: what is still to be paid of an opening balance."""
        return self.annotate(**{_LEFT: F("opening_invoiced_minor") - F("opening_paid_minor") - _allocated("milestone")})

    def with_invoice(self) -> MilestoneQuerySet:
        return self.select_related("job__site", "payer", "invoice").prefetch_related("job__parties__person")


class Milestone(models.Model):
    """One part of a contract's price, with what earns it: in the contract's words and in facts."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="milestones")
    position = models.PositiveSmallIntegerField()  # 1 is the first
    name = models.CharField(max_length=80)
    clause = models.TextField(blank=True)  # the contract's own words
    triggers = models.JSONField(default=list)  # names of facts and states, all wanted (triggers.py)
    payer_triggers = models.JSONField(default=list)  # what the payer wants before it pays; shown, never earns
    needs_utility = models.BooleanField(default=False)  # the utility's fitting is among what earns it
    share_millionths = models.PositiveIntegerField()
    amount_minor = models.BigIntegerField()
    payer = models.ForeignKey(Payer, on_delete=models.PROTECT, related_name="milestones")

    # Written by the follow-up of each fact; `reconcile` compares them with the facts.
    earned_on = models.DateField(null=True, blank=True)  # the day of the completing fact
    recorded_on = models.DateField(null=True, blank=True)  # the office's day on which we learned it
    payer_met_on = models.DateField(null=True, blank=True)

    # A fact that changed after the invoice left: a question for finance, and what finance said to it.
    question = models.TextField(blank=True)
    question_on = models.DateField(null=True, blank=True)
    answered = models.TextField(blank=True)  # the question that was answered
    answer = models.TextField(blank=True)

    # What the books before ours had billed: it ages and is paid, and is never drafted, numbered or sent by us.
    opening = models.BooleanField(default=False)
    opening_ref = models.CharField(max_length=60, blank=True)
    opening_invoiced_minor = models.BigIntegerField(default=0)
    opening_paid_minor = models.BigIntegerField(default=0)
    opening_due_on = models.DateField(null=True, blank=True)

    objects = MilestoneQuerySet.as_manager()

    class Meta:
        ordering = ["job", "position"]
        indexes = [
            models.Index(fields=["earned_on"]),
            models.Index(fields=["opening_due_on"], condition=Q(opening=True), name="opening_due"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["job", "position"], name="milestone_position_once"),
            models.CheckConstraint(condition=Q(share_millionths__lte=1_000_000), name="milestone_share_of_a_million"),
            models.CheckConstraint(condition=Q(amount_minor__gte=0), name="milestone_not_negative"),
            models.CheckConstraint(
                condition=Q(earned_on__isnull=True, recorded_on__isnull=True) | Q(earned_on__isnull=False, recorded_on__isnull=False),
                name="milestone_earned_and_recorded",
            ),
            models.CheckConstraint(
                condition=Q(opening=False, opening_invoiced_minor=0, opening_paid_minor=0)
                | Q(
                    opening=True,
                    earned_on__isnull=False,
                    opening_due_on__isnull=False,
                    opening_invoiced_minor__gt=0,
                    opening_paid_minor__gte=0,
                    opening_paid_minor__lte=F("opening_invoiced_minor"),
                ),
                name="opening_is_sane",
            ),
        ]

    if TYPE_CHECKING:
        allocations: RelatedManager[Allocation]
        earnings: RelatedManager[Earning]
        invoice: Invoice
        left_minor: int  # of with_left()

    def __str__(self) -> str:
        return f"{self.name} of {self.job}"


class Earning(models.Model):
    """That a milestone was earned, or no longer is: insert only, so that a closed period's report never changes."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="earnings")
    # A plan set anew takes its milestones away; what was once reported stands.
    milestone = models.ForeignKey(Milestone, null=True, on_delete=models.SET_NULL, related_name="earnings")
    name = models.CharField(max_length=80)
    payer = models.ForeignKey(Payer, on_delete=models.PROTECT, related_name="earnings")
    amount_minor = models.BigIntegerField()  # negative where it is taken back
    earned_on = models.DateField()
    recorded_on = models.DateField()
    recorded_at = models.DateTimeField()
    by = models.CharField(max_length=160)
    because = models.CharField(max_length=160, blank=True)  # why it was taken back

    class Meta:
        ordering = ["recorded_on", "pk"]
        indexes = [models.Index(fields=["recorded_on"])]

    def __str__(self) -> str:
        return f"{self.name} of {self.job}, {self.recorded_on}"


class Series(models.Model):
    """The next number of a run of papers. Read only under its row's lock, so that no number is skipped or used twice."""

    name = models.CharField(max_length=20, unique=True)
    first = models.PositiveBigIntegerField()
    next = models.PositiveBigIntegerField()

    def __str__(self) -> str:
        return f"{self.name}, next {self.next}"


class InvoiceState(models.TextChoices):
    DRAFT = "draft", "draft"
    RELEASED = "released", "released"


class InvoiceQuerySet(models.QuerySet["Invoice"]):
    def seen_by(self, user: User | AnonymousUser) -> InvoiceQuerySet:
        return self.filter(job__in=Job.objects.seen_by(user)) if user.has_perm("core.see_money") else self.none()

    def drafts(self) -> InvoiceQuerySet:
        return self.filter(state=InvoiceState.DRAFT)

    def released(self) -> InvoiceQuerySet:
        return self.filter(state=InvoiceState.RELEASED)

    def with_left(self) -> InvoiceQuerySet:
        """`left_minor`: what is still to be paid."""
        return self.annotate(**{_LEFT: F("amount_minor") - _allocated("invoice")})

    def open(self) -> InvoiceQuerySet:
        return self.released().with_left().filter(amount_minor__gt=_allocated("invoice"))

    def part_paid(self) -> InvoiceQuerySet:
        """Something was paid, and not all."""
        return self.open().filter(Exists(Allocation.objects.filter(invoice=OuterRef("pk"), kind=AllocationKind.PAYMENT)))

    def paid(self) -> InvoiceQuerySet:
        return self.released().with_left().filter(amount_minor__lte=_allocated("invoice"))


class Invoice(models.Model):
    """A draft until finance releases it; from then on never changed."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="invoices")
    milestone = models.OneToOneField(Milestone, on_delete=models.PROTECT, related_name="invoice")
    payer = models.ForeignKey(Payer, on_delete=models.PROTECT, related_name="invoices")
    amount_minor = models.BigIntegerField()
    state = models.CharField(max_length=10, choices=InvoiceState, default=InvoiceState.DRAFT)
    drafted_at = models.DateTimeField()

    # From release on.
    number = models.PositiveBigIntegerField(null=True, blank=True, unique=True)
    issued_on = models.DateField(null=True, blank=True)
    due_on = models.DateField(null=True, blank=True)
    terms_days = models.PositiveSmallIntegerField(null=True, blank=True)  # those it was released under
    contents = models.JSONField(default=dict)  # what the paper says, as plain values
    pdf = models.ForeignKey(StoredFile, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    released_at = models.DateTimeField(null=True, blank=True)
    released_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    released_by_name = models.CharField(max_length=160, blank=True)

    objects = InvoiceQuerySet.as_manager()

    class Meta:
        ordering = ["number", "pk"]
        indexes = [models.Index(fields=["state", "due_on"]), models.Index(fields=["payer", "due_on"])]
        constraints = [
            models.CheckConstraint(condition=Q(amount_minor__gt=0), name="invoice_above_nothing"),
            models.CheckConstraint(
                condition=Q(state="draft", number__isnull=True, issued_on__isnull=True, due_on__isnull=True, pdf__isnull=True)
                | Q(
                    state="released",
                    number__isnull=False,
                    issued_on__isnull=False,
                    due_on__isnull=False,
                    pdf__isnull=False,
                    released_at__isnull=False,
                ),
                name="invoice_draft_or_whole",
            ),
        ]

    if TYPE_CHECKING:
        allocations: RelatedManager[Allocation]
        left_minor: int  # of with_left()

    def __str__(self) -> str:
        return f"Invoice {self.number}" if self.number else f"draft for {self.job}"

    @property
    def released(self) -> bool:
        return self.state == InvoiceState.RELEASED


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
        return self.annotate(**{_LEFT: F("amount_minor") - _allocated("payment", kind=AllocationKind.PAYMENT)})

    def unapplied(self) -> PaymentQuerySet:
        return self.with_left().filter(amount_minor__gt=_allocated("payment", kind=AllocationKind.PAYMENT))


class Payment(models.Model):
    """Money that came in. What it was put to stands in its allocations; the rest is unapplied."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    payer = models.ForeignKey(Payer, on_delete=models.PROTECT, related_name="payments")
    received_on = models.DateField()
    amount_minor = models.BigIntegerField()
    reference = models.CharField(max_length=120, blank=True)
    method = models.CharField(max_length=10, choices=PaymentMethod, default=PaymentMethod.BANK)
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


class AllocationKind(models.TextChoices):
    PAYMENT = "payment", "payment"
    FEE = "fee", "lender's fee"
    TAX = "tax_withheld", "tax withheld"
    WRITE_OFF = "write_off", "write-off"


class Allocation(models.Model):
    """What lessens an invoice or opening balance, by how much, and whether by money that came in. Insert only."""

    payment = models.ForeignKey(Payment, null=True, blank=True, on_delete=models.PROTECT, related_name="allocations")
    invoice = models.ForeignKey(Invoice, null=True, blank=True, on_delete=models.PROTECT, related_name="allocations")
    # An opening balance.
    milestone = models.ForeignKey(Milestone, null=True, blank=True, on_delete=models.PROTECT, related_name="allocations")
    amount_minor = models.BigIntegerField()
    kind = models.CharField(max_length=12, choices=AllocationKind, default=AllocationKind.PAYMENT)
    reason = models.CharField(max_length=240, blank=True)
    at = models.DateTimeField()
    by_name = models.CharField(max_length=160)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=Q(amount_minor__gt=0), name="allocation_above_nothing"),
            models.CheckConstraint(
                condition=Q(invoice__isnull=False, milestone__isnull=True) | Q(invoice__isnull=True, milestone__isnull=False),
                name="allocation_to_one_thing",
            ),
            models.CheckConstraint(condition=Q(payment__isnull=False) | Q(kind="write_off"), name="allocation_of_a_payment"),
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


def _allocated(name: str, **only: str) -> Coalesce:
    """The sum of the allocations to the row of the query around it."""
    sums = Allocation.objects.filter(**{name: OuterRef("pk")}, **only).order_by().values(name).annotate(total=Sum("amount_minor"))
    return Coalesce(Subquery(sums.values("total"), output_field=models.BigIntegerField()), 0)
