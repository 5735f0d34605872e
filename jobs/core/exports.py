"""What an app gives out as a table. Each app's exports.py holds EXPORTS, a tuple of these; `manage.py export` gathers them.

    EXPORTS = (Export("payments", "Payments", ("received_on", "payer", "amount"), payments, filters=("from", "to")),)

Files hold days as 2026-06-03 and money as a Decimal; jobs.core.csvout writes both kinds of file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Export:
    """One kind of table. `rows` takes the filters given, name to text; it raises Refused for one that it cannot read."""

    name: str
    title: str
    headings: tuple[str, ...]
    rows: Callable[[Mapping[str, str]], Iterable[Sequence[object]]]
    filters: tuple[str, ...] = ()
