"""How the forecasts are made and how good they are, in words for whoever relies on a date."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from jobs.core.web import right

# Written by the bench with --write and committed; nobody types these figures.
FIGURES = Path(__file__).with_name("forecast_bench.json")


@right("core.see_utilities")
@require_safe
def forecasts(request: HttpRequest) -> HttpResponse:
    return render(request, "pages/help_forecasts.html", {"bench": measured()})


@cache
def measured() -> dict[str, Any]:
    """What the bench printed, as it stands in the file: it does not change while we run."""
    told: dict[str, Any] = json.loads(FIGURES.read_text(encoding="utf-8"))
    return told
