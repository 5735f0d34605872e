"""The figures of a run, as the application's help page on forecasts shows them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from jobs.core.words import day
from tests.bench import ablation
from tests.bench.realsets import RULE, SMALL
from tests.bench.results import REAL, REAL_SMALL, Result, beside, best_afterwards, by_kind, coverage, covering, room, sums, weakest
from tests.bench.scoring import SHARES

FILE = Path(__file__).parents[2] / "jobs" / "pages" / "forecast_bench.json"
IN_WORDS = {"Kaplan-Meier": "a Kaplan-Meier curve per utility", "spreadsheet": "a spreadsheet: the mean of the utility’s finished waits"}


@dataclass(frozen=True)
class Run:
    command: str
    first_seed: int
    seeds: int
    results: Sequence[Result]
    names: Sequence[str]
    without: Sequence[Result] = ()
    speed: Sequence[str] = ()


def write(run: Run) -> None:
    FILE.write_text(json.dumps(_told(run), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def _told(run: Run) -> dict[str, Any]:
    groups = sums(run.results)
    kinds = by_kind(run.results)
    return {
        "command": run.command,
        "printed_on": day(date.today()),  # noqa: DTZ011 - the day on which somebody ran it, where they sat
        "seeds": f"{run.first_seed:,} to {run.first_seed + run.seeds - 1:,} of each kind",
        "forecasts": f"{sum(r.own.n for r in run.results):,}",
        "simulated": len(groups.get("simulated", [])),
        "real": len(groups.get(REAL, [])),
        "real_small": len(groups.get(REAL_SMALL, [])),
        "real_rule": RULE,
        "small_rule": SMALL,
        "real_sets": [r.name for r in groups.get(REAL, [])],
        "columns": list(groups),
        "rivals": [
            {"name": IN_WORDS.get(name, name), "cells": _cells(groups, lambda rows, name=name: str(beside(rows, name)))}
            for name in run.names
        ]
        + [
            {
                "name": f"the best of these {len(run.names)}, chosen afterwards in each history",
                "cells": _cells(groups, lambda rows: str(best_afterwards(rows, run.names))),
            }
        ],
        "room": _cells(groups, lambda rows: str(room(rows))),
        "coverage": [
            {
                "name": f"share fitted by the date said for {share * 100:.0f} in 100 (histories with enough to judge)",
                "cells": _cells(groups, lambda rows, place=place: f"{coverage(rows)[place]:.3f} ({covering(rows)[place]})"),
            }
            for place, share in enumerate(SHARES)
        ],
        "kinds": [
            {
                "name": name,
                "worlds": len(rows),
                "kaplan_meier": str(beside(rows, "Kaplan-Meier")),
                "spreadsheet": str(beside(rows, "spreadsheet")),
                "q80": f"{coverage(rows)[0]:.3f}",
                "q90": f"{coverage(rows)[1]:.3f}",
            }
            for name, rows in kinds.items()
        ],
        "weakest": [f"{r.name} {r.ratio('Kaplan-Meier'):.2f}" for r in weakest(run.results)],
        "parts_columns": list(sums(run.without)),
        "parts": [
            {"name": name, "cells": [{"column": group, "said": ablation.in_percent(rise)} for group, rise in by_group.items()]}
            for name, by_group in (ablation.rises(run.without) if run.without else {}).items()
        ],
        "speed": list(run.speed),
    }


def _cells(groups: dict[str, list[Result]], said: Any) -> list[dict[str, str]]:
    return [{"column": name, "said": said(rows)} for name, rows in groups.items()]
