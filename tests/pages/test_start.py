"""`manage.py start` as a real process: it prepares an empty place, answers, and ends with status 0 on Ctrl-C."""

from __future__ import annotations

import csv
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

from config.environment import of_command_line
from jobs.core.models import Job, User
from jobs.core.refusals import Refused
from jobs.core.rights import CREW, MANAGER
from jobs.core.states import S
from jobs.pages import demo, reconcile, starting
from jobs.pages.exports import kinds
from tests.make import make_job, make_user
from tests.pages.homes import asked, forecast_for, job_of, plan

ROOT = Path(settings.BASE_DIR)
pytestmark = pytest.mark.real_clock


# What the tests' own settings hold; a start in an empty place makes its own.
OWN = ("DATABASE_URL", "DEMO", "FILES_DIR", "STATIC_DIR", "BASE_URL", "SECRET_KEY", "FIELD_KEYS", "LINK_KEYS")


def environment(var: Path, **more: str) -> dict[str, str]:
    return {**{name: value for name, value in os.environ.items() if name not in OWN}, "VAR_DIR": str(var), **more}


def free_port() -> int:
    with socket.socket() as chosen:
        chosen.bind(("127.0.0.1", 0))
        port: int = chosen.getsockname()[1]
        return port


class Running:
    """A `start` that has said it answers; what it printed up to then."""

    def __init__(self, var: Path, *words: str, **more: str) -> None:
        self.port = free_port()
        self.process = subprocess.Popen(
            [sys.executable, "manage.py", "start", "--port", str(self.port), *words],
            cwd=ROOT, env=environment(var, **more), stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, start_new_session=True,
        )  # fmt: skip
        self.lines: list[str] = []

    def wait_until_it_answers(self) -> Running:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append(line.rstrip())
            if line.startswith("Ctrl-C"):
                return self
        pytest.fail("it ended before it answered:\n" + "\n".join(self.lines))

    def get(self, path: str) -> tuple[int, str]:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}{path}", timeout=10) as answer:
                return answer.status, answer.read().decode()
        except urllib.error.HTTPError as fault:
            return fault.code, fault.read().decode()

    def interrupted(self) -> int:
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(30)


@contextmanager
def started(var: Path, *words: str, **more: str) -> Iterator[Running]:
    running = Running(var, *words, **more)
    try:
        yield running.wait_until_it_answers()
    finally:
        if running.process.poll() is None:
            running.process.kill()
        running.process.wait(10)
        assert running.process.stdout is not None
        running.process.stdout.close()


def run(var: Path, *words: str, **more: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=ROOT,
        env=environment(var, **more),
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_an_empty_place_is_prepared_answers_and_ends_with_status_0_on_ctrl_c(tmp_path):
    with started(tmp_path) as first:
        (sign_in,) = [line for line in first.lines if "password" in line and "manager@" in line]
        assert f"http://127.0.0.1:{first.port}/" in " ".join(first.lines)
        assert first.get("/health/live") == (200, "alive\n")
        assert "Sign in" in first.get("/")[1]
        # The worker in the same process writes the first heartbeat at once, not after a minute.
        last = time.monotonic() + 30
        while json.loads(first.get("/health/ready")[1])["heartbeat_age_seconds"] is None:
            assert time.monotonic() < last
        assert first.interrupted() == 0

    # Started again: nothing is prepared anew, and no password is shown a second time.
    with started(tmp_path) as second:
        assert not [line for line in second.lines if "password" in line]
        assert second.interrupted() == 0
    assert re.search(r"manager@\S+, password \S{16}", sign_in)
    assert {path.name for path in tmp_path.iterdir()} >= {"office.sqlite3", "keys.json"}
    assert not (tmp_path / "demo.sqlite3").exists()


def test_killed_while_it_runs_it_starts_again(tmp_path):
    with started(tmp_path) as first:
        first.process.kill()
    with started(tmp_path) as second:
        assert second.get("/health/ready")[0] == 200
    assert run(tmp_path, "reconcile").returncode == 0


def test_a_port_in_use_is_said_and_nothing_is_prepared(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()

        ended = run(tmp_path, "start", "--port", str(taken.getsockname()[1]))

    assert ended.returncode == 1
    assert "cannot be used here" in ended.stderr
    assert not (tmp_path / "office.sqlite3").exists()


def test_the_demo_is_not_made_in_a_database_that_holds_other_people(tmp_path):
    database = f"sqlite:///{tmp_path / 'own.sqlite3'}"
    with started(tmp_path, DATABASE_URL=database):
        pass

    ended = run(tmp_path, "start", "--demo", "--port", str(free_port()), DATABASE_URL=database)

    assert ended.returncode == 1
    assert "that the demo did not make" in ended.stderr


# The demo's own logic, without its 180 homes: they are made and proved elsewhere.


@pytest.fixture
def demo_with_two_people(settings, monkeypatch):
    def make() -> None:
        for role in (MANAGER, CREW):
            make_user(role, is_demo=True)

    settings.DEMO = True
    monkeypatch.setattr(demo, "make", make, raising=False)


@pytest.mark.django_db
def test_the_demo_is_made_once_in_an_empty_place_and_tells_its_sign_ins(demo_with_two_people, settings):
    said: list[str] = []

    first, second = starting.prepare(said.append), starting.prepare(said.append)

    assert [(sign_in.role, sign_in.password) for sign_in in first] == [(MANAGER, settings.DEMO_PASSWORD), (CREW, settings.DEMO_PASSWORD)]
    assert second == first
    assert said.count("Making the demo's homes.") == 1
    assert User.objects.count() == 2


@pytest.mark.django_db
def test_a_demo_that_breaks_half_way_leaves_an_empty_place(demo_with_two_people, monkeypatch):
    def half() -> None:
        make_user(MANAGER, is_demo=True)
        raise RuntimeError("killed")

    monkeypatch.setattr(demo, "make", half)

    with pytest.raises(RuntimeError):
        starting.prepare(lambda line: None)

    assert not User.objects.exists()


@pytest.mark.django_db
def test_outside_the_demo_its_sign_ins_open_nothing(demo_with_two_people, settings):
    starting.prepare(lambda line: None)
    settings.DEMO = False

    assert starting.prepare(lambda line: None) == []

    assert not User.objects.filter(is_active=True).exists()


@pytest.mark.django_db
def test_an_office_in_use_is_not_taken_for_the_demo(demo_with_two_people):
    make_user(MANAGER)

    with pytest.raises(Refused, match="that the demo did not make"):
        starting.prepare(lambda line: None)


def test_what_the_command_line_says_reaches_the_settings():
    assert of_command_line(["manage.py", "start", "--demo", "--port", "8123"]) == {"DEMO": "1", "BASE_URL": "http://127.0.0.1:8123"}
    assert of_command_line(["manage.py", "start", "--port=8123"]) == {"BASE_URL": "http://127.0.0.1:8123"}
    assert of_command_line(["manage.py", "migrate", "--demo"]) == {}


# The other commands


@pytest.mark.django_db
def test_reconcile_passes_where_everything_holds(capsys):
    make_job(S.BACKUP_VERIFIED)

    call_command("reconcile")

    assert capsys.readouterr().out == "Everything holds.\n"


@pytest.mark.django_db
def test_reconcile_prints_each_breach_and_ends_with_status_1(capsys):
    job = make_job(S.AWAITING_UTILITY)
    Job.objects.filter(pk=job.pk).update(state=S.COLLAR_ENERGIZED)

    with pytest.raises(SystemExit) as ended:
        call_command("reconcile")
    told = capsys.readouterr().out
    with pytest.raises(SystemExit):
        call_command("reconcile", json=True)

    assert ended.value.code == 1
    assert f"Job {job.code}: state is collar_energized, its facts say awaiting_utility." in told
    assert json.loads(capsys.readouterr().out)["breaches"] == list(reconcile.breaches())


@pytest.mark.django_db
def test_export_writes_what_the_list_would_show(tmp_path, capsys):
    request = asked(owner="Noor Haddad")
    job = job_of(request)
    plan(job)
    forecast_for(request, half_in=116)
    make_job()
    out = tmp_path / "jobs.csv"

    call_command("export", "jobs", "state=awaiting_utility", out=out)

    (row,) = csv.DictReader(out.read_text(encoding="utf-8-sig").splitlines())
    assert (row["job"], row["person"], row["not_invoiced"]) == (job.code, "Noor Haddad", "48000.00")
    assert "One row of jobs written" in capsys.readouterr().out
    assert [path.name for path in tmp_path.iterdir()] == ["jobs.csv"]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("kind", "words", "name", "sentence"),
    [
        ("jobs", ["colour=red"], "jobs.csv", "“colour=red” is not a filter here"),
        ("jobs", ["state"], "jobs.csv", "“state” is not a filter here"),
        ("jobs", ["since_from=13/45/2026"], "jobs.csv", "has a month 13"),
        ("jobs", [], "jobs.pdf", "should end in .csv or .xlsx"),
        ("jobs", [], "no/such/folder/jobs.csv", "There is no folder"),
    ],
)
def test_export_refuses_what_it_cannot_do_and_writes_nothing(tmp_path, kind, words, name, sentence):
    with pytest.raises(CommandError, match=re.escape(sentence)):
        call_command("export", kind, *words, out=tmp_path / name)

    assert list(tmp_path.iterdir()) == []


@pytest.mark.django_db
@pytest.mark.parametrize("kind", sorted(kinds()))
@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_every_kind_can_be_written_in_both_forms(tmp_path, kind, ending):
    request = asked()
    plan(job_of(request))

    period = [word for word in ("from=2026-01-01", "to=2026-12-31") if word.partition("=")[0] in kinds()[kind].filters]

    call_command("export", kind, *period, out=tmp_path / f"out.{ending}")

    assert (tmp_path / f"out.{ending}").stat().st_size > 0
