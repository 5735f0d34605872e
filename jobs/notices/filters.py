"""Which messages a list shows, and in what order: the same for page and export."""

from __future__ import annotations

import django_filters

from jobs.core.forms import OfficeForm
from jobs.core.lists import ListFilter, Sort, empty_last, sorts
from jobs.notices import kinds
from jobs.notices.models import Channel, Message, State

SORTS = sorts(
    Sort("-created", "Owed, newest first", ("-created_at", "-pk")),
    Sort("created", "Owed, oldest first", ("created_at", "-pk")),
    Sort("to", "To, by name", ("to_name", "-pk")),
    Sort("-to", "To, by name backward", ("-to_name", "-pk")),
    Sort("kind", "Message, by kind", ("kind", "-pk")),
    Sort("-kind", "Message, by kind backward", ("-kind", "-pk")),
    Sort("sent", "Left, oldest first", (empty_last("sent_at"), "-pk")),
    Sort("-sent", "Left, newest first", (empty_last("-sent_at"), "-pk")),
)


def _kind_choices() -> list[tuple[str, str]]:
    return [(kind.name, kind.words) for kind in kinds.all_kinds()]


class MessageFilter(ListFilter):
    sorts = SORTS

    state = django_filters.ChoiceFilter(label="State", choices=State.choices, empty_label="all")
    kind = django_filters.ChoiceFilter(label="Message", choices=_kind_choices, empty_label="all")
    channel = django_filters.ChoiceFilter(label="By", choices=Channel.choices, empty_label="all")
    job = django_filters.CharFilter(label="Job", field_name="job__code", lookup_expr="iexact")

    class Meta:
        model = Message
        fields: list[str] = []
        form = OfficeForm

    @property
    def in_words(self) -> str:
        """What is shown, for the heading: "Messages that failed, job KQ7M4E"."""
        told = self.told
        parts = ["Messages"]
        if told.get("state"):
            parts = [f"Messages, {State(told['state']).label}"]
        if told.get("kind"):
            parts.append(kinds.of(told["kind"]).words)
        if told.get("channel"):
            parts.append(f"by {Channel(told['channel']).label}")
        if told.get("job"):
            parts.append(f"job {told['job'].upper()}")
        return ", ".join(parts)
