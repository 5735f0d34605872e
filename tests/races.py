"""Two at once: the same or different things pressed in the same moment, each over a connection of its own. PostgreSQL only."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

from django.db import connections

from jobs.core.refusals import Refused

SECONDS = 60


def race(*presses: Callable[[], Any]) -> list[Any]:
    """What each press gave, in the order of the presses; a refusal stands as its sentence. Any other error fails the test."""
    start = threading.Barrier(len(presses))
    gave: dict[int, Any] = {}
    broke: list[BaseException] = []

    def run(place: int, press: Callable[[], Any]) -> None:
        try:
            start.wait(10)
            gave[place] = press()
        except Refused as refusal:
            gave[place] = str(refusal)
        except BaseException as fault:  # a thread's own error would only be printed
            broke.append(fault)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(presses)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(SECONDS)
    if broke:
        raise broke[0]
    assert len(gave) == len(presses), "one of them never ended"
    return [gave[place] for place in range(len(presses))]
