"""Lists of homes for tests, as a contractor's spreadsheet has them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from jobs.core import importing
from jobs.core.csvout import write_csv
from jobs.core.importing import Looked
from jobs.core.models import ImportRun
from utilities.models import Utility

HOMES = Path(__file__).parent / "data" / "homes.csv"  # 20 homes: 3 rows to correct, 8 homes mid-wait and partly paid
# What is wrong in it, and what is right.
MENDED = (("Otermere", "Ottermere"), ("9 Apr 2026", "9 Mar 2026"), ("4 Mar 2026,portal", "4 Jun 2026,portal"), ("80 %,30 %", "80 %,20 %"))
OTTERMERE = "Ottermere Municipal Light"


def utilities() -> dict[str, Utility]:
    names = (OTTERMERE, "Sable Fork Electric Cooperative")
    return {name: Utility.objects.get_or_create(name=name, defaults={"zone": "America/Denver"})[0] for name in names}


def home(n: int, **cells: Any) -> dict[str, Any]:
    """A row that is in order by itself."""
    return {
        "Job number": f"LL-{n}",
        "Owner": f"Owner {n}",
        "Street": f"{n} Larch Terrace",
        "City": "Ottermere",
        "State": "CO",
        **{heading.replace("_", " "): value for heading, value in cells.items()},
    }


def half_done(n: int, **cells: Any) -> dict[str, Any]:
    """A home that waits for its utility, four fifths billed and half of that paid."""
    done = {
        "Utility": OTTERMERE,
        "Contract signed": "2 Mar 2026",
        "Contract amount": "$40,000.00",
        "First milestone share": "80 %",
        "Final milestone share": "20 %",
        "Commissioned on": "4 May 2026",
        "CT check consistent on": "4 May 2026",
        "Collar serial": f"LC-{n:06d}",
        "Staged on": "4 May 2026",
        "Place": "left of the meter",
        "Sheet given on": "4 May 2026",
        "Request sent on": "3 Jun 2026",
        "Route": "portal",
        "First milestone earned on": "4 May 2026",
        "First milestone invoice": f"A-{n}",
        "First milestone invoiced": "$32,000.00",
        "First milestone paid": "$16,000.00",
    }
    return home(n) | done | {heading.replace("_", " "): value for heading, value in cells.items()}


def sheet(*rows: dict[str, Any]) -> bytes:
    headings = list(dict.fromkeys(heading for row in rows for heading in row))
    return "".join(write_csv(headings, [[row.get(heading, "") for heading in headings] for row in rows])).encode()


def bring_in(data: bytes, *, by: Any, kind: str = "jobs", good_rows_only: bool = False) -> ImportRun:
    run = importing.prepare(kind, name="homes.csv", data=data, columns={}, by=by)
    return importing.apply(run, good_rows_only=good_rows_only, by=by)


def looked(data: bytes, *, by: Any, kind: str = "jobs") -> Looked:
    return importing.look_at(kind, name="homes.csv", data=data, columns={}, by=by)


def sentences(data: bytes, *, by: Any) -> list[str]:
    """What is wrong, each as the page says it."""
    return [str(error) for error in looked(data, by=by).errors]
