"""The tests' database, migrated once for what the migrations say now and copied at each start of the tests.

A copy takes a tenth of a second, the migrations four. What is kept lies in the temporary folder, each under a name made from all that
goes into it (`fingerprint`): another migration, another model, another Django is another name, so that none is ever out of date.
Nobody writes into one after it has its name; many runs may copy it at once. A clean machine keeps none and makes its own.
"""

from __future__ import annotations

import fcntl
import hashlib
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.database import Server

KEPT_DAYS = 7


def fingerprint(parts: Iterable[tuple[str, bytes]]) -> str:
    """Of named parts, in whatever order they come."""
    whole = hashlib.sha256()
    for name, held in sorted(parts):
        for piece in (name.encode(), held):
            whole.update(len(piece).to_bytes(8, "big") + piece)
    return whole.hexdigest()[:32]


def ingredients() -> Iterator[tuple[str, bytes]]:
    """All that a database fresh from `migrate` comes from: migrations, and the names that Django writes after them from the models."""
    import django
    from django.apps import apps
    from django.db import connection

    yield "versions", f"{sys.version} {django.VERSION} {connection.vendor}".encode()
    for path in (Path(__file__), Path(__file__).with_name("database.py")):
        yield path.name, path.read_bytes()
    for app in apps.get_app_configs():
        for path in (Path(app.path) / "migrations").glob("*.py"):
            yield f"{app.label}/{path.name}", path.read_bytes()
    for model in apps.get_models(include_auto_created=True):
        meta = model._meta
        yield meta.label, repr((meta.verbose_name_raw, meta.default_permissions, meta.permissions)).encode()


def home() -> Path | None:
    """The folder of what is kept; none where another person made a folder of this name."""
    folder = Path(tempfile.gettempdir()) / f"office-tests-{os.geteuid()}"
    folder.mkdir(mode=0o755, exist_ok=True)
    seen = folder.lstat()
    mine = not folder.is_symlink() and seen.st_uid == os.geteuid() and not seen.st_mode & 0o022
    return folder if mine else None


def kept(name: str, make: Callable[[Path], None]) -> Path | None:
    """What is kept under this name, made where it is missing: of two that start at once, one makes it and the other waits."""
    folder = home()
    if folder is None:
        return None
    path = folder / name
    if not path.exists():
        with (folder / "lock").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)  # goes with the process, however it ends
            if not path.exists():
                _forget_old(folder)
                unfinished = folder / f"unfinished-{os.getpid()}"
                make(unfinished)
                unfinished.rename(path)
    os.utime(path)
    return path


def _forget_old(folder: Path) -> None:
    for old in folder.iterdir():
        if old.name != "lock" and time.time() - old.stat().st_mtime > KEPT_DAYS * 86_400:
            shutil.rmtree(old) if old.is_dir() else old.unlink()


def _migrate() -> None:
    from django.db import connection

    connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)


def _name() -> str:
    """What create_test_db will call it; asked before it, because it answers by the name in use."""
    from django.db import connection

    return str(connection.creation._get_test_db_name())  # type: ignore[attr-defined]


def _use(name: str) -> None:
    """Let Django take the tests' database for its own, as create_test_db does."""
    from django.conf import settings
    from django.db import connection

    connection.close()
    settings.DATABASES["default"]["NAME"] = connection.settings_dict["NAME"] = name
    connection.ensure_connection()


def postgres(server: Server) -> None:
    """Start the server, with the tests' database in it."""
    from django.db import connection

    name = _name()

    def make(path: Path) -> None:
        server.start()
        _migrate()
        connection.close()
        server.halt()
        copy(server.data, path)
        shutil.rmtree(server.data)

    source = kept(f"postgres-{fingerprint([*ingredients(), ('server', server.version())])}", make)
    if source is None:
        server.start()
        _migrate()
    else:
        copy(source, server.data)
        server.go()
        _use(name)


def sqlite() -> None:
    """Fill the database in memory."""
    from django.db import connection

    name = _name()

    def make(path: Path) -> None:
        _migrate()
        with closing(sqlite3.connect(path)) as target:
            connection.connection.backup(target)

    source = kept(f"sqlite-{fingerprint(ingredients())}", make)
    if source is None:
        _migrate()
    else:
        _use(name)
        with closing(sqlite3.connect(source)) as held:
            held.backup(connection.connection)


def copy(source: Path, target: Path) -> None:
    """With its owner, who may be another than the one that copies."""
    subprocess.run(["cp", "-a", str(source), str(target)], check=True)
