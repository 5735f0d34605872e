"""The table of roles, addresses and methods: who may open and who may press, stated for each address by hand.

The addresses come from the URL configuration; one without a row fails (test_addresses.py). The rows of an app stand in
tests/pages/rows_<app>.py.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver

from jobs.core.models import User
from jobs.core.rights import CREW, FINANCE, MANAGER, ROLES, SCHEDULER, VERIFIER

M, S, F, V, C = MANAGER, SCHEDULER, FINANCE, VERIFIER, CREW
ALL = frozenset(ROLES)
NOBODY: frozenset[str] = frozenset()
STRANGERS = frozenset({"stranger"})  # open without signing in


def roles(*names: str) -> frozenset[str]:
    return frozenset(names)


def nothing(user: User | None) -> dict[str, Any]:
    return {}


@dataclass(frozen=True)
class Row:
    """get, post: the roles that may; post None: the address takes no POST (405).

    kwargs: makes what the address is about, such that each role that may can know of it. Who may not gets `refusal` (404 where the
    thing itself is out of sight). query: what GET needs to show something.
    """

    get: frozenset[str] | None
    post: frozenset[str] | None = None
    kwargs: Callable[[User | None], dict[str, Any]] = nothing
    refusal: int = 403
    query: dict[str, str] = field(default_factory=dict)


def named(patterns: list[URLPattern | URLResolver] | None = None) -> Iterator[str]:
    for pattern in patterns if patterns is not None else get_resolver().url_patterns:
        if isinstance(pattern, URLResolver):
            yield from named(pattern.url_patterns)
        else:
            assert pattern.name, f"{pattern.pattern} has no name"
            yield pattern.name


def table() -> dict[str, Row]:
    rows: dict[str, Row] = {}
    for path in sorted(Path(__file__).parent.glob("rows_*.py")):
        rows |= importlib.import_module(f"tests.pages.{path.stem}").ROWS
    return rows
