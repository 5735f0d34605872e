"""All that the database holds, to show that nothing changed."""

from __future__ import annotations

import functools
from typing import Any

from django.apps import apps
from django.db import connection

OURS = ("core", "notices", "utilities", "billing", "appointments")


def snapshot() -> dict[str, list[tuple[object, ...]]]:
    """The columns as they lie there, read without making models of them: it is taken before and after every act."""
    with connection.cursor() as cursor:
        return {label: _rows(cursor, table) for label, table in _tables()}


@functools.cache
def _tables() -> list[tuple[str, str]]:
    models = [model for app in OURS for model in apps.get_app_config(app).get_models(include_auto_created=True)]
    return [(model._meta.label, connection.ops.quote_name(model._meta.db_table)) for model in models]


def _rows(cursor: Any, table: str) -> list[tuple[object, ...]]:
    cursor.execute(f"SELECT * FROM {table}")  # noqa: S608 - a model's own name
    return sorted((tuple(map(_plain, row)) for row in cursor.fetchall()), key=repr)


def _plain(value: object) -> object:
    return bytes(value) if isinstance(value, memoryview) else value
