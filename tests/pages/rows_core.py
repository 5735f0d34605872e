from __future__ import annotations

import datetime as dt
from typing import Any

from jobs.core import cutover, dayone, files, homefacts, kinds
from jobs.core.cutover import Read
from jobs.core.facts import OLD_CTS, SITE_METERS
from jobs.core.models import Crew, CrewMember, Job, User
from jobs.core.pairs import Pair
from jobs.core.rights import CREW
from jobs.core.states import S as State
from tests.core.phone import two_versions
from tests.make import DAY_ONE, PNG, SYSTEM, make_job, make_user, put, steps_seen
from tests.pages.addresses import ALL, STRANGERS, C, F, M, Row, S, V, roles


def job_for(user: User | None, **fields: Any) -> Job:
    """A job that the person may know of: a crew's is its own."""
    if user is not None and user.groups.filter(name=CREW).exists():
        team, _ = Crew.objects.get_or_create(name="North crew")
        CrewMember.objects.get_or_create(crew=team, user=user, from_on=dt.date(2026, 1, 1))
        fields.setdefault("crew", team)
    return make_job(fields.pop("state", State.IN_BUILD), **fields)


def recording(what: str):
    return lambda user: {"code": job_for(user).code, "what": what}


def a_job(user: User | None) -> dict[str, Any]:
    return {"code": job_for(user).code}


def _fact(user: User | None) -> dict[str, Any]:
    return {"uid": put(job_for(user), kinds.COMMISSIONED, on=DAY_ONE).uid}


def _ct_check(user: User | None) -> dict[str, Any]:
    return {"uid": dayone.record_ct_check(job_for(user), on=DAY_ONE, tests=steps_seen(), by=SYSTEM).uid}


def _cut_over(user: User | None) -> dict[str, Any]:
    readings = [Read("14:00", Pair(310, 300)), Read("14:01", Pair(1_512, 1_500))]
    at = dt.datetime(2026, 11, 17, 18, tzinfo=dt.UTC)
    job = make_job(State.COLLAR_ENERGIZED)
    fact = cutover.record_cut_over(job, at=at, readings=readings, meter=SITE_METERS[0], old_cts=OLD_CTS[0], by=SYSTEM)
    return {"uid": fact.uid}


def _hold(user: User | None) -> dict[str, Any]:
    hold = homefacts.hold(job_for(user), kind="wish", stops=["calls"], review_on=dt.date(2026, 12, 1), reason="travelling", by=SYSTEM)
    return {"uid": hold.uid}


def crew_part(name: str):
    return lambda user: {"code": job_for(user).code, "name": name}


def _two_versions(user: User | None) -> dict[str, Any]:
    return {"uid": two_versions(job_for(user)).uid}


def _document(user: User | None) -> dict[str, Any]:
    return {"uid": files.add_document(job_for(user), name="bag.png", data=PNG, subject="bag", by=SYSTEM).uid}


ROWS = {
    "sign_in": Row(ALL | STRANGERS, ALL | STRANGERS),
    "sign_out": Row(None, ALL | STRANGERS),
    "password": Row(ALL, ALL),
    "people": Row(roles(M)),
    "person_new": Row(roles(M), roles(M)),
    "person": Row(roles(M), roles(M), lambda user: {"uid": make_user(S).uid}),
    "crew_new": Row(roles(M), roles(M)),
    "rules": Row(roles(M)),
    "rule": Row(roles(M), roles(M), lambda user: {"name": "follow_up_days"}),
    "job_new": Row(roles(M, S), roles(M, S)),
    # One address for many acts: test_core_views.py goes through each; here one that the crew does.
    "record": Row(roles(M, C), roles(M, C), recording("commissioned")),
    "reveal": Row(roles(M, S, V, C), roles(M, S, V, C), a_job),
    "correct": Row(ALL, ALL, _fact),
    "ct_check": Row(ALL, None, _ct_check),
    "cut_over": Row(roles(M, S, F, V), None, _cut_over),
    "fitted_collar": Row(roles(M, S, F, V), None, a_job),
    "crew_day": Row(roles(M, C)),
    "crew_hello": Row(roles(M, C)),
    "crew_worker": Row(ALL | STRANGERS),
    "crew_form": Row(roles(M, C), None, a_job),
    "crew_part": Row(roles(M, C), roles(M, C), crew_part("commissioned")),
    "crew_versions": Row(roles(M, C), roles(M, C), _two_versions),
    "lift": Row(None, roles(M, S), _hold),
    "document": Row(ALL, None, _document),
}
