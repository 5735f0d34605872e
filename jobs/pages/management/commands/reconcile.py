"""Prove from the records that what must hold does hold."""

from __future__ import annotations

import json
import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from jobs.core import words
from jobs.pages import reconcile


class Command(BaseCommand):
    help = "Print each breach among the records; exit status 1 on any."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", help="for a program")

    def handle(self, *args: Any, **options: Any) -> None:
        found = []
        for breach in reconcile.breaches():
            found.append(breach)
            if not options["json"]:
                self.stdout.write(breach)
        if options["json"]:
            self.stdout.write(json.dumps({"breaches": found}, ensure_ascii=False))
        else:
            self.stdout.write(f"{words.count(len(found), 'breach').capitalize()}." if found else "Everything holds.")
        if found:
            sys.exit(1)
