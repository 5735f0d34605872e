"""Who may open and press what of the imports. Finance brings in payments, managers and schedulers the rest."""

from __future__ import annotations

from typing import Any

from jobs.core import actors, importing
from jobs.core.csvout import write_csv
from jobs.core.models import User
from tests.make import SYSTEM
from tests.pages.addresses import F, M, Row, S, roles

WHO = roles(M, S, F)


def _run(user: User | None) -> dict[str, Any]:
    """A file of a kind that this person may bring in, their own; of the others, a list of homes. One row, with all its cells wrong."""
    by = actors.person(user) if user is not None else SYSTEM
    kinds = importing.kinds_for(by)
    if not kinds:
        by, kinds = SYSTEM, [importing.kind_named("jobs")]
    columns = [column for column in kinds[0].columns if not column.right or by.may(column.right)]
    data = "".join(write_csv([column.label for column in columns], [["?!" for _ in columns]])).encode()
    answers = {question.name: next(iter(question.choices)) for question in kinds[0].questions}
    return {"uid": importing.prepare(kinds[0].name, name="rows.csv", data=data, columns=answers, by=by).uid}


ROWS = {
    "imports": Row(WHO, WHO),
    "import_run": Row(WHO, None, _run),
    "import_columns": Row(None, WHO, _run),
    "import_apply": Row(None, WHO, _run),
    "import_drop": Row(None, WHO, _run),
    "import_take_back": Row(WHO, WHO, _run),
    "import_progress": Row(WHO, None, _run),
    "import_errors": Row(WHO, None, _run),
    "import_errors_xlsx": Row(WHO, None, _run),
}
