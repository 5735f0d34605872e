"""manage.py import_file: what it prints, when it writes, its exit status, and what a kill leaves."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection

from jobs.core import importing
from jobs.core.models import Fact, ImportRun, Job
from jobs.pages import reconcile
from tests.acts.snapshot import snapshot
from tests.homelist import HOMES, MENDED, OTTERMERE, half_done, home, sheet, utilities
from tests.make import PNG

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def list_of(tmp_path):
    def write(*rows, name="homes.csv") -> str:
        path = tmp_path / name
        path.write_bytes(sheet(*rows))
        return str(path)

    return write


@pytest.mark.django_db
def test_without_apply_it_shows_all_and_writes_nothing(capsys):
    utilities()
    before = snapshot()

    with pytest.raises(SystemExit) as ended:
        call_command("import_file", "jobs", str(HOMES))

    told = capsys.readouterr().out
    assert ended.value.code == 1
    assert "17 of 20 rows are ready, 3 to correct." in told
    assert "17 new, 0 changed, 0 unchanged." in told
    assert "0 messages will be sent, 0 invoices drafted, 13 opening balances." in told
    assert "Row 7, Utility (“Otermere Municipal Light”): The utility" in told
    assert "Nothing was written: --apply writes." in told
    assert snapshot() == before


@pytest.mark.django_db
def test_a_list_in_order_ends_well_and_is_written_with_apply_only(list_of, capsys):
    utilities()
    path = list_of(half_done(1), half_done(2))

    call_command("import_file", "jobs", path)
    assert not Job.objects.exists()
    call_command("import_file", "jobs", path, "--apply")
    call_command("import_file", "jobs", path, "--apply")

    told = capsys.readouterr().out
    assert "Applied: 2 new, 0 changed, 0 unchanged." in told
    assert told.rstrip().endswith("Applied: 0 new, 0 changed, 2 unchanged.")
    assert Job.objects.count() == 2
    assert set(ImportRun.objects.values_list("by_name", flat=True)) == {"command: import_file"}


@pytest.mark.django_db
def test_apply_writes_nothing_while_a_row_is_wrong_unless_the_good_rows_are_asked_for(capsys, tmp_path):
    utilities()
    errors = tmp_path / "to-correct.csv"

    with pytest.raises(SystemExit) as ended:
        call_command("import_file", "jobs", str(HOMES), "--apply", "--errors", str(errors))
    assert ended.value.code == 1
    assert not Job.objects.exists()
    assert not ImportRun.objects.exists()
    assert capsys.readouterr().out.rstrip().endswith("Nothing was written.")

    with pytest.raises(SystemExit) as ended:
        call_command("import_file", "jobs", str(HOMES), "--apply", "--good-rows", "--errors", str(errors))
    assert ended.value.code == 1
    assert Job.objects.count() == 17
    assert "three rows left out" in capsys.readouterr().out

    text = errors.read_text(encoding="utf-8-sig")
    assert text.splitlines()[0].endswith(",What to correct")
    for wrong, right in MENDED:
        assert wrong in text
        text = text.replace(wrong, right)
    errors.write_text(text, encoding="utf-8")
    call_command("import_file", "jobs", str(errors), "--apply")
    assert Job.objects.count() == 20


@pytest.mark.django_db
def test_for_a_program_it_tells_the_same_as_json(capsys):
    utilities()

    with pytest.raises(SystemExit):
        call_command("import_file", "jobs", str(HOMES), "--json")

    told = json.loads(capsys.readouterr().out)
    assert (told["rows"], told["ready"], told["to_correct"]) == (20, 17, 3)
    assert told["preview"]["words"] == ["0 messages will be sent, 0 invoices drafted, 13 opening balances"]
    assert [error["row"] for error in told["errors"]] == [7, 11, 20]


@pytest.mark.django_db
def test_a_map_names_headings_that_are_not_known(list_of, tmp_path, capsys):
    row = {("Kunde" if heading == "Owner" else heading): cell for heading, cell in home(1).items()}
    columns = tmp_path / "map.json"
    columns.write_text('{"owner": "Kunde"}')

    call_command("import_file", "jobs", list_of(row), "--columns", str(columns), "--apply")

    assert Job.objects.get().parties.get(role="owner").person.name == "Owner 1"
    columns.write_text('["owner"]')
    with pytest.raises(CommandError, match="should hold one object of texts"):
        call_command("import_file", "jobs", list_of(row), "--columns", str(columns))


@pytest.mark.django_db
def test_a_file_that_is_not_what_its_name_says_is_refused_in_a_sentence(tmp_path):
    path = tmp_path / "homes.xlsx"
    path.write_bytes(PNG)

    with pytest.raises(CommandError, match=r"homes\.xlsx is not an Excel workbook"):
        call_command("import_file", "jobs", str(path), "--apply")
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("import_file", "jobs", str(tmp_path / "none.csv"))
    with pytest.raises(CommandError, match="give both"):
        call_command("import_file", "jobs", str(path), "--good-rows")


@pytest.mark.django_db
def test_the_command_takes_back_the_file_that_it_brought_in(list_of, capsys):
    utilities()
    path = list_of(half_done(1))
    call_command("import_file", "jobs", path, "--apply")

    call_command("import_file", "jobs", path, "--take-back")
    assert Job.objects.count() == 1
    call_command("import_file", "jobs", path, "--take-back", "--apply")

    assert not Job.objects.exists()
    assert capsys.readouterr().out.rstrip().endswith("homes.csv, one row applied by command: import_file: taken back.")
    with pytest.raises(CommandError, match="No import of this file stands"):
        call_command("import_file", "jobs", path, "--take-back", "--apply")


@pytest.mark.django_db
def test_what_a_page_would_ask_stands_in_the_map(list_of, tmp_path, capsys):
    utilities()
    path = list_of(home(1, Signed="3/2/26", Utility="Ottermere Muni Light"))
    said = tmp_path / "map.json"
    said.write_text('{"days": {"contract_signed_on": "day"}, "values": {"utility": {"Ottermere Muni Light": "Ottermere Municipal Light"}}}')
    with pytest.raises(SystemExit):
        call_command("import_file", "jobs", path)
    told = capsys.readouterr().out
    assert "“Ottermere Muni Light” in “Utility”, one row, is not on record; near it: Ottermere Municipal Light" in told
    assert "In “Signed”, is 3/2/26 2 March 2026 (month/day/year) or 3 February 2026 (day/month/year)?" in told

    call_command("import_file", "jobs", path, "--columns", str(said), "--apply")

    assert Job.objects.get().facts.get(kind="contract_signed").day.isoformat() == "2026-02-03"
    said.write_text('{"days": {"contract_signed_on": "year"}}')
    with pytest.raises(CommandError, match="as “month” or “day” for what stands first"):
        call_command("import_file", "jobs", path, "--columns", str(said))


@pytest.mark.needs_postgres
@pytest.mark.real_clock
@pytest.mark.django_db(transaction=True)
def test_killed_in_the_middle_and_run_again_it_brings_in_every_home_once(list_of):
    utilities()
    rows = [home(n, Utility=OTTERMERE, Contract_signed="2 Mar 2026", Commissioned_on="4 May 2026") for n in range(2, 302)]
    path = list_of(*rows)
    settings = connection.settings_dict
    env = os.environ | {"DATABASE_URL": f"postgres://postgres@/{settings['NAME']}?host={settings['HOST']}"}
    words = [sys.executable, "manage.py", "import_file", "jobs", path, "--apply"]

    with subprocess.Popen(words, cwd=ROOT, env=env, stdout=subprocess.PIPE, text=True) as running:
        assert running.stdout is not None
        for line in running.stdout:
            if line.startswith("50 of 300 rows done"):
                running.send_signal(signal.SIGKILL)
                break
    assert running.returncode == -signal.SIGKILL

    run = ImportRun.objects.get()
    assert run.finished_at is None
    assert importing.CHUNK <= run.rows_done < 300
    assert Job.objects.count() == run.rows_done
    done = subprocess.run(words, cwd=ROOT, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr

    run = ImportRun.objects.get()
    assert (run.rows_done, run.counts["new"], run.counts["unchanged"], run.counts["left_out"]) == (300, 300, 0, 0)
    assert Job.objects.count() == 300
    assert Fact.objects.count() == 600
    assert list(reconcile.breaches()) == []
