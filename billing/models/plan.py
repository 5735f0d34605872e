"""The plan of a job: its milestones, what they earned, and what changed the contract."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING, NoReturn

from django.contrib.auth.models import AnonymousUser
from django.db import models
from django.db.models import F, Q

from billing.models.payers import Payer
from billing.models.sums import LEFT, allocated
from jobs.core.models import Document, Job, User

if TYPE_CHECKING:
    from django.db.models.fields.related_descriptors import RelatedManager

    from billing.models.invoices import Invoice
    from billing.models.payments import Allocation


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
        paid = F("opening_paid_minor") + allocated("milestone")
        return self.openings().with_left().filter(opening_invoiced_minor__gt=paid)

    def with_left(self) -> MilestoneQuerySet:
        """`left_minor`: what is still to be paid of an opening balance."""
        return self.annotate(**{LEFT: F("opening_invoiced_minor") - F("opening_paid_minor") - allocated("milestone")})

    def with_invoice(self) -> MilestoneQuerySet:
        return self.select_related("job__site", "payer", "invoice").prefetch_related("job__parties__person")


class MilestoneKind(models.TextChoices):
    PART = "part", "part of the price"
    DEPOSIT = "deposit", "deposit"
    RETAINAGE = "retainage", "retainage"
    CHANGE = "change", "change order"


class Milestone(models.Model):
    """One part of a contract's price, with what earns it: in the contract's words and in facts."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="milestones")
    position = models.PositiveSmallIntegerField()  # 1 is the first
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=10, choices=MilestoneKind, default=MilestoneKind.PART)
    payer_name = models.CharField(max_length=80, blank=True)  # what the payer calls it
    wants = models.JSONField(default=list)  # papers the payer asks for, by name; those had stand in PaperGiven
    clause = models.TextField(blank=True)  # the contract's own words
    triggers = models.JSONField(default=list)  # names of facts and states, all wanted (triggers.py)
    payer_triggers = models.JSONField(default=list)  # what the payer wants before it pays; shown, never earns
    needs_utility = models.BooleanField(default=False)  # the utility's fitting is among what earns it
    share_millionths = models.PositiveIntegerField()  # as the contract first said it; 0 where an amount is given
    fixed = models.BooleanField(default=False)  # the contract names an amount, not a share
    amount_minor = models.BigIntegerField()  # what is billed for it: without what is retained
    retained_minor = models.BigIntegerField(default=0)  # kept back from it; the retainage's own milestone bills it
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
            models.CheckConstraint(condition=Q(amount_minor__gte=0, retained_minor__gte=0), name="milestone_not_negative"),
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
        invoice: Invoice  # the one that bills it now
        invoices: RelatedManager[Invoice]  # also those that were credited in full
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


class Agreement(models.Model):
    """What holds for the whole plan of a job: the retainage, the deposit's limit, and how the payer funds it."""

    job = models.OneToOneField(Job, on_delete=models.CASCADE, related_name="agreement")
    retainage_millionths = models.PositiveIntegerField(default=0)
    deposit_limit = models.TextField(blank=True)  # the cap under which the deposit was set, with its source, in words
    funding_reference = models.CharField(max_length=80, blank=True)
    funding_expires_on = models.DateField(null=True, blank=True)
    proceed_on = models.DateField(null=True, blank=True)  # the payer's notice to proceed

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(retainage_millionths__lt=1_000_000), name="retainage_below_all")]

    def __str__(self) -> str:
        return f"agreement of {self.job}"


class ChangeKind(models.TextChoices):
    CHANGE = "change", "change order"
    BACKUP_DROPPED = "backup_dropped", "backup dropped"
    CANCELLED = "cancelled", "contract cancelled"


class ChangeOrder(models.Model):
    """A change of the contract's price, after which the parts add up to the new one. Insert only."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="change_orders")
    number = models.PositiveSmallIntegerField()  # 1 is the first of this job
    kind = models.CharField(max_length=16, choices=ChangeKind, default=ChangeKind.CHANGE)
    agreed_on = models.DateField()
    words = models.TextField()
    amount_minor = models.BigIntegerField()  # below zero: the price falls
    before_minor = models.BigIntegerField()
    after_minor = models.BigIntegerField()
    recorded_at = models.DateTimeField()
    by_name = models.CharField(max_length=160)

    class Meta:
        ordering = ["job", "number"]
        constraints = [
            models.UniqueConstraint(fields=["job", "number"], name="change_order_once"),
            models.CheckConstraint(condition=Q(after_minor=F("before_minor") + F("amount_minor")), name="change_order_adds_up"),
            models.CheckConstraint(condition=Q(after_minor__gte=0) & ~Q(amount_minor=0), name="change_order_is_sane"),
        ]

    def __str__(self) -> str:
        return f"Change order {self.number}"

    def delete(self, *args: object, **kwargs: object) -> NoReturn:
        raise TypeError("A change order is never deleted.")


class PaperGiven(models.Model):
    """A paper that a payer asks for and that is there: by its name on the plan, which may be set anew."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="papers_given")
    words = models.CharField(max_length=120)
    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by_name = models.CharField(max_length=160)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["job", "words"], name="paper_given_once")]

    def __str__(self) -> str:
        return self.words
