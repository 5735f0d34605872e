"""How many rows a second an import takes, beside a plain `bulk_create` and django-import-export on the same file, and the memory it needs.

    python -m tests.bench.imports [--rows 50000] [--columns 12] [--kill]

Rows of past requests, on a PostgreSQL of its own. Ours reads, matches, checks, and keeps what it wrote so that it can be taken back; the
others are told the columns and check nothing beyond their types. Each runs in a process of its own, so that its peak memory is its own.
--kill: ours is killed by SIGKILL in the middle and run again; the same end. Run by hand; prints ratios.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

UTILITIES = 40
MAIN = ("Reference", "Utility", "Request sent on", "Outcome", "Outcome day", "Route")


def file_of(rows: int, columns: int) -> bytes:
    """The same each time; further columns are of no kind of ours and stand full."""
    from jobs.core.csvout import write_csv

    chance = random.Random(13)
    headings = [*MAIN, *(f"Note {n}" for n in range(columns - len(MAIN)))]

    def row(number: int) -> list[object]:
        sent = dt.date(2019, 1, 1) + dt.timedelta(days=chance.randrange(2_500))
        ended = sent + dt.timedelta(days=chance.randrange(10, 250))
        outcome = chance.choice(["fitted", "fitted", "fitted", "cancelled", "open"])
        told = [f"R-{number:06d}", f"Utility {chance.randrange(UTILITIES)}", sent, outcome, "" if outcome == "open" else ended, "portal"]
        return [*told, *(f"n{chance.randrange(100)}" for _ in range(columns - len(MAIN)))]

    return "".join(write_csv(headings, (row(number) for number in range(rows)))).encode()


def ours(path: Path) -> int:
    from jobs.core import actors, importing
    from jobs.core.models import ImportRun

    by = actors.command("bench")
    data, columns = path.read_bytes(), {"complete": "yes"}
    run = importing.left_half_done("requests", data=data, columns=columns, by=by)
    run = run or importing.prepare("requests", name=path.name, data=data, columns=columns, by=by)
    run = importing.apply(run, by=by, after_chunk=lambda run: print(run.rows_done, file=sys.stderr, flush=True))
    assert isinstance(run, ImportRun)
    assert not run.counts["left_out"], importing.refused(run)[:3]
    return run.rows_done


def _fresh(taken: set[str]) -> str:
    from jobs.core import codes

    while (code := codes.new_code(codes.source())) in taken:
        pass
    taken.add(code)
    return code


def by_hand(path: Path) -> int:
    """The least that can be: the file's own reader, and every row as it stands."""
    import csv

    from django.utils import timezone

    from utilities.models import FitRequest, Utility

    known = {utility.name: utility for utility in Utility.objects.all()}
    made, now = [], timezone.now()
    taken: set[str] = set()
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            ended = dt.date.fromisoformat(row["Outcome day"]) if row["Outcome day"] else None
            utility = known[row["Utility"]]
            made.append(
                FitRequest(
                    code=_fresh(taken), utility=utility, filed_on=dt.date.fromisoformat(row["Request sent on"]), route=row["Route"],
                    outcome=row["Outcome"], ended_on=ended, fitted_by=ended if row["Outcome"] == "fitted" else None,
                    own_reference=row["Reference"], source_key=f"history {utility.uid} {row['Request sent on']} {row['Reference']}",
                    recorded_at=now, changed_at=now, recorded_by_name="bench",
                )
            )  # fmt: skip
    FitRequest.objects.bulk_create(made, batch_size=1_000)
    return len(made)


def library(path: Path) -> int:
    """django-import-export as its documentation shows it: one resource, rows found by their key, one transaction."""
    return _library(path, bulk=False)


def library_in_bulk(path: Path) -> int:
    """The same with its bulk mode: no row is looked up, and nothing is checked or kept."""
    return _library(path, bulk=True)


def _library(path: Path, *, bulk: bool) -> int:
    import tablib
    from django.utils import timezone
    from import_export import fields, resources, widgets

    from utilities.models import FitRequest, Utility

    taken: set[str] = set()

    class Requests(resources.ModelResource):  # type: ignore[misc]  # the library has no types
        own_reference = fields.Field("own_reference", "Reference")
        utility = fields.Field("utility", "Utility", widget=widgets.ForeignKeyWidget(Utility, "name"))
        filed_on = fields.Field("filed_on", "Request sent on", widget=widgets.DateWidget())
        outcome = fields.Field("outcome", "Outcome")
        ended_on = fields.Field("ended_on", "Outcome day", widget=widgets.DateWidget())
        route = fields.Field("route", "Route")

        class Meta:
            model = FitRequest
            import_id_fields = ("own_reference",)
            fields = ("own_reference", "utility", "filed_on", "outcome", "ended_on", "route")
            use_bulk, batch_size, skip_diff = bulk, 1_000, True
            force_init_instance = bulk

        def before_save_instance(self, instance: FitRequest, row: object, **kwargs: object) -> None:
            instance.code, instance.recorded_by_name = _fresh(taken), "bench"
            instance.recorded_at = instance.changed_at = timezone.now()
            if instance.outcome == "fitted":
                instance.fitted_by = instance.ended_on

    dataset = tablib.Dataset().load(path.read_text(encoding="utf-8"), format="csv")
    result = Requests().import_data(dataset, use_transactions=True, raise_errors=True)
    return int(result.totals["new"])


WAYS: dict[str, Callable[[Path], int]] = {
    "ours": ours, "bulk_create": by_hand, "django-import-export": library, "django-import-export, bulk": library_in_bulk,
}  # fmt: skip


def _peak_kb() -> int:
    """The most memory that this process had at once. Not getrusage, which counts what the parent had before it began ours."""
    status = Path("/proc/self/status").read_text(encoding="ascii")
    return int(status.partition("VmHWM:")[2].split()[0])


def _one(way: str, path: Path) -> None:
    """In a process of its own: one way, its seconds and its peak memory."""
    import django

    django.setup()
    from utilities.models import FitRequest

    before = _peak_kb()
    begun = time.perf_counter()
    rows = WAYS[way](path)
    seconds = time.perf_counter() - begun
    peak = _peak_kb()
    standing = FitRequest.objects.count()
    print(json.dumps({"rows": rows, "seconds": seconds, "before_kb": before, "peak_kb": peak, "standing": standing}))


def _run(way: str, path: Path) -> dict[str, float]:
    words = [sys.executable, "-m", "tests.bench.imports", "--one", way, "--file", str(path)]
    done = subprocess.run(words, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, check=True)
    told: dict[str, float] = json.loads(done.stdout)
    return told


def _killed(path: Path, at: int) -> None:
    words = [sys.executable, "-m", "tests.bench.imports", "--one", "ours", "--file", str(path)]
    with subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True) as running:
        assert running.stderr is not None
        for line in running.stderr:
            if line.strip().isdecimal() and int(line) >= at:
                running.send_signal(signal.SIGKILL)
                break


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    parser.add_argument("--rows", type=int, default=50_000)
    parser.add_argument("--columns", type=int, default=12)
    parser.add_argument("--kill", action="store_true")
    parser.add_argument("--one", choices=list(WAYS))
    parser.add_argument("--file", type=Path)
    given = parser.parse_args()
    if given.one:
        _one(given.one, given.file)
        return

    from tests.bench.notices import office

    with office(25), tempfile.TemporaryDirectory() as folder:
        from jobs.core.actors import command
        from utilities import profile
        from utilities.models import FitRequest

        for number in range(UTILITIES):
            told = profile.Profile(name=f"Utility {number}", zone="America/Denver", emergency_phone="+13035550111")
            profile.add_utility(told, by=command("bench"))
        path = Path(folder) / "requests.csv"
        path.write_bytes(file_of(given.rows, given.columns))
        print(f"{given.rows:,} rows of {given.columns} columns, {path.stat().st_size / 1e6:.1f} MB, PostgreSQL")
        first: float = 0
        for way in WAYS:
            FitRequest.objects.all().delete()
            told_by = _run(way, path)
            rate = told_by["rows"] / told_by["seconds"]
            first = first or rate
            peak = (told_by["peak_kb"] - told_by["before_kb"]) / 1000
            print(f"{way:28} {rate:8,.0f} rows a second ({first / rate:5.2f} of ours' time each), {peak:6,.0f} MB more at its peak")
            assert told_by["standing"] == given.rows
        if given.kill:
            from jobs.core.models import ImportRun

            FitRequest.objects.all().delete()
            ImportRun.objects.all().delete()
            _killed(path, given.rows // 2)
            half = FitRequest.objects.count()
            again = _run("ours", path)
            run = ImportRun.objects.get()
            assert (again["standing"], run.counts["new"], run.counts["left_out"]) == (given.rows, given.rows, 0)
            print(f"killed with {half:,} rows written, run again: {int(again['standing']):,} rows, each once")


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    main()
