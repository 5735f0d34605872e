"""Which messages a list shows, and in what order: the same for page and export."""

from __future__ import annotations

from typing import Any

import django_filters

from jobs.core.forms import OfficeForm
from jobs.notices import kinds
from jobs.notices.models import Message, State

# What the address says, the column, and how its heading reads when the list is sorted by it.
SORTS = {
    "-created": ("-created_at", "Owed, newest first"),
    "created": ("created_at", "Owed, oldest first"),
    "to": ("to_name", "To, by name"),
    "kind": ("kind", "Message, by kind"),
    "-sent": ("-sent_at", "Left, newest first"),
    "sent": ("sent_at", "Left, oldest first"),
}
DEFAULT_SORT = "-created"


def _kind_choices() -> list[tuple[str, str]]:
    return [(kind.name, kind.words) for kind in kinds.all_kinds()]


class MessageFilter(django_filters.FilterSet):  # type: ignore[misc]
    state = django_filters.ChoiceFilter(label="State", choices=State.choices, empty_label="all")
    kind = django_filters.ChoiceFilter(label="Message", choices=_kind_choices, empty_label="all")
    job = django_filters.CharFilter(label="Job", field_name="job__code", lookup_expr="iexact")
    sort = django_filters.ChoiceFilter(
        label="Order",
        choices=[(name, words) for name, (_, words) in SORTS.items()],
        empty_label=None,
        method="sorted",
        initial=DEFAULT_SORT,
    )

    class Meta:
        model = Message
        fields: list[str] = []
        form = OfficeForm

    def sorted(self, rows: Any, name: str, value: str) -> Any:
        return rows.order_by(SORTS[value][0], "-pk")

    @property
    def in_words(self) -> str:
        """What is shown, for the heading: "Messages that failed, job KQ7M4E"."""
        told = self.form.cleaned_data if self.form.is_bound and self.form.is_valid() else {}
        parts = ["Messages"]
        if told.get("state"):
            parts = [f"Messages, {State(told['state']).label}"]
        if told.get("kind"):
            parts.append(kinds.of(told["kind"]).words)
        if told.get("job"):
            parts.append(f"job {told['job'].upper()}")
        return ", ".join(parts)
