"""The papers that expire as a list: its filter, its order, and its rows for the files."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Any

import django_filters
from django.db.models import Q, QuerySet

from jobs.core import clock, codes
from jobs.core.forms import OfficeForm
from jobs.core.lists import DayFilter, ListFilter, Sort, sorts
from jobs.core.models import ExpiringPaper, PaperKind, Party, User
from utilities import paperlines

HEADINGS = (
    "job", "home", "paper", "number", "authority", "issued_on", "expires_on", "renew_by", "who", "renewing", "chance_collar_is_in_by_then",
)  # fmt: skip
_CHUNK = 500

PAPER_SORTS = sorts(
    Sort("until", "Holds until, soonest first", ("expires_on", "pk")),
    Sort("-until", "Holds until, latest first", ("-expires_on", "pk")),
    Sort("kind", "Paper, by kind", ("kind", "expires_on", "pk")),
    Sort("-kind", "Paper, by kind backward", ("-kind", "expires_on", "pk")),
)
COLLAR = [("before", "runs out before the collar is likely"), ("deadlock", "authority and utility wait for each other")]


class PaperFilter(ListFilter):
    sorts = PAPER_SORTS

    kind = django_filters.ChoiceFilter(label="Paper", choices=PaperKind.choices, empty_label="any")
    owner = django_filters.ModelChoiceFilter(
        label="Who renews it", queryset=User.objects.order_by("name"), to_field_name="uid", empty_label="anybody"
    )
    until_from = DayFilter(label="Holds until, from", field_name="expires_on", lookup_expr="gte")
    until_to = DayFilter(label="to", field_name="expires_on", lookup_expr="lte")
    collar = django_filters.ChoiceFilter(label="The collar", choices=COLLAR, method="by_collar", empty_label="any")
    text = django_filters.CharFilter(label="Name, street, job or number", method="by_text")

    class Meta:
        model = ExpiringPaper
        fields: list[str] = []
        form = OfficeForm

    def by_collar(self, rows: Any, name: str, value: str) -> Any:
        return paperlines.before_the_collar(rows) if value == "before" else paperlines.each_waits(rows)

    def by_text(self, rows: Any, name: str, value: str) -> Any:
        typed = value.strip()
        return rows.filter(
            Q(job__code=codes.normal(value))
            | Q(number__icontains=typed)
            | Q(job__site__street__icontains=typed)
            | Q(job__in=Party.objects.filter(person__name__icontains=typed).values("job"))
        )


def lines(found: QuerySet[ExpiringPaper]) -> Iterator[Sequence[object]]:
    today = clock.office_today()
    rows = paperlines.with_parts(found).iterator(chunk_size=_CHUNK)
    while chunk := list(islice(rows, _CHUNK)):
        for line in paperlines.lines(chunk, today=today):
            yield _cells(line)


def _cells(line: paperlines.Line) -> Sequence[object]:
    paper = line.paper
    return (
        paper.job.code, paper.job.site.line, paper.get_kind_display(), paper.number, paper.authority.name if paper.authority else "",
        paper.issued_on, paper.expires_on, line.act_by, paper.owner.name if paper.owner else "", paper.renewing,
        "" if line.in_time is None else round(line.in_time, 3),
    )  # fmt: skip
