"""Forms of money: what is typed, read into what the acts take."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.forms.utils import ErrorDict

from billing.milestones import Frame, Part
from billing.models import AllocationKind, Milestone, MilestoneKind, Payer, PayerKind, PaymentMethod
from billing.payments import Debt, Portion
from billing.shares import percent_text
from billing.triggers import TRIGGERS
from jobs.core.forms import DayField, MoneyField, OfficeForm


class ShareField(forms.Field):
    """A percentage with up to four decimals, "33.3333"; gives millionths, or None if left empty."""

    widget = forms.TextInput
    width = "w-short"

    def to_python(self, value: Any) -> int | None:
        if value is None or isinstance(value, int):
            return value
        typed = "".join(value.split()).removesuffix("%")
        if not typed:
            return None
        found = re.fullmatch(r"([0-9]{1,3})(?:\.([0-9]{0,4}))?", typed, re.ASCII)
        if not found:
            raise ValidationError(f'"{value.strip()}" is not a share. A percentage such as 80 or 33.3333 is wanted.')
        return int(found[1]) * 10_000 + int((found[2] or "").ljust(4, "0"))

    def prepare_value(self, value: Any) -> Any:
        return percent_text(value).removesuffix("\u202f%") if isinstance(value, int) else value


class PlanForm(OfficeForm):
    contract_minor = MoneyField(label="Contract's price", least_minor=1)
    signed_on = DayField(label="Contract signed on", required=False)
    payer = forms.ModelChoiceField(
        Payer.objects.filter(person__isnull=True),
        label="Who pays",
        required=False,
        empty_label="The homeowner",
        help_text="A lender or third-party owner who is not listed is added first.",
        to_field_name="uid",
    )
    retainage = ShareField(
        label="Retainage in per cent", required=False, help_text="Kept back from each part but the deposit, and billed by itself."
    )
    retainage_clause = forms.CharField(label="The contract's words on the retainage", required=False, max_length=500)
    retainage_triggers = forms.MultipleChoiceField(
        label="The retainage is earned by all of", choices=list(TRIGGERS.items()), required=False, widget=forms.CheckboxSelectMultiple
    )
    funding_reference = forms.CharField(label="The payer's own number for it", required=False, max_length=80)
    funding_expires_on = DayField(label="Funding expires on", required=False)
    proceed_on = DayField(label="The payer's notice to proceed, of", required=False)

    def frame(self) -> Frame:
        told = self.cleaned_data
        return Frame(
            retainage_millionths=told["retainage"] or 0,
            retainage_clause=told["retainage_clause"],
            retainage_triggers=tuple(told["retainage_triggers"]),
            funding_reference=told["funding_reference"],
            funding_expires_on=told["funding_expires_on"],
            proceed_on=told["proceed_on"],
        )

    def contract(self) -> dict[str, Any]:
        return {name: self.cleaned_data[name] for name in ("contract_minor", "signed_on", "payer")}


class PartForm(OfficeForm):
    """One milestone; a row in which nothing is filled in is left out. spare: a row beyond those of the plan."""

    name = forms.CharField(label="Name", max_length=80)
    share = ShareField(label="Share in per cent", required=False)
    amount_minor = MoneyField(label="Or an amount", required=False, least_minor=1)
    deposit = forms.BooleanField(label="It is the deposit", required=False)
    clause = forms.CharField(label="The contract's words", required=False, max_length=500, widget=forms.Textarea(attrs={"rows": 2}))
    triggers = forms.MultipleChoiceField(label="Earned by all of", choices=list(TRIGGERS.items()), widget=forms.CheckboxSelectMultiple)
    payer_triggers = forms.MultipleChoiceField(
        label="The payer pays only on all of", choices=list(TRIGGERS.items()), required=False, widget=forms.CheckboxSelectMultiple
    )
    payer_name = forms.CharField(label="The payer's own name for it", required=False, max_length=80)
    wants = forms.CharField(
        label="Papers the payer wants, one a line", required=False, max_length=1200, widget=forms.Textarea(attrs={"rows": 2})
    )
    use_required_attribute = False

    def __init__(self, *args: Any, spare: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.spare = spare

    @property
    def blank(self) -> bool:
        # By the widgets, which know one value from several, and before anything is found wrong.
        return not any(
            field.widget.value_from_datadict(self.data, self.files, self.add_prefix(name)) for name, field in self.fields.items()
        )

    def full_clean(self) -> None:
        super().full_clean()
        if self.is_bound and self.blank:
            self._errors, self.cleaned_data = ErrorDict(), {}

    def clean(self) -> dict[str, Any]:
        told: dict[str, Any] = super().clean() or {}
        if not self.blank and "share" in told and "amount_minor" in told and (told["share"] is None) == (told["amount_minor"] is None):
            self.add_error("share", "Either a share or an amount is wanted.")
        if any(len(line) > LONGEST_PAPER for line in _lines(told.get("wants"))):
            self.add_error("wants", f"The name of a paper has at most {LONGEST_PAPER} letters.")
        return told

    def part(self) -> Part:
        told = self.cleaned_data
        return Part(
            told["name"],
            told["clause"],
            told["share"] or 0,
            tuple(told["triggers"]),
            tuple(told["payer_triggers"]),
            amount_minor=told["amount_minor"],
            deposit=told["deposit"],
            payer_name=told["payer_name"],
            wants=tuple(dict.fromkeys(_lines(told["wants"]))),
        )


LONGEST_PAPER = 120


def _lines(text: str | None) -> list[str]:
    return [line.strip() for line in (text or "").splitlines() if line.strip()]


SPARE = 2  # rows beyond those of the plan


def part_forms(data: Any, parts: Sequence[Part]) -> list[PartForm]:
    """A row for each part of the plan shown and some more; what was posted is kept."""
    rows = []
    for place in range(len(parts) + SPARE):
        initial: dict[str, Any] = {}
        if place < len(parts):
            part = parts[place]
            initial = {
                "name": part.name,
                "share": part.share_millionths if part.amount_minor is None else None,
                "amount_minor": part.amount_minor,
                "deposit": part.deposit,
                "payer_name": part.payer_name,
                "wants": "\n".join(part.wants),
                "clause": part.clause,
                "triggers": part.triggers,
                "payer_triggers": part.payer_triggers,
            }
        rows.append(PartForm(data, prefix=f"part{place + 1}", initial=initial, spare=place >= len(parts)))
    return rows


class PayerForm(OfficeForm):
    name = forms.CharField(label="Name", max_length=160)
    kind = forms.ChoiceField(label="What it is", choices=[(k.value, k.label) for k in PayerKind if k != PayerKind.HOMEOWNER])
    email = forms.EmailField(label="E-mail of its desk", required=False)
    address = forms.CharField(label="Address on invoices", max_length=240, required=False)
    terms_days = forms.IntegerField(
        label="Pays within, days", required=False, min_value=0, max_value=365, help_text="Left empty: the house rule holds."
    )


class ChoosePayerForm(OfficeForm):
    q = forms.CharField(label="Payer, home or invoice number", max_length=80)


class PaymentForm(OfficeForm):
    amount_minor = MoneyField(label="Amount received", least_minor=1)
    received_on = DayField(label="Received on")
    reference = forms.CharField(label="Reference", max_length=120, required=False, help_text="What the bank or the check says.")
    method = forms.ChoiceField(label="How it came", choices=PaymentMethod.choices)
    difference = forms.CharField(
        label="What a difference is about",
        max_length=240,
        required=False,
        help_text="For several invoices in one: if one stays open, or something is left over.",
    )

    def __init__(self, data: Any = None, *, debts: Sequence[Debt], **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.parts = PartsForm(data, debts=debts)

    def is_valid(self) -> bool:
        own, parts = super().is_valid(), self.parts.is_valid()
        return own and parts


class PartsForm(OfficeForm):
    """For each debt of the payer: what was paid on it, what the lender kept as its fee, what tax it withheld, and what is given up."""

    reason = forms.CharField(label="Reason, if something is written off", max_length=240, required=False)

    KINDS = (
        ("paid", AllocationKind.PAYMENT),
        ("fee", AllocationKind.FEE),
        ("tax", AllocationKind.TAX),
        ("off", AllocationKind.WRITE_OFF),
    )

    def __init__(self, data: Any = None, *, debts: Sequence[Debt], money_only: bool = False, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.debts = list(debts)
        self.kinds = self.KINDS[:1] if money_only else self.KINDS
        for debt in self.debts:
            for word, kind in self.kinds:
                label = str(AllocationKind(kind).label).capitalize()
                self.fields[f"{word}_{debt.uid.hex}"] = MoneyField(label=label, required=False, least_minor=1)

    def clean(self) -> dict[str, Any]:
        told: dict[str, Any] = super().clean() or {}
        words = tuple(f"{word}_" for word, _ in self.KINDS)
        if any(name.startswith(words) and self.data[name].strip() and name not in self.fields for name in self.data):
            raise ValidationError("One of the invoices is no longer open; what was typed for it is not recorded. Look at the list again.")
        return told

    def portions(self) -> list[Portion]:
        told = self.cleaned_data
        return [
            Portion(debt, amount, kind.value, told["reason"] if kind == AllocationKind.WRITE_OFF else "")
            for debt in self.debts
            for word, kind in self.kinds
            if (amount := told.get(f"{word}_{debt.uid.hex}"))
        ]

    def rows(self) -> list[tuple[Debt, list[forms.BoundField]]]:
        return [(debt, [self[f"{word}_{debt.uid.hex}"] for word, _ in self.kinds]) for debt in self.debts]


class WriteOffForm(OfficeForm):
    amount_minor = MoneyField(label="Amount given up", least_minor=1)
    reason = forms.CharField(label="Reason", max_length=240)


class AnswerForm(OfficeForm):
    answer = forms.CharField(label="What was decided", max_length=400, widget=forms.Textarea(attrs={"rows": 3}))


class PeriodForm(OfficeForm):
    """The report's period is always said: without one it would not be known what it covers."""

    from_on = DayField(label="From")
    to_on = DayField(label="To")
    utility = forms.ChoiceField(label="Utility", required=False)

    def __init__(self, *args: Any, utilities: Sequence[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        cast(forms.ChoiceField, self.fields["utility"]).choices = [("", "all"), *utilities]

    def clean(self) -> dict[str, Any]:
        told: dict[str, Any] = super().clean() or {}
        if told.get("from_on") and told.get("to_on") and told["from_on"] > told["to_on"]:
            self.add_error("to_on", "The last day comes before the first. A later day is wanted.")
        return told


def parts_of(milestones: Sequence[Milestone]) -> list[Part]:
    """A plan on record as its form shows it."""
    return [
        Part(
            m.name,
            m.clause,
            m.share_millionths,
            tuple(m.triggers),
            tuple(m.payer_triggers),
            amount_minor=m.amount_minor + m.retained_minor if m.fixed else None,
            deposit=m.kind == MilestoneKind.DEPOSIT,
            payer_name=m.payer_name,
            wants=tuple(m.wants),
        )
        for m in milestones
        if m.kind in (MilestoneKind.PART, MilestoneKind.DEPOSIT)
    ]
