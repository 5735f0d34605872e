"""The collars as a list: its filter, its order, and its rows for page and files."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

import django_filters
from django.db.models import Q, QuerySet

from jobs.core import clock, codes
from jobs.core.forms import OfficeForm
from jobs.core.lists import ListFilter, Sort, empty_last, sorts
from jobs.core.models import Collar, Place
from jobs.core.models.custody import CollarQuerySet

HEADINGS = (
    "serial", "revision", "place", "where", "since", "days_there", "job", "home", "received_on", "order_number", "barred_on", "barred_why",
)  # fmt: skip
_CHUNK = 500

COLLAR_SORTS = sorts(
    Sort("since", "Since, longest there first", (empty_last("place_since"), "serial")),
    Sort("-since", "Since, newest there first", (empty_last("-place_since"), "serial")),
    Sort("serial", "Serial", ("serial",)),
    Sort("-serial", "Serial, backward", ("-serial",)),
    Sort("revision", "Revision", ("revision", "serial")),
    Sort("-revision", "Revision, backward", ("-revision", "serial")),
    Sort("place", "Where", ("place", "place_since", "serial")),
    Sort("-place", "Where, backward", ("-place", "place_since", "serial")),
)


class CollarFilter(ListFilter):
    sorts = COLLAR_SORTS

    place = django_filters.ChoiceFilter(label="Where", choices=Place.choices, empty_label="anywhere")
    revision = django_filters.CharFilter(label="Revision", lookup_expr="iexact")
    only = django_filters.ChoiceFilter(
        label="Which",
        choices=[("barred", "barred"), ("fetch", "of cancelled homes, to fetch back"), ("free", "of no home")],
        method="by_only",
        empty_label="all",
    )
    text = django_filters.CharFilter(label="Serial, job or street", method="by_text")

    class Meta:
        model = Collar
        fields: list[str] = []
        form = OfficeForm

    def by_only(self, rows: CollarQuerySet, name: str, value: str) -> CollarQuerySet:
        if value == "barred":
            return rows.filter(barred_on__isnull=False)
        if value == "fetch":
            return rows.filter(job__state="cancelled", place=Place.SITE)
        return rows.filter(job__isnull=True)

    def by_text(self, rows: CollarQuerySet, name: str, value: str) -> CollarQuerySet:
        typed = value.strip()
        return rows.filter(Q(serial__icontains=typed.upper()) | Q(job__code=codes.normal(value)) | Q(job__site__street__icontains=typed))


def with_parts(rows: QuerySet[Collar]) -> QuerySet[Collar]:
    return rows.select_related("job__site").prefetch_related("job__parties__person")


def days_there(collar: Collar, *, today: dt.date) -> int | None:
    return (today - collar.place_since).days if collar.place_since else None


def lines(found: QuerySet[Collar]) -> Iterator[Sequence[object]]:
    today = clock.office_today()
    for one in with_parts(found).iterator(chunk_size=_CHUNK):
        yield (
            one.serial, one.revision, one.get_place_display(), one.where, one.place_since, days_there(one, today=today),
            one.job.code if one.job else "", one.job.site.line if one.job else "", one.received_on, one.order_number, one.barred_on,
            one.barred_why,
        )  # fmt: skip
