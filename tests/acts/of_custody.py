"""Examples of the acts on collars, their bags, and papers that run out."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import Any

from jobs.core import dayone, expiring, tags
from jobs.core.actors import Actor
from jobs.core.drawn import Equipment
from jobs.core.models import BagReport, Collar, ExpiringPaper
from jobs.core.states import S as State
from tests.acts.examples import BOTH, C, Example, M, S, roles
from tests.acts.of_core import job_for, on_job
from tests.make import DAY_ONE, PNG, SYSTEM, make_job, serial_of
from tests.utilities.made import make_request, make_service
from utilities import revisions

_count = itertools.count(1)
DAY = dt.date(2026, 11, 17)
UNTIL = dt.date(2027, 1, 15)


def a_paper(by: Actor | None = None, **fields: Any) -> ExpiringPaper:
    """A permit with its authority, of a home whose request is sent."""
    request = make_request(make_service(make_job(State.GRID_TIED)))
    assert request.job is not None
    authority = expiring.add_authority(f"City of {request.job.code}", email="permits@ottermere.example", by=SYSTEM)
    told: dict[str, Any] = {
        "kind": "permit",
        "number": "B-2026-118",
        "issued_on": DAY_ONE,
        "expires_on": dt.date(2026, 12, 1),
        "authority": authority,
    }
    return expiring.add_paper(request.job, **told | fields, by=SYSTEM)


def _paper(**given: object):
    return lambda by: (a_paper(by), dict(given))


def _collar(by: Actor) -> Collar:
    return Collar.objects.get(job=job_for(by, State.GRID_TIED))


def _barred(by: Actor) -> tuple[Any, dict[str, Any]]:
    job = make_job(State.GRID_TIED)
    old = serial_of(job)
    dayone.record_collar_registered(job, on=DAY, serial="LL-888888", by=SYSTEM)
    return Collar.objects.get(serial=old), {"reason": "looked at, sound"}


def a_report() -> BagReport:
    tag = tags.make_tag(make_job(State.AWAITING_UTILITY), by=SYSTEM)
    return tags.tell(tag, what="could not get in", by=SYSTEM)


def held_revision(revision: str = "B") -> Any:
    """A home at a utility that holds a collar of a revision."""
    job = make_job(State.GRID_TIED)
    Collar.objects.filter(job=job).update(revision=revision)
    make_service(job)
    return job


def _task(by: Actor) -> tuple[Any, dict[str, Any]]:
    revision = f"B{next(_count)}"
    held_revision(revision)
    gone = revisions.withdraw_revision(revision, on=DAY, notice="maker's notice 12", by=SYSTEM)
    return gone.tasks.get(), {"how": "swapped and told to the desk"}


def _withdraw(by: Actor) -> tuple[Any, dict[str, Any]]:
    revision = f"B{next(_count)}"
    held_revision(revision)
    return revision, {"on": DAY, "notice": "maker's notice 12"}


def _authority(by: Actor) -> tuple[Any, dict[str, Any]]:
    made = expiring.add_authority(f"City of Ottermere {next(_count)}", by=SYSTEM)
    return made, {"email": "permits@ottermere.example", "finals_before_collar": "no"}


def _told(by: Actor) -> tuple[Any, dict[str, Any]]:
    return tags.make_tag(make_job(State.AWAITING_UTILITY), by=SYSTEM), {"what": "not found"}


PAPER = {"kind": "permit", "number": "B-2026-118", "issued_on": DAY_ONE, "expires_on": dt.date(2026, 12, 1)}
DESIGN = {
    "kind": "one-line diagram",
    "revision": "A",
    "dated_on": DAY_ONE,
    "name": "one-line.pdf",
    "data": b"%PDF-1.7 made by a test",
    "shows": Equipment(battery_wh=13_500),
}

EXAMPLES: dict[str, Example] = {
    "jobs.core.custody.receive": Example(roles(M, S, C), lambda by: (f"LL-{424000 + next(_count)}", {"on": DAY, "revision": "C"})),
    "jobs.core.custody.move": Example(roles(M, S, C), lambda by: (_collar(by), {"to": "van", "on": DAY, "where": "van 2"}), BOTH),
    "jobs.core.custody.lift_bar": Example(roles(M), _barred),
    "jobs.core.custody.record_collar_lost": Example(roles(M, S, C), on_job(State.GRID_TIED, on=DAY, what="missing"), BOTH),
    "jobs.core.custody.record_bag_seen": Example(roles(M, S, C), on_job(State.GRID_TIED, on=DAY, name="bag.png", data=PNG), BOTH),
    "jobs.core.tags.make_tag": Example(roles(M, S, C), on_job(State.GRID_TIED), BOTH),
    "jobs.core.tags.tell": Example(roles(), _told, link=True),
    "jobs.core.tags.settle_report": Example(roles(M, S), lambda by: (a_report(), {"how": "recorded as a visit"})),
    "jobs.core.designs.add_design": Example(roles(M, S), on_job(**DESIGN)),
    "jobs.core.expiring.add_authority": Example(roles(M, S), lambda by: (f"City of Ottermere {next(_count)}", {})),
    "jobs.core.expiring.change_authority": Example(roles(M, S), _authority, BOTH),
    "jobs.core.expiring.add_paper": Example(roles(M, S), on_job(**PAPER)),
    "jobs.core.expiring.extend_paper": Example(roles(M, S), _paper(granted_on=DAY, expires_on=UNTIL)),
    "jobs.core.expiring.hand_over": Example(roles(M, S), _paper(owner=None, lead_days=21, renewing="a form and a fee"), BOTH),
    "jobs.core.expiring.end_paper": Example(roles(M, S), _paper(why="closed by its final")),
    "jobs.core.warrantyterms.set_term": Example(
        roles(M),
        lambda by: ("battery", {"event": "commissioning", "months": 120, "document": "maker's terms, 2026", "valid_from": DAY}),
        BOTH,
    ),
    "utilities.bagpapers.keep_sheet": Example(roles(M, C), on_job(State.GRID_TIED, language="es"), BOTH),
    "utilities.extension.write_for_extension": Example(roles(M, S), _paper(until=UNTIL)),
    "utilities.revisions.withdraw_revision": Example(roles(M), _withdraw),
    "utilities.revisions.finish_task": Example(roles(M, S), _task),
}
