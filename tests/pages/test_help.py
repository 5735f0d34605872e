"""The help page on forecasts: its figures are those of the file that the bench writes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from django.urls import reverse

import jobs.pages
from tests.pages.queries import signed_in

pytestmark = pytest.mark.django_db
BENCH = json.loads((Path(jobs.pages.__file__).parent / "forecast_bench.json").read_text(encoding="utf-8"))


def test_the_help_page_shows_every_figure_of_the_bench_and_how_to_print_it_again(client, mara):
    page = signed_in(client, mara).get(reverse("help_forecasts"))

    html = " ".join(page.content.decode().split())
    for row in BENCH["rivals"] + BENCH["coverage"] + BENCH["parts"]:
        cells = "".join(f'<td class="num" data-label="{cell["column"]}">{cell["said"]}</td>' for cell in row["cells"])
        assert f'<th scope="row">{row["name"]}</th>{cells}' in html
    assert "".join(f'<td class="num" data-label="{cell["column"]}">{cell["said"]}</td>' for cell in BENCH["room"]) in html
    for row in BENCH["kinds"]:
        assert all(f">{row[column]}</td>" in html for column in ("name", "kaplan_meier", "spreadsheet", "q80", "q90"))
    assert BENCH["seeds"] in html
    assert BENCH["command"] in html
    assert BENCH["printed_on"] in html


def test_the_bench_on_the_help_page_is_one_of_held_out_seeds_with_all_rivals():
    assert BENCH["simulated"] >= 60
    assert BENCH["real"] >= 10
    assert int(BENCH["seeds"].split()[0].replace(",", "")) >= 20_000
    assert sum(row["name"].startswith(("lifelines", "scikit-survival")) for row in BENCH["rivals"]) >= 6
