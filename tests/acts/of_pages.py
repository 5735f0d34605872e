"""The acts of imports stand in core; the kind that they are shown with here is this app's list of homes."""

from __future__ import annotations

from jobs.core import clock, files, importing
from jobs.core.actors import Actor
from jobs.core.models import ImportRun
from tests.acts.examples import BOTH, Example, M, S, roles
from tests.homelist import home, sheet
from tests.make import SYSTEM

DATA = sheet(home(1), home(2, Contract_signed="2 Mar 2026", Commissioned_on="4 May 2026"))


def _run(by: Actor) -> ImportRun:
    """A file brought in by whoever acts; those who may not bring one in have one here, to be refused."""
    return ImportRun.objects.create(kind="jobs", name="homes.csv", sha256=files.store(DATA).sha256, by=by.user, by_name=by.name)


def _begun(by: Actor) -> ImportRun:
    run = _run(by)
    run.started_at, run.rows_total = clock.now(), 2
    run.counts = {"new": 0, "changed": 0, "unchanged": 0, "left_out": 0, "at": run.started_at.isoformat()}
    run.save()
    return run


def _applied(by: Actor) -> ImportRun:
    """Applied by somebody who may; whoever acts brought it in."""
    run = importing.apply(_begun(SYSTEM), by=SYSTEM)
    run.by = by.user
    run.save(update_fields=["by"])
    return run


EXAMPLES: dict[str, Example] = {
    "jobs.core.importing.prepare": Example(roles(M, S), lambda by: ("jobs", {"name": "homes.csv", "data": DATA, "columns": {}}), BOTH),
    "jobs.core.importing.match_columns": Example(roles(M, S), lambda by: (_run(by), {"columns": {"number": "", "owner": "Owner"}}), BOTH),
    "jobs.core.importing.check_whole": Example(roles(M, S), lambda by: (_run(by), {}), BOTH),
    "jobs.core.importing.start": Example(roles(M, S), lambda by: (_run(by), {"good_rows_only": False})),
    "jobs.core.importing.apply_chunk": Example(roles(M, S), lambda by: (_begun(by), {})),
    "jobs.core.importing.drop": Example(roles(M, S), lambda by: (_run(by), {})),
    "jobs.core.importing.take_back": Example(roles(M, S), lambda by: (_applied(by), {})),
}
