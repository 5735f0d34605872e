from __future__ import annotations

import itertools
from typing import Any

from jobs.core import expiring, tags
from jobs.core.models import Collar, User
from jobs.core.states import S as State
from tests.acts.of_custody import a_paper, a_report, held_revision
from tests.make import DAY_ONE, SYSTEM, make_job
from tests.pages.addresses import ALL, STRANGERS, C, F, M, Row, S, V, roles
from tests.pages.rows_core import job_for
from utilities import revisions

_count = itertools.count(1)
OFFICE = roles(M, S)
CUSTODY = roles(M, S, C)
READ = roles(M, S, F, V)


def a_file(user: User | None) -> dict[str, Any]:
    return {"ending": "csv"}


def a_code(user: User | None) -> dict[str, Any]:
    return {"code": job_for(user, state=State.GRID_TIED).code}


def a_collar(user: User | None) -> dict[str, Any]:
    return {"uid": Collar.objects.get(job=job_for(user, state=State.GRID_TIED)).uid}


def of_paper(**more: str):
    return lambda user: {"uid": a_paper().uid, **more}


def _authority(user: User | None) -> dict[str, Any]:
    return {"uid": expiring.add_authority(f"City of Ottermere {next(_count)}", by=SYSTEM).uid}


def _task(user: User | None) -> dict[str, Any]:
    revision = f"B{next(_count)}"
    held_revision(revision)
    return {"uid": revisions.withdraw_revision(revision, on=DAY_ONE, notice="maker's notice 12", by=SYSTEM).tasks.get().uid}


def _tag(user: User | None) -> dict[str, Any]:
    return {"token": tags.make_tag(make_job(State.AWAITING_UTILITY), by=SYSTEM).token}


ROWS = {
    "tag_page": Row(ALL | STRANGERS, ALL | STRANGERS, _tag),
    "bag_tag": Row(CUSTODY, CUSTODY, a_code),
    "handover_sheet": Row(roles(M, C), roles(M, C), a_code),
    "designs": Row(OFFICE, OFFICE, a_code),
    "bag_report": Row(OFFICE, OFFICE, lambda user: {"uid": a_report().uid}),
    "collars": Row(ALL),
    "collars_export": Row(ALL, None, a_file),
    "collar_new": Row(CUSTODY, CUSTODY),
    "collar": Row(ALL, CUSTODY, a_collar),
    "collar_lift": Row(roles(M), roles(M), a_collar),
    "revisions": Row(READ, roles(M)),
    "revision_task": Row(OFFICE, OFFICE, _task),
    "papers": Row(OFFICE),
    "papers_export": Row(OFFICE, None, a_file),
    "paper_new": Row(OFFICE, OFFICE, a_code),
    "paper": Row(OFFICE, None, of_paper()),
    "paper_do": Row(OFFICE, OFFICE, of_paper(what="extend")),
    "authorities": Row(OFFICE, OFFICE),
    "authority": Row(OFFICE, OFFICE, _authority),
    "warranty_terms": Row(READ, roles(M)),
}
