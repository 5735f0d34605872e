"""The tests' database is kept under a name made from all that goes into it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from django.apps import apps
from django.contrib.auth.management import create_permissions
from django.contrib.auth.models import Group, Permission
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from jobs.core.models import Job
from jobs.core.rights import ROLES
from tests import prepared
from tests.prepared import fingerprint


@pytest.mark.parametrize(
    "other",
    [
        {"core/0001_first.py": b"add a column", "core/0002_groups.py": b"five groups."},
        {"core/0001_first.py": b"add a column"},
        {"core/0001_first.py": b"add a column", "core/0003_groups.py": b"five groups"},
        {"core/0001_first.py": b"five groups", "core/0002_groups.py": b"add a column"},
        {"core/0001_first.py": b"add a columncore/0002_groups.py", "five groups": b""},
    ],
)
def test_another_byte_file_or_name_is_another_database(other):
    held = {"core/0001_first.py": b"add a column", "core/0002_groups.py": b"five groups"}

    assert fingerprint(other.items()) != fingerprint(held.items())
    assert fingerprint(held.items()) == fingerprint(reversed(held.items()))


def test_a_right_that_a_model_is_given_makes_another_database(monkeypatch):
    before = fingerprint(prepared.ingredients())
    monkeypatch.setattr(Job._meta, "permissions", [*Job._meta.permissions, ("wave", "Wave at the house")])

    assert fingerprint(prepared.ingredients()) != before


@pytest.mark.django_db
def test_the_copy_holds_what_migrating_now_would_make():
    executor = MigrationExecutor(connection)
    held = set(Permission.objects.values_list("codename", "name"))
    create_permissions(apps.get_app_config("core"), verbosity=0)

    assert executor.migration_plan(executor.loader.graph.leaf_nodes()) == []
    assert set(Permission.objects.values_list("codename", "name")) == held
    assert set(Group.objects.values_list("name", flat=True)) == set(ROLES)


def _whole(path: Path) -> None:
    path.write_text("whole")


def test_of_two_who_ask_for_the_same_one_only_the_first_makes_it(tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    made = []

    def make(path):
        made.append(path)
        path.write_text("migrated")

    first, second = prepared.kept("one", make), prepared.kept("one", make)

    assert first == second
    assert first.read_text() == "migrated"
    assert len(made) == 1


def test_a_making_that_breaks_leaves_nothing_under_the_name(tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))

    def breaks(path):
        path.write_text("half of it")
        raise OSError

    with pytest.raises(OSError):
        prepared.kept("one", breaks)

    assert prepared.kept("one", _whole).read_text() == "whole"


@pytest.mark.parametrize("mode", [0o777, 0o775])
def test_a_folder_that_others_may_write_in_is_not_used(tmp_path, monkeypatch, mode):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    folder = tmp_path / f"office-tests-{os.geteuid()}"
    folder.mkdir()
    folder.chmod(mode)

    assert prepared.home() is None
    assert prepared.kept("one", _whole) is None
