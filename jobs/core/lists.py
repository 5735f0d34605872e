"""What every list page stands on: how its rows are narrowed and sorted, its heads, its pages, and the same rows as a file."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import django_filters
from django.core.paginator import Page
from django.db.models import F, QuerySet
from django.db.models.expressions import OrderBy
from django.http import Http404, HttpRequest, HttpResponseBase, HttpResponseRedirect, QueryDict
from django.urls import reverse

from jobs.core import csvout, words
from jobs.core.forms import DayField
from jobs.core.paging import Paging
from jobs.core.refusals import Refused
from jobs.core.web import download

CSV = "text/csv; charset=utf-8"
COLUMN = "column"  # in the address of a file, once for each column that is wanted
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

# Order


@dataclass(frozen=True)
class Sort:
    """One way to sort, said in words in its column's head."""

    key: str  # in the address; with a "-" before it the other way round
    words: str
    by: tuple[str | OrderBy, ...]
    of: str = ""  # the column that says it, where the key does not name it

    @property
    def column(self) -> str:
        return self.of or self.key.removeprefix("-")

    @property
    def direction(self) -> str:
        """As aria-sort says it."""
        return "other" if self.of else "descending" if self.key.startswith("-") else "ascending"


Sorts = Mapping[str, Sort]


def sorts(*ways: Sort) -> Sorts:
    """The first is the order of a list that nobody has sorted."""
    return {way.key: way for way in ways}


def sort_of(given: Mapping[str, Any], ways: Sorts) -> Sort:
    return ways.get(str(given.get("sort", "")), next(iter(ways.values())))


def empty_last(name: str) -> OrderBy:
    """Rows with nothing in the column come last either way. Where every row has something, the plain name leaves its index usable."""
    field = F(name.removeprefix("-"))
    return field.desc(nulls_last=True) if name.startswith("-") else field.asc(nulls_last=True)


# Filter


class DayFilter(django_filters.Filter):  # type: ignore[misc]  # the library has no types
    field_class = DayField


class ListFilter(django_filters.FilterSet):  # type: ignore[misc]
    """What an address narrows a list by. Page, file and command take `rows` alike."""

    sorts: ClassVar[Sorts]

    @property
    def refused(self) -> bool:
        """Whether a word of it cannot be read."""
        return bool(self.form.is_bound and not self.form.is_valid())

    @property
    def told(self) -> dict[str, Any]:
        return self.form.cleaned_data if self.form.is_bound and self.form.is_valid() else {}

    @property
    def sort(self) -> Sort:
        return sort_of(self.data, self.sorts)

    @property
    def rows(self) -> Any:
        """The rows in the order said; nothing where a word of the filter cannot be read."""
        found = self.queryset.none() if self.refused else self.qs
        return self.sortable(found).order_by(*self.sort.by)

    def refuse_unread(self) -> None:
        """For a command, which has no page to say it on."""
        for name, sentences in self.form.errors.items():
            raise Refused(f"{name}: {sentences[0]}", field=name)

    def sortable(self, rows: Any) -> Any:
        """The rows with what the order looks at, where the rows have it not themselves."""
        return rows


def as_query(given: Mapping[str, Any]) -> QueryDict:
    """A copy that can be written to; of a command's plain names and values as of an address."""
    if isinstance(given, QueryDict):
        return given.copy()
    data = QueryDict(mutable=True)
    data.update({name: str(value) for name, value in given.items()})
    return data


def query(given: QueryDict, *without: str) -> str:
    """The filter as a query string, for links."""
    data = given.copy()
    for name in without:
        data.pop(name, None)
    return data.urlencode()


def between(first: dt.date | None, last: dt.date | None) -> str:
    """ "3 June 2026 or later"; nothing where neither day is said."""
    if first and last:
        return f"{words.day(first)} to {words.day(last)}"
    if first:
        return f"{words.day(first)} or later"
    return f"{words.day(last)} or earlier" if last else ""


# Page


@dataclass(frozen=True)
class Head:
    """A column's head; a sorted one says in words how."""

    words: str
    url: str = ""
    sort: str = ""  # as aria-sort says it: ascending, descending, other
    kind: str = ""  # m, num, act


Column = tuple[str, str, str]  # words, the key it sorts by or "", its kind


def heads(given: QueryDict, sort: Sort, columns: Sequence[Column]) -> list[Head]:
    return [_head(given, sort, words, key, kind) for words, key, kind in columns]


def _head(given: QueryDict, sort: Sort, words: str, key: str, kind: str) -> Head:
    if not key:
        return Head(words, kind=kind)
    data = given.copy()
    data.pop("page", None)
    data["sort"] = f"-{key}" if sort.key == key else key
    url = f"?{data.urlencode()}"
    return Head(sort.words, url, sort.direction, kind) if sort.column == key else Head(words, url, kind=kind)


def page_of(given: QueryDict, rows: QuerySet[Any]) -> dict[str, Any]:
    """For the template of a list without heads that sort: its page and the filter for links to its other pages."""
    return {"page": Paging(rows).get_page(given.get("page")), "query": query(given, "page")}


def sheet_of(given: QueryDict, rows: QuerySet[Any], *, sort: Sort, columns: Sequence[Column], keep: Sequence[str] = ()) -> dict[str, Any]:
    """For the template of a list: its page, its heads, and what its form hands on unseen (`keep`, and the order)."""
    kept = [(name, given[name]) for name in (*keep, "sort") if given.get(name)]
    return page_of(given, rows) | {"heads": heads(given, sort, columns), "kept": kept}


def totals_told(page: Page[Any], given: QueryDict, *narrowed_by: str) -> bool:
    """Whether a list says its sums: of very many rows only where it is narrowed by one of these."""
    assert isinstance(page.paginator, Paging)
    return not page.paginator.many or any(given.get(name) for name in narrowed_by)


# File


def table_file(
    name: str,
    ending: str,
    headings: Sequence[str],
    rows: Iterable[Sequence[object]],
    *,
    title: str = "",
    given: QueryDict | None = None,
) -> HttpResponseBase:
    """A table as CSV or XLSX, to be saved. title: the workbook's sheet; given: the address's query, which may name columns (`COLUMN`)."""
    try:
        headings, rows = csvout.chosen(headings, rows, given.getlist(COLUMN) if given else ())
        if ending == "csv":
            return download(csvout.marked(csvout.write_csv(headings, rows)), f"{name}.csv", CSV)
        if ending == "xlsx":
            return download(csvout.xlsx_file(headings, rows, title=title or name.capitalize()), f"{name}.xlsx", XLSX)
    except ValueError as fault:
        raise Http404(str(fault)) from fault
    raise Http404(f"There are {name}.csv and {name}.xlsx.")


def back_to_the_list(request: HttpRequest, name: str) -> HttpResponseRedirect:
    """The list says what is wrong with its filter; a file could not."""
    return HttpResponseRedirect(f"{reverse(name)}?{request.GET.urlencode()}")
