"""Pages of a long list: numbered up to 10,000 rows, beyond that only forward and back, because an exact count costs too much."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any

from django.core.paginator import Page, Paginator

MOST = 10_000
PER_PAGE = 50
LAST = 10**9  # no list has such a page, and no database a greater offset


class Paging(Paginator):  # type: ignore[type-arg]  # not at run time: Django's class takes no type
    """`many` tells that there are more rows than are counted."""

    def __init__(self, rows: Any) -> None:
        super().__init__(rows, PER_PAGE)

    @cached_property
    def count(self) -> int:
        counted: int = self.object_list.order_by()[: MOST + 1].count()  # type: ignore[attr-defined]  # of a queryset
        return counted

    @property
    def many(self) -> bool:
        return self.count > MOST

    @property
    def counted(self) -> str:
        """How many there are, for the margin: "412", or "10,000+" where they are not counted."""
        return f"{MOST:,}+" if self.many else f"{self.count:,}"

    def get_page(self, number: Any) -> Page[Any]:
        """The page of this number; the nearest there is, where there is none."""
        if not self.many:
            return super().get_page(number)
        wanted = min(max(1, int(number)), LAST) if str(number or "").isdecimal() else 1
        bottom = (wanted - 1) * self.per_page
        rows = list(self.object_list[bottom : bottom + self.per_page + 1])
        return UncountedPage(rows, wanted, self)


class UncountedPage(Page):  # type: ignore[type-arg]
    """One row more was read than is shown: it tells whether there is a next page."""

    def __init__(self, rows: Sequence[Any], number: int, paginator: Paging) -> None:
        super().__init__(rows[: paginator.per_page], number, paginator)
        self._more = len(rows) > paginator.per_page

    def has_next(self) -> bool:
        return self._more

    def next_page_number(self) -> int:
        return self.number + 1

    def previous_page_number(self) -> int:
        return self.number - 1
