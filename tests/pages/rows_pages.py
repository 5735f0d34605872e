from __future__ import annotations

from tests.pages import rows_imports
from tests.pages.addresses import ALL, STRANGERS, C, M, Row, S, roles
from tests.pages.rows_core import a_job

ROWS: dict[str, Row] = {
    "today": Row(ALL),
    "jobs": Row(ALL),
    "jobs_export": Row(ALL, None, lambda user: {"ending": "csv"}),
    "homes_export": Row(roles(M, S), None, lambda user: {"ending": "csv"}),
    "job": Row(ALL, None, a_job),
    "whole_job": Row(ALL, None, a_job),
    "columns": Row(ALL, ALL, lambda user: {"export": "jobs_export"}),
    "search": Row(ALL, query={"q": "sawmill"}),
    "emergency": Row(ALL, ALL),
    "help_forecasts": Row(ALL - {C}),
    "health_live": Row(ALL | STRANGERS),
    "health_ready": Row(ALL | STRANGERS),
} | rows_imports.ROWS
