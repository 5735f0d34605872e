"""A PostgreSQL of the tests' own, named before settings are read; without its programs the tests run on SQLite.

A pytest plugin (pyproject.toml loads it), because a conftest is read too late: the settings would already hold another address. The
server starts with the first test that asks for a database (`django_db_setup` in conftest.py), from a copy (prepared.py).
"""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from pathlib import Path

import pytest

from tests import prepared

SERVICES = {
    "needs_postgres": "PostgreSQL (Debian: postgresql)",
    "needs_redis": "Redis (Debian: redis-server)",
    "needs_browser": "Chromium (Debian: chromium)",
}

TEST_ENVIRONMENT = {
    "SECRET_KEY": "tests-only",
    "FIELD_KEYS": "MDAwMDAwMDAwMDAwMDAwMDAwMDAwMDAwMDAwMDAwMDA=",
    "LINK_KEYS": "tests-only-links",
    "BASE_URL": "http://testserver",
    "LOG_LEVEL": "ERROR",
}


# What a person's shell may say and must not lead the tests to.
FOR_OTHERS = (
    "OFFICE_ENV", "DEMO", "DEBUG", "EMAIL_URL", "REDIS_URL", "DATABASE_URL", "TEXT_URL", "TEXT_HOOK_SECRETS", "MAIL_HOOK_SECRETS",
)  # fmt: skip


# Nothing here need outlive the tests; and what costs time by the clock rather than by the query is left out.
FOR_A_SHORT_LIFE = ("fsync=off", "full_page_writes=off", "synchronous_commit=off", "autovacuum=off", "jit=off")


class Server:
    """One PostgreSQL in a folder of its own, reached by its socket."""

    def __init__(self, binaries: Path) -> None:
        self.binaries = binaries
        # mkdtemp's short name: a socket's path has room for 107 bytes.
        self.folder = Path(tempfile.mkdtemp(prefix="pg-"))
        self.as_other: dict[str, object] = {}
        if os.geteuid() == 0:
            account = next(name for name in ("postgres", "nobody") if _known(name))
            entry = pwd.getpwnam(account)
            os.chown(self.folder, entry.pw_uid, entry.pw_gid)
            self.as_other = {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}

    def run(self, program: str, *words: str) -> None:
        subprocess.run(  # type: ignore[call-overload]
            [str(self.binaries / program), *words], cwd="/", check=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, **self.as_other
        )

    @property
    def data(self) -> Path:
        return self.folder / "data"

    def version(self) -> bytes:
        return subprocess.run([str(self.binaries / "postgres"), "--version"], check=True, stdout=subprocess.PIPE).stdout

    def start(self) -> None:
        """Empty."""
        self.run("initdb", "-A", "trust", "--no-sync", "-E", "UTF8", "--locale=C.UTF-8", "-U", "postgres", "-D", str(self.data))
        self.go()

    def go(self) -> None:
        """With the data that lie in its folder."""
        options = " ".join([f"-k {self.folder} -c listen_addresses=''", *(f"-c {setting}" for setting in FOR_A_SHORT_LIFE)])
        self.run("pg_ctl", "-w", "-D", str(self.data), "-l", str(self.folder / "log"), "-o", options, "start")

    def halt(self) -> None:
        """In good order: its data can be copied."""
        self.run("pg_ctl", "-w", "-D", str(self.data), "-m", "fast", "stop")

    def stop(self) -> None:
        if (self.data / "postmaster.pid").exists():
            subprocess.run(  # type: ignore[call-overload]
                [str(self.binaries / "pg_ctl"), "-D", str(self.data), "-m", "immediate", "stop"],
                cwd="/", check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **self.as_other,
            )  # fmt: skip
        shutil.rmtree(self.folder, ignore_errors=True)

    @property
    def url(self) -> str:
        return f"postgres://postgres@/office?host={self.folder}"


def _known(account: str) -> bool:
    try:
        pwd.getpwnam(account)
    except KeyError:
        return False
    return True


def _binaries() -> Path | None:
    if os.environ.get("PG_BIN"):
        return Path(os.environ["PG_BIN"])
    # Debian keeps the server's programs off PATH.
    for folder in sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: float(path.parent.name), reverse=True):
        if (folder / "initdb").exists() and (folder / "pg_ctl").exists():
            return folder
    found = shutil.which("initdb")
    return Path(found).parent if found else None


_server: Server | None = None
_missing: dict[str, str] = {}


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--db", choices=["postgres", "sqlite"], default="postgres", help="database for the tests")


@pytest.hookimpl(tryfirst=True)
def pytest_load_initial_conftests(early_config: pytest.Config) -> None:
    global _server
    os.environ.update(TEST_ENVIRONMENT)
    for name in FOR_OTHERS:
        os.environ.pop(name, None)
    folder = tempfile.mkdtemp(prefix="office-")
    os.environ.update(VAR_DIR=folder, FILES_DIR=f"{folder}/files", STATIC_DIR=f"{folder}/static")
    wanted = early_config.known_args_namespace.db
    binaries = _binaries()
    if wanted == "postgres" and binaries is not None:
        _server = Server(binaries)
        os.environ["DATABASE_URL"] = _server.url


def prepare() -> None:
    """Bring up the database of this run."""
    if _server is not None:
        prepared.postgres(_server)
    else:
        prepared.sqlite()


def pytest_report_header() -> str:
    return f"database: {'PostgreSQL, a server of its own' if _server else 'SQLite'}"


def pytest_unconfigure() -> None:
    if _server is not None:
        _server.stop()
    shutil.rmtree(os.environ["VAR_DIR"], ignore_errors=True)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Where SQLite is asked for, what only PostgreSQL can show is no part of the run.

    Several workers (`-n 2 --dist loadgroup`) take whole files, and what commits after all the rest: it empties the tables, of
    what migrations wrote too.
    """
    for item in items:
        mark = item.get_closest_marker("django_db")
        commits = (mark is not None and mark.kwargs.get("transaction")) or "transactional_db" in getattr(item, "fixturenames", ())
        file = item.nodeid.partition("::")[0]
        item.add_marker(pytest.mark.xdist_group(f"{file} commits" if commits else file))
    if config.getoption("--db") == "sqlite":
        left = [item for item in items if item.get_closest_marker("needs_postgres")]
        config.hook.pytest_deselected(items=left)
        items[:] = [item for item in items if item not in left]


def pytest_runtest_setup(item: pytest.Item) -> None:
    have = {
        "needs_postgres": _server is not None,
        "needs_redis": shutil.which("redis-server") is not None,
        "needs_browser": shutil.which("chromium") is not None,
    }
    for marker, service in SERVICES.items():
        if item.get_closest_marker(marker) and not have[marker]:
            if os.environ.get("REQUIRE_SERVICES"):
                pytest.fail(f"{service} is missing, and REQUIRE_SERVICES is set.", pytrace=False)
            _missing[marker] = service
            pytest.skip(f"{service} is missing")


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    for service in _missing.values():
        terminalreporter.write_line(f"Not tested, because a service is missing: install {service} and run again.")
