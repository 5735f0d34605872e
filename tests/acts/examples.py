"""One example of each act: who may do it, a thing to do it on, and what two people who press at once meet.

The examples of an app's acts stand in tests/acts/of_<app>.py, each a dictionary EXAMPLES from the act's full name.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jobs.core.actors import Actor
from jobs.core.rights import CREW, FINANCE, MANAGER, SCHEDULER, VERIFIER

# What the second of two who press the same at once meets.
REFUSED = "refused"  # one winner, one sentence
BOTH = "both"  # both stand, each with its own record: two contacts with a desk, two photos

M, S, F, V, C = MANAGER, SCHEDULER, FINANCE, VERIFIER, CREW


@dataclass(frozen=True)
class Example:
    roles: frozenset[str]
    make: Callable[[Actor], tuple[Any, dict[str, Any]]]  # for this actor: the thing, and the keywords but `by`
    twice: str = REFUSED
    link: bool = False  # done through a signed link, by nobody of the office


def roles(*names: str) -> frozenset[str]:
    return frozenset(names)


def all_examples() -> dict[str, Example]:
    found: dict[str, Example] = {}
    for path in sorted(Path(__file__).parent.glob("of_*.py")):
        found |= importlib.import_module(f"tests.acts.{path.stem}").EXAMPLES
    return found
