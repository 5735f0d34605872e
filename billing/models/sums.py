"""What allocations come to, as a column of the row they are put to."""

from __future__ import annotations

from typing import Any

from django.apps import apps
from django.db import models
from django.db.models import OuterRef, Subquery, Sum
from django.db.models.functions import Coalesce

LEFT = "left_minor"


def allocated(name: str, **only: Any) -> Coalesce:
    """The sum of the allocations to the row of the query around it; what was taken back counts below zero."""
    # By its name: the rows that use the sum are what an allocation refers to.
    rows = apps.get_model("billing", "Allocation")._default_manager.filter(**{name: OuterRef("pk")}, **only)
    sums = rows.order_by().values(name).annotate(total=Sum("amount_minor"))
    return Coalesce(Subquery(sums.values("total"), output_field=models.BigIntegerField()), 0)


def sent_back() -> Coalesce:
    """What of a payment went back: refunded by us, or returned by the bank."""
    rows = apps.get_model("billing", "SentBack")._default_manager.filter(payment=OuterRef("pk"))
    sums = rows.order_by().values("payment").annotate(total=Sum("amount_minor"))
    return Coalesce(Subquery(sums.values("total"), output_field=models.BigIntegerField()), 0)
