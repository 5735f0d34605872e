"""What a person says about a file beyond the file itself: kept with the import, and the same as a command's map. Pure.

{"owner": "Customer name",                       a column and its heading; "" leaves the column out
 "complete": "yes",                              a question of the kind and its answer
 "sheet": "Homes 2026", "heading_row": 4, "heading_lines": 2,
 "days": {"signed_on": "day"},                   the order of days in figures, by column
 "values": {"utility": {"Sable Fk Elec": "Sable Fork Electric Cooperative"}}}
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, cast

from jobs.core.sheets.cells import Place
from jobs.core.sheets.days import ORDERS, Order

RESERVED: Final = ("sheet", "heading_row", "heading_lines", "days", "values")


class ChoicesRefused(ValueError):
    """The map cannot be understood. The text is a sentence for the user."""


@dataclass(frozen=True, slots=True)
class Choices:
    columns: Mapping[str, str] = field(default_factory=dict)
    answers: Mapping[str, str] = field(default_factory=dict)
    place: Place = field(default_factory=Place)
    orders: Mapping[str, Order] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


def choices(told: Mapping[str, Any], *, columns: Collection[str], questions: Collection[str]) -> Choices:
    """columns, questions: the names that this kind has. Raises ChoicesRefused."""
    known = {*columns, *questions}
    if unknown := set(told) - known - set(RESERVED):
        raise ChoicesRefused(f"The map names {', '.join(sorted(unknown))}; {', '.join(sorted(known))} are the columns.")
    plain = {name: value for name, value in told.items() if name in known}
    if wrong := [name for name, value in plain.items() if not isinstance(value, str)]:
        raise ChoicesRefused(f"The map gives {wrong[0]} no text: a heading, or an answer, is wanted.")
    row, lines = told.get("heading_row") or 0, told.get("heading_lines") or 0
    if not (isinstance(row, int) and isinstance(lines, int) and 0 <= row <= 1_048_576 and lines in (0, 1, 2)):
        raise ChoicesRefused("The row of the headings is a number from 1 on, and they span one row or two.")
    orders, values = told.get("days") or {}, told.get("values") or {}
    if not isinstance(orders, dict) or not all(name in columns and order in ORDERS for name, order in orders.items()):
        raise ChoicesRefused('The map gives “days” by column, as “month” or “day” for what stands first: {"signed_on": "day"}.')
    if not isinstance(values, dict) or not all(
        name in columns and isinstance(meant, dict) and all(isinstance(one, str) for one in (*meant, *meant.values()))
        for name, meant in values.items()
    ):
        raise ChoicesRefused('The map gives “values” by column, as written and as meant: {"utility": {"Sable Fk": "Sable Fork Electric"}}.')
    return Choices(
        columns={name: value for name, value in plain.items() if name in columns},
        answers={name: value for name, value in plain.items() if name in questions},
        place=Place(str(told.get("sheet") or ""), row, lines),
        orders=cast(Mapping[str, Order], orders),
        values=values,
    )
