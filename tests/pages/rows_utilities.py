from __future__ import annotations

from tests.pages.addresses import Row

ROWS: dict[str, Row] = {}
