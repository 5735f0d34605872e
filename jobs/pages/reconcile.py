"""What must hold among all records, as each app proves it."""

from __future__ import annotations

import importlib
from collections.abc import Iterator

from django.utils.module_loading import module_has_submodule

APPS = ("jobs.core", "jobs.notices", "utilities", "billing", "jobs.appointments")


def breaches() -> Iterator[str]:
    for app in APPS:
        if module_has_submodule(importlib.import_module(app), "reconcile"):
            yield from importlib.import_module(f"{app}.reconcile").breaches()
