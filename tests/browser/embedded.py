"""`manage.py start --demo` as a process of its own in an empty place, as a person runs it."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
# What the tests' own settings say, and what a person's shell may say: the process finds an empty place, and makes its own keys.
_NOT_OURS = (
    "ALLOWED_HOSTS", "BASE_URL", "DATABASE_URL", "DEBUG", "DEMO", "EMAIL_URL", "FIELD_KEYS", "FILES_DIR", "LINK_KEYS", "LOG_LEVEL",
    "OFFICE_ENV", "REDIS_URL", "SECRET_KEY", "STATIC_DIR", "TEXT_HOOK_SECRETS", "TEXT_URL", "MAIL_HOOK_SECRETS", "VAR_DIR",
)  # fmt: skip


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Embedded:
    """The demo in a folder. Its records stay there when it ends, so that it can be started again."""

    def __init__(self, var: Path) -> None:
        self.var = var
        self.port = free_port()
        self.url = f"http://127.0.0.1:{self.port}"
        self.process: subprocess.Popen[str] | None = None

    @property
    def environment(self) -> dict[str, str]:
        """Of another process that works on the same records."""
        kept = {name: value for name, value in os.environ.items() if name not in _NOT_OURS}
        return kept | {"VAR_DIR": str(self.var), "DEMO": "1", "BASE_URL": self.url, "DJANGO_SETTINGS_MODULE": "config.settings"}

    @property
    def database(self) -> Path:
        return self.var / "demo.sqlite3"

    @property
    def timetable(self) -> Path:
        return self.var / "demo-timetable"

    def start(self) -> None:
        """Returns once it answers."""
        environment = {name: value for name, value in self.environment.items() if name not in ("DEMO", "BASE_URL")}
        self.process = subprocess.Popen(
            [sys.executable, "manage.py", "start", "--demo", "--port", str(self.port)],
            cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, start_new_session=True,
        )  # fmt: skip
        assert self.process.stdout is not None
        said = []
        for line in self.process.stdout:
            said.append(line)
            if line.startswith("Ctrl-C"):
                return
        raise RuntimeError(f"It ended before it answered: {''.join(said)}")

    def kill(self) -> None:
        """As the machine's power does: nothing of it is asked."""
        self._end(signal.SIGKILL)

    def stop(self) -> None:
        self._end(signal.SIGTERM)

    def _end(self, how: signal.Signals) -> None:
        if self.process is None:
            return
        self.process.send_signal(how)
        self.process.communicate(timeout=60)
        self.process = None

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Another process of Python beside it."""
        return subprocess.run([sys.executable, *words], cwd=ROOT, env=self.environment, capture_output=True, text=True, timeout=120)


@contextmanager
def demo(var: Path) -> Iterator[Embedded]:
    office = Embedded(var)
    try:
        office.start()
        yield office
    finally:
        office.stop()
