from __future__ import annotations

from tests.acts.examples import Example

EXAMPLES: dict[str, Example] = {}
