"""What the pages of lists share: heads that sort, the filter as a query, files, days of a calendar in stretches."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.http import Http404, HttpResponse, HttpResponseBase, QueryDict, StreamingHttpResponse

from jobs.core import csvout
from utilities.filters import Sort
from utilities.models import Closure


@dataclass(frozen=True)
class Head:
    """A column's head; a sorted one says in words how."""

    words: str
    url: str = ""
    sort: str = ""  # ascending, descending
    kind: str = ""  # m, num, act


def heads(given: QueryDict, sort: Sort, columns: Sequence[tuple[str, str, str]]) -> list[Head]:
    """columns: words, the key it sorts by or "", its kind."""
    return [_head(given, sort, words, key, kind) for words, key, kind in columns]


def _head(given: QueryDict, sort: Sort, words: str, key: str, kind: str) -> Head:
    if not key:
        return Head(words, kind=kind)
    data = given.copy()
    data.pop("page", None)
    data["sort"] = f"-{key}" if sort.key == key else key
    url = f"?{data.urlencode()}"
    if sort.key.removeprefix("-") != key:
        return Head(words, url, kind=kind)
    return Head(sort.words, url, "descending" if sort.key.startswith("-") else "ascending", kind)


def query(given: QueryDict, *without: str) -> str:
    data = given.copy()
    for name in without:
        data.pop(name, None)
    return data.urlencode()


def file_of(name: str, ending: str, headings: Sequence[str], rows: Iterable[Sequence[object]]) -> HttpResponseBase:
    """A table as CSV or XLSX, to be saved."""
    response: HttpResponseBase
    if ending == "csv":
        response = StreamingHttpResponse(_marked(csvout.write_csv(headings, rows)), content_type="text/csv; charset=utf-8")
    elif ending == "xlsx":
        book = csvout.write_xlsx(headings, rows, title=name.capitalize())
        response = HttpResponse(book, content_type="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet")
    else:
        raise Http404(f"There are {name}.csv and {name}.xlsx.")
    response.headers["Content-Disposition"] = f'attachment; filename="{name}.{ending}"'
    return response


def _marked(told: Iterable[str]) -> Iterator[str]:
    yield "\ufeff"  # tells a spreadsheet that the file is UTF-8
    yield from told


@dataclass(frozen=True)
class Stretch:
    """Days in a row of one kind."""

    first: dt.date
    last: dt.date
    kind: str


def stretches(closures: Iterable[Closure]) -> list[Stretch]:
    """Single days to stretches, in order."""
    found: list[Stretch] = []
    for closure in sorted(closures, key=lambda row: row.day):
        kind = closure.get_kind_display()
        if found and found[-1].kind == kind and closure.day - found[-1].last == dt.timedelta(days=1):
            found[-1] = Stretch(found[-1].first, closure.day, kind)
        else:
            found.append(Stretch(closure.day, closure.day, kind))
    return found
