"""The apps below, and the modules of one name that they keep: attention.py, exports.py, reconcile.py."""

from __future__ import annotations

import importlib
from types import ModuleType

from django.utils.module_loading import module_has_submodule

APPS = ("jobs.core", "jobs.notices", "utilities", "billing", "jobs.appointments", "jobs.pages")


def modules(name: str) -> list[ModuleType]:
    """Each app's module of this name, where it has one."""
    return [importlib.import_module(f"{app}.{name}") for app in APPS if module_has_submodule(importlib.import_module(app), name)]
