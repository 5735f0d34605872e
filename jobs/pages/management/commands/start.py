"""The whole application in one process."""

from __future__ import annotations

import sys
import warnings
from typing import Any

from celery.exceptions import SecurityWarning
from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs.core.refusals import Refused
from jobs.pages import starting


class Command(BaseCommand):
    help = "Run web, worker and timetable in one process until Ctrl-C; the first run prepares an empty place."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--demo", action="store_true", help="invented homes in a database of their own; nothing is sent")
        parser.add_argument("--port", type=int, default=8000, help="8000 if not given")

    def handle(self, *args: Any, demo: bool, port: int, **options: Any) -> None:
        if settings.PRODUCTION:
            raise CommandError("In production web, worker and beat run by themselves; docker-compose.yml shows how.")
        if demo and not settings.DEMO:
            raise CommandError("The demo is begun by “manage.py start --demo”, which sets DEMO before the settings are read.")
        # As root the worker warns of pickled messages from strangers; here the broker is this process's own memory.
        warnings.filterwarnings("ignore", category=SecurityWarning)
        try:
            server = starting.listen(port)
            sign_ins = starting.prepare(self._say)
            starting.keep_endings()
            for line in starting.said(port, sign_ins):
                self._say(line)
            starting.run(server)
        except Refused as refusal:
            raise CommandError(str(refusal)) from refusal
        except KeyboardInterrupt:
            self._say("Ended before it was ready.")
        sys.exit(0)  # the worker itself would leave 1 after Ctrl-C

    def _say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()
