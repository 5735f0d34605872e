"""Numbered papers: invoices and the credit notes that lessen them; what is disputed, and the waivers of lien that go with them."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import Exists, F, OuterRef, Q

from billing.models.payers import Payer
from billing.models.plan import Milestone
from billing.models.sums import LEFT, allocated
from jobs.core.models import Job, StoredFile, User

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager

    from billing.models.payments import Allocation


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
        return self.annotate(**{LEFT: F("amount_minor") - allocated("invoice")})

    def open(self) -> InvoiceQuerySet:
        return self.released().with_left().filter(amount_minor__gt=allocated("invoice"))

    def part_paid(self) -> InvoiceQuerySet:
        """Something was paid, and not all."""
        return self.open().annotate(came_minor=allocated("invoice", kind="payment")).filter(came_minor__gt=0)

    def disputed(self) -> InvoiceQuerySet:
        return self.filter(Exists(Dispute.objects.filter(invoice=OuterRef("pk"), ended_on__isnull=True)))

    def paid(self) -> InvoiceQuerySet:
        return self.released().with_left().filter(amount_minor__lte=allocated("invoice"))


class Invoice(models.Model):
    """A draft until finance releases it; from then on never changed."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="invoices")
    milestone = models.ForeignKey(Milestone, on_delete=models.PROTECT, related_name="invoices")
    # The milestone it bills now; nothing once it is credited in full, so that the milestone can be billed anew.
    bills = models.OneToOneField(Milestone, null=True, blank=True, on_delete=models.PROTECT, related_name="invoice")
    payer = models.ForeignKey(Payer, on_delete=models.PROTECT, related_name="invoices")
    amount_minor = models.BigIntegerField()  # to pay, the tax among it
    tax_minor = models.BigIntegerField(default=0)
    tax_millionths = models.PositiveIntegerField(default=0)
    tax_words = models.CharField(max_length=80, blank=True)
    tax_rounding = models.CharField(max_length=10, blank=True)
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
            models.CheckConstraint(condition=Q(tax_minor__gte=0, tax_minor__lte=F("amount_minor")), name="invoice_tax_within"),
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
        credit_notes: RelatedManager[CreditNote]
        disputes: RelatedManager[Dispute]
        waivers: RelatedManager[Waiver]
        left_minor: int  # of with_left()

    def __str__(self) -> str:
        return f"Invoice {self.number}" if self.number else f"draft for {self.job}"

    @property
    def net_minor(self) -> int:
        """What it asks before tax: the milestone's amount."""
        return self.amount_minor - self.tax_minor

    @property
    def released(self) -> bool:
        return self.state == InvoiceState.RELEASED


class CreditNoteQuerySet(models.QuerySet["CreditNote"]):
    def seen_by(self, user: User | AnonymousUser) -> CreditNoteQuerySet:
        return self.filter(job__in=Job.objects.seen_by(user)) if user.has_perm("core.see_money") else self.none()


class CreditNote(models.Model):
    """Lessens one invoice; whole from the moment it is made, and never changed."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="credit_notes")
    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="credit_notes")
    payer = models.ForeignKey(Payer, on_delete=models.PROTECT, related_name="credit_notes")
    amount_minor = models.BigIntegerField()  # the tax among it
    tax_minor = models.BigIntegerField(default=0)
    reason = models.CharField(max_length=240)
    number = models.PositiveBigIntegerField(unique=True)
    issued_on = models.DateField()
    contents = models.JSONField(default=dict)
    pdf = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    released_at = models.DateTimeField()
    released_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    released_by_name = models.CharField(max_length=160)

    objects = CreditNoteQuerySet.as_manager()

    class Meta:
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(condition=Q(amount_minor__gt=0), name="credit_above_nothing"),
            models.CheckConstraint(condition=Q(tax_minor__gte=0, tax_minor__lte=F("amount_minor")), name="credit_tax_within"),
            models.CheckConstraint(condition=~Q(reason=""), name="credit_with_reason"),
        ]

    def __str__(self) -> str:
        return f"Credit note {self.number}"


class Dispute(models.Model):
    """The payer contests an invoice. It ages as before; nobody is reminded of it."""

    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="disputes")
    since_on = models.DateField()
    reason = models.CharField(max_length=400)
    by_name = models.CharField(max_length=160)
    ended_on = models.DateField(null=True, blank=True)
    outcome = models.CharField(max_length=400, blank=True)
    ended_by_name = models.CharField(max_length=160, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["invoice"], condition=Q(ended_on__isnull=True), name="one_open_dispute"),
            models.CheckConstraint(condition=Q(ended_on__isnull=True) | ~Q(outcome=""), name="dispute_ends_with_outcome"),
        ]

    def __str__(self) -> str:
        return f"dispute about {self.invoice}"


class WaiverKind(models.TextChoices):
    CONDITIONAL_PROGRESS = "conditional_progress", "conditional, on a progress payment"
    CONDITIONAL_FINAL = "conditional_final", "conditional, on the final payment"
    UNCONDITIONAL_PROGRESS = "unconditional_progress", "unconditional, on a progress payment"
    UNCONDITIONAL_FINAL = "unconditional_final", "unconditional, on the final payment"


class WaiverWording(models.Model):
    """The contractor's own wording, which counsel or the state gives; the newest of its kind and state holds. Insert only."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(max_length=24, choices=WaiverKind)
    region = models.CharField(max_length=2, blank=True)  # blank: every state without a wording of its own
    text = models.TextField()
    source = models.CharField(max_length=160)
    at = models.DateTimeField()
    by_name = models.CharField(max_length=160)

    class Meta:
        ordering = ["kind", "region", "-pk"]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.region}".strip()


class Waiver(models.Model):
    """A waiver of lien as it was made for an invoice: conditional with it, unconditional once its money has cleared."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    invoice = models.ForeignKey(Invoice, on_delete=models.PROTECT, related_name="waivers")
    kind = models.CharField(max_length=24, choices=WaiverKind)
    wording = models.ForeignKey(WaiverWording, on_delete=models.PROTECT, related_name="+")
    amount_minor = models.BigIntegerField()
    cleared_on = models.DateField(null=True, blank=True)
    pdf = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by_name = models.CharField(max_length=160)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["invoice", "kind"], name="waiver_once"),
            models.CheckConstraint(
                condition=Q(kind__startswith="conditional", cleared_on__isnull=True)
                | Q(kind__startswith="unconditional", cleared_on__isnull=False),
                name="unconditional_after_cleared",
            ),
        ]

    def __str__(self) -> str:
        return f"waiver, {self.get_kind_display()}"
