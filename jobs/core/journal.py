"""What a piece of work writes, kept so that it can be taken back: which records it made, and what others were before.

    with journal.kept() as written:
        ...                     # any code that saves records
    written.entries()           # plain data, to be stored in the same transaction

It listens to every `save`. What is written past that (`bulk_create`, `update`, `delete`) is either told by the code that does it
(`wrote`), or noticed by its SQL and named, and then the work cannot be taken back.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any, Final

from django.apps import apps
from django.core.serializers.json import DjangoJSONEncoder
from django.db import connection, models
from django.db.models.signals import post_save, pre_delete, pre_save

# Marks of the work itself, not of what it was about.
_OURS: Final = frozenset(
    {"core.Trace", "core.ImportRun", "core.ImportChunk", "core.ImportRefusal", "core.IdempotencyKey", "core.StoredFile", "core.Heartbeat"}
)
_WRITES: Final = re.compile(r'\s*(INSERT INTO|UPDATE|DELETE FROM)\s+"([^"]+)"', re.IGNORECASE)

# By model the columns that are derived from others, or that a nightly rule changes: they tell of no further work.
_DERIVED_COLUMNS: Final[dict[str, frozenset[str]]] = {
    "core.Job": frozenset({"state", "state_since", "waiting_on", "waiting_since", "next_act", "next_role", "next_due_on"}),
    "utilities.FitRequest": frozenset({"changed_at"}),
}

Key = tuple[str, int]  # label of the model, and primary key
Row = dict[str, Any]

_current: ContextVar[Journal | None] = ContextVar("journal", default=None)


@dataclass
class Journal:
    made: dict[Key, None] = field(default_factory=dict)  # in the order in which they were made
    before: dict[Key, Row] = field(default_factory=dict)
    saves: Counter[tuple[str, str]] = field(default_factory=Counter)
    statements: Counter[tuple[str, str]] = field(default_factory=Counter)

    def entries(self) -> list[dict[str, Any]]:
        """One for each record that was made or changed, as it is now."""
        keys = defaultdict(list)
        for label, pk in (*self.made, *self.before):
            keys[label].append(pk)
        now = {label: rows(label, pks) for label, pks in keys.items()}
        entries = []
        for key in (*self.made, *self.before):
            label, pk = key
            if (row := now[label].get(pk)) is None:
                continue  # undone with the row of the file that made it
            entry: dict[str, Any] = {"model": label, "pk": pk, "digest": digest(label, row)}
            if key in self.before:
                was = self.before[key]
                entry["was"] = {name: value for name, value in was.items() if value != row[name]}
                entry["became"] = {name: row[name] for name in entry["was"]}
                if not entry["was"]:
                    continue
            entries.append(entry)
        return entries

    def beyond(self) -> list[str]:
        """Tables that were written in a way of which nothing is known."""
        ours = {apps.get_model(label)._meta.db_table for label in _OURS}
        return sorted({table for (verb, table), times in self.statements.items() if table not in ours and times > self.saves[verb, table]})

    def _sql(self, execute: Any, sql: str, params: Any, many: bool, context: Mapping[str, Any]) -> Any:
        answer = execute(sql, params, many, context)
        if (found := _WRITES.match(sql)) and context["cursor"].rowcount != 0:
            self.statements[found[1].upper().split()[0], found[2]] += 1
        return answer


@contextmanager
def kept() -> Iterator[Journal]:
    journal = Journal()
    token = _current.set(journal)
    try:
        with connection.execute_wrapper(journal._sql):
            yield journal
    finally:
        _current.reset(token)


def wrote(made: Iterable[models.Model]) -> None:
    """Told by code that makes records in bulk, which no signal tells: one statement."""
    if (journal := _current.get()) is None:
        return
    for thing in made:
        journal.made[thing._meta.label, thing.pk] = None
        journal.saves["INSERT", thing._meta.db_table] = journal.statements["INSERT", thing._meta.db_table]


def _before_save(sender: type[models.Model], instance: models.Model, **_: Any) -> None:
    journal = _current.get()
    if journal is None or sender._meta.label in _OURS or instance._state.adding:
        return
    key = (sender._meta.label, instance.pk)
    if key not in journal.made and key not in journal.before:
        before = rows(sender._meta.label, [instance.pk])
        journal.before |= {(sender._meta.label, pk): row for pk, row in before.items()}


def _after_save(sender: type[models.Model], instance: models.Model, created: bool, **_: Any) -> None:
    journal = _current.get()
    if journal is None or sender._meta.label in _OURS:
        return
    journal.saves["INSERT" if created else "UPDATE", sender._meta.db_table] += 1
    if created:
        journal.made[sender._meta.label, instance.pk] = None


def _before_delete(sender: type[models.Model], **_: Any) -> None:
    if (journal := _current.get()) is not None:
        journal.statements["DELETE", sender._meta.db_table] += 1


def listen() -> None:
    pre_save.connect(_before_save, dispatch_uid="journal.before_save")
    post_save.connect(_after_save, dispatch_uid="journal.after_save")
    pre_delete.connect(_before_delete, dispatch_uid="journal.before_delete")


def rows(label: str, pks: Iterable[int]) -> dict[int, Row]:
    """By key the records as plain values, as JSON gives them back."""
    model = apps.get_model(label)
    names = [column.attname for column in model._meta.concrete_fields]
    found: dict[int, Row] = {}
    wanted = sorted(set(pks))
    for start in range(0, len(wanted), 500):
        for row in model._base_manager.filter(pk__in=wanted[start : start + 500]).values(*names):
            found[row[model._meta.pk.attname]] = json.loads(json.dumps(row, cls=_Plain))
    return found


def derived_columns(label: str) -> frozenset[str]:
    return _DERIVED_COLUMNS.get(label, frozenset())


def digest(label: str, row: Row) -> str:
    """What tells whether a record was changed since, apart from columns that change by themselves."""
    lasting = {name: value for name, value in row.items() if name not in derived_columns(label)}
    return hashlib.sha256(json.dumps(lasting, sort_keys=True).encode()).hexdigest()[:24]


class _Plain(DjangoJSONEncoder):
    def default(self, o: Any) -> Any:
        if isinstance(o, dt.datetime):
            return o.isoformat()  # Django's own cuts the microseconds off
        return bytes(o).hex() if isinstance(o, bytes | memoryview) else super().default(o)
