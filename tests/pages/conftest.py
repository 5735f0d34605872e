"""The demo that test_killed.py kills takes most of a minute to make: it is made beside the tests that come before."""

from __future__ import annotations

import shutil
import tempfile
import threading
from pathlib import Path

import pytest

from tests.browser.embedded import Embedded

WANTED_BY = "test_killed.py"


class MadeBeside:
    """An embedded office, started once until it answered, and killed."""

    def __init__(self) -> None:
        self.office = Embedded(Path(tempfile.mkdtemp(prefix="office-")))
        self.fault: BaseException | None = None
        self.thread = threading.Thread(target=self._make, name="makes the demo")
        self.thread.start()

    def _make(self) -> None:
        try:
            self.office.start()
            self.office.kill()
        except BaseException as fault:
            self.fault = fault

    def made(self) -> Embedded:
        self.thread.join()
        if self.fault is not None:
            raise self.fault
        return self.office

    def end(self) -> None:
        self.office.kill()
        self.thread.join()
        self.office.kill()
        shutil.rmtree(self.office.var, ignore_errors=True)


_made = pytest.StashKey[MadeBeside]()


def pytest_collection_finish(session: pytest.Session) -> None:
    if not session.config.option.collectonly and any(item.path.name == WANTED_BY for item in session.items):
        session.stash[_made] = MadeBeside()


def pytest_sessionfinish(session: pytest.Session) -> None:
    if _made in session.stash:
        session.stash[_made].end()


@pytest.fixture
def office(request: pytest.FixtureRequest) -> Embedded:
    """The demo, made and killed."""
    return request.session.stash[_made].made()
