"""The kind of import `jobs`: a list of homes, new, changed or already half done."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from jobs.core import importing, words
from jobs.core.actors import Actor
from jobs.core.sheets import Applied, CheckedRow, Column, Objection, Preview, Question
from jobs.pages import homechecks, homewrites
from jobs.pages.homecolumns import COLUMNS
from jobs.pages.homeplan import plan
from jobs.pages.homerecords import Records


class Homes:
    """One row a home: by the contractor's own number, else by address and owner."""

    name = "jobs"
    words = "Homes, new or half done"
    right = "core.add_jobs"
    columns: Sequence[Column] = COLUMNS
    questions: Sequence[Question] = ()

    def check_all(self, rows: Sequence[CheckedRow]) -> Iterable[Objection]:
        return homechecks.objections(rows)

    def preview(self, rows: Sequence[CheckedRow]) -> Preview:
        records = Records([row.values for row in rows])
        planned = [plan(row.values, records) for row in rows]
        new = sum(one.new for one in planned)
        changed = sum(one.changes and not one.new for one in planned)
        openings = sum(len(one.openings) for one in planned)
        # Facts by import owe no message and draft no invoice, whatever they say (`Actor.quiet`).
        balances = "opening balance" if openings == 1 else "opening balances"
        follows = f"0 messages will be sent, 0 invoices drafted, {words.number(openings)} {balances}"
        return Preview(new, changed, len(planned) - new - changed, (follows,))

    def hold(self, rows: Sequence[CheckedRow]) -> None:
        homewrites.lock([row.values for row in rows])

    def apply_row(self, row: CheckedRow, by: Actor) -> Applied:
        return homewrites.write(row.values, by=by)


def register() -> None:
    importing.register(Homes())
