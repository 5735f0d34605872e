"""No container engine is at hand where this is built: docker-compose.yml and Dockerfile are checked against the settings,
and each service's command is one that the installed packages know."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

from config import environment

ROOT = Path(__file__).resolve().parents[2]
COMPOSE = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
DOCKERFILE = (ROOT / "Dockerfile").read_text()
OURS = ("web", "worker", "beat", "prepare")


@pytest.mark.parametrize("name", OURS)
def test_each_of_our_services_has_all_that_production_needs_and_no_secret_inside(name):
    given = COMPOSE["services"][name]["environment"]

    faults = environment.production_faults({word: str(value) for word, value in given.items()})

    assert given["OFFICE_ENV"] == "production"
    assert faults == []
    for secret in environment.SECRETS:
        assert re.fullmatch(r"\$\{\w+:\?\}", given[secret])


def test_the_services_are_the_five_of_the_design_and_one_that_prepares():
    assert set(COMPOSE["services"]) == {"web", "worker", "beat", "postgres", "redis", "prepare"}
    for name in ("web", "worker", "postgres", "redis"):
        assert COMPOSE["services"][name]["healthcheck"]["test"]
    for volume in COMPOSE["volumes"]:
        assert any(volume in str(service.get("volumes")) for service in COMPOSE["services"].values())


def test_the_image_runs_as_nobody_special_and_holds_no_secret():
    assert DOCKERFILE.rindex("USER office") < DOCKERFILE.index("CMD")
    assert not re.search(r"SECRET_KEY|FIELD_KEYS|LINK_KEYS|PASSWORD", DOCKERFILE)


def test_the_health_address_of_the_web_service_answers(client):
    address = re.search(r"127\.0\.0\.1:8000(/[\w/]+)", str(COMPOSE["services"]["web"]["healthcheck"]["test"]))

    assert address is not None
    assert client.get(address.group(1)).status_code == 200


def test_the_web_command_passes_gunicorns_own_check_of_its_words():
    words = yaml.safe_load(DOCKERFILE[DOCKERFILE.rindex("CMD ") + 4 :])

    found = subprocess.run(
        [sys.executable, "-m", words[0], "--check-config", *words[1:]],
        cwd=ROOT, capture_output=True, text=True, check=False,
        env={"OFFICE_ENV": "embedded", "VAR_DIR": os.environ["VAR_DIR"]},
    )  # fmt: skip

    assert found.returncode == 0, found.stderr


@pytest.mark.parametrize("name", ["worker", "beat"])
def test_the_commands_of_worker_and_beat_know_their_words(name):
    words = shlex.split(COMPOSE["services"][name]["command"])

    assert words[:3] == ["celery", "-A", "config"]
    known = subprocess.run(
        [sys.executable, "-m", "celery", words[3], "--help"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout
    for word in words[4:]:
        if word.startswith("-"):
            assert word in known
