from __future__ import annotations

import datetime as dt
from typing import Any

from jobs.core import clock, homefacts
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.ctpv import PVTest
from jobs.core.cutover import Read
from jobs.core.dayone import Photo
from jobs.core.facts import OLD_CTS, SITE_METERS, Said
from jobs.core.intake import NewHome, NewPerson
from jobs.core.metering import Pulses
from jobs.core.metertiming import Mark
from jobs.core.models import Crew, CrewMember, Job
from jobs.core.pairs import Pair
from jobs.core.rights import CREW, FINANCE, ROLES, SCHEDULER
from jobs.core.states import S as State
from tests.acts.examples import BOTH, REFUSED, C, Example, M, S, V, roles
from tests.appointments.homes import begun
from tests.core import phone
from tests.make import DAY_ONE, PNG, SYSTEM, make_job, make_user, put, steps_seen

AT = dt.datetime(2026, 11, 17, 18, 0, tzinfo=dt.UTC)


def job_for(by: Actor, state: State = State.IN_BUILD, **fields: Any) -> Job:
    """A job that the actor may know of: a crew's is its own."""
    if by.user is not None and by.user.groups.filter(name=CREW).exists():
        team, _ = Crew.objects.get_or_create(name="North crew")
        CrewMember.objects.get_or_create(crew=team, user=by.user, from_on=dt.date(2026, 1, 1))
        fields.setdefault("crew", team)
    return make_job(state, **fields)


def on_job(state: State = State.IN_BUILD, /, **kwargs: object):
    return lambda by: (job_for(by, state), dict(kwargs))


def _new_home(by: Actor):
    home = NewHome(street="12 Alder Street", city="Ottermere", region="CO", zone="America/Denver", owner=NewPerson("Sam Uttley"))
    return home, {}


def _correct(by: Actor):
    job = job_for(by)
    # Recorded by nobody in particular, today: a kind that every role's rights meet is none; commissioning is the crew's and the manager's.
    return put(job, k.COMMISSIONED, on=DAY_ONE), {"withdraw": True, "reason": "the other house"}


def _hold(by: Actor):
    job = job_for(by)
    return homefacts.hold(job, kind="wish", stops=["calls"], review_on=dt.date(2026, 12, 1), reason="travelling", by=SYSTEM), {}


def _emergency(by: Actor):
    job = job_for(by)
    put(job, k.EMERGENCY_OPENED, on=dt.date(2026, 11, 17), value={"what": "half the house dark"})
    return job, {"how": "the utility mended its neutral"}


def _code(by: Actor):
    from jobs.core import secrets

    # A crew reads it on the day at the home, a verifier during the own call.
    job = begun(by).job if by.may("core.verify") else job_for(by, install_on=clock.today_in("America/Denver"))
    secrets.keep_code(job, name="gate", code="4711", by=SYSTEM)
    return job, {"name": "gate", "purpose": "visit today"}


def _broken_seal(by: Actor):
    job = job_for(by)
    put(job, k.SEAL_SEEN, on=DAY_ONE, value={"state": "broken"})
    return job, {"on": DAY_ONE, "how": "by telephone", "who": "dispatcher"}


def _new_user(by: Actor):
    return "rosa@larchlantern.example", {
        "name": "Rosa Lind",
        "password": "wading-heron-at-noon",
        "roles": [SCHEDULER],
        "zone": "America/Denver",
        "languages": ["en"],
    }


def _changed_user(by: Actor):
    user = make_user(SCHEDULER, "Rosa Lind")
    return user, {"name": "Rosa Lind-Ortiz", "roles": [FINANCE], "zone": "America/Denver", "languages": ["es"], "is_active": True}


def _joining(by: Actor):
    return make_user(CREW, "Rosa Lind"), {"crew": Crew.objects.create(name="South crew")}


EXAMPLES = {
    "jobs.core.people.add_user": Example(roles(M), _new_user),
    "jobs.core.people.change_user": Example(roles(M), _changed_user, BOTH),
    "jobs.core.people.add_crew": Example(roles(M), lambda by: ("South crew", {})),
    "jobs.core.people.join_crew": Example(roles(M), _joining, BOTH),
    "jobs.core.intake.add_job": Example(roles(M, S), _new_home),
    "jobs.core.intake.assign": Example(roles(M, S), on_job(crew=None, install_on=dt.date(2026, 12, 1)), BOTH),
    "jobs.core.rules.set_rule": Example(roles(M), lambda by: ("follow_up_days", {"value": 10, "valid_from": clock.office_today()}), BOTH),
    "jobs.core.secrets.keep_code": Example(roles(M, S, V, C), on_job(name="gate", code="4711"), BOTH),
    "jobs.core.secrets.reveal_code": Example(roles(M, S, V, C), _code, BOTH),
    "jobs.core.dayone.record_contract_signed": Example(roles(M, S), on_job(on=DAY_ONE), BOTH),
    "jobs.core.dayone.record_installed": Example(roles(M, C), on_job(on=DAY_ONE), BOTH),
    "jobs.core.dayone.record_commissioned": Example(roles(M, C), on_job(on=DAY_ONE), BOTH),
    "jobs.core.dayone.record_ct_check": Example(roles(M, C), on_job(on=DAY_ONE, tests=steps_seen()), BOTH),
    "jobs.core.sitevisit.record_surveyed": Example(
        roles(M, C), on_job(on=DAY_ONE, service_voltage="120/240", clearance="clear", meter_form="2s", seal="intact"), BOTH
    ),
    "jobs.core.sitevisit.record_seal": Example(roles(M, C), on_job(on=DAY_ONE, state="absent", photo=Photo("seal.png", PNG)), BOTH),
    "jobs.core.sitevisit.record_seal_reported": Example(roles(M, S), _broken_seal, BOTH),
    "jobs.core.sitephotos.record_photos": Example(roles(M, C), on_job(on=DAY_ONE, photos={"panel": Photo("panel.png", PNG)}), BOTH),
    "jobs.core.phoneparts.receive": Example(roles(M, C), lambda by: phone.part_to_receive(job_for(by)), BOTH),
    "jobs.core.phoneparts.choose": Example(roles(M, C), lambda by: (phone.two_versions(job_for(by)), {"phones": False})),
    "jobs.core.metering.record_cts_fitted": Example(
        roles(M, C),
        on_job(on=DAY_ONE, place="between the meter and every source", rated_a=200, ratio_set_a=200, older_pv="none"),
        BOTH,
    ),
    "jobs.core.metering.record_pv_check": Example(roles(M, C), on_job(on=DAY_ONE, test=PVTest(900, -2_050, 0, 3_000)), BOTH),
    "jobs.core.metering.record_meter_timed": Example(
        roles(M, C), on_job(on=DAY_ONE, pulses=Pulses(Mark.KH, 1, taps=(0, 2, 4, 6)), direction="import", ct_total_w=1_790), BOTH
    ),
    "jobs.core.dayone.record_collar_registered": Example(roles(M, S, C), on_job(on=DAY_ONE, serial="LL-424242"), BOTH),
    "jobs.core.dayone.record_collar_staged": Example(
        roles(M, S, C), on_job(on=DAY_ONE, place="left of the meter", photo=Photo("bag.png", PNG)), BOTH
    ),
    "jobs.core.dayone.record_sheet_given": Example(roles(M, C), on_job(on=DAY_ONE, to="the owner"), BOTH),
    "jobs.core.homefacts.record_permission_to_operate": Example(roles(M, S), on_job(on=DAY_ONE), BOTH),
    "jobs.core.homefacts.record_final_inspection": Example(roles(M, S), on_job(on=DAY_ONE), BOTH),
    "jobs.core.homefacts.record_gateway_report": Example(roles(M, S, V), on_job(State.COLLAR_ENERGIZED, at=AT, state="closed"), BOTH),
    "jobs.core.homefacts.record_communications": Example(roles(M, S, V), on_job(State.COLLAR_ENERGIZED, at=AT), BOTH),
    "jobs.core.homefacts.record_software_updated": Example(roles(M, S, V), on_job(State.COLLAR_ENERGIZED, on=dt.date(2026, 11, 17)), BOTH),
    "jobs.core.cutover.record_cut_over": Example(
        roles(M, S, V),
        on_job(
            State.COLLAR_ENERGIZED,
            at=AT,
            readings=[Read("14:00", Pair(310, 300)), Read("14:01", Pair(1_512, 1_500))],
            meter=SITE_METERS[0],
            old_cts=OLD_CTS[0],
        ),
        BOTH,
    ),
    "jobs.core.cutover.record_backup_limits": Example(
        roles(M, S, V), on_job(State.COLLAR_ENERGIZED, on=dt.date(2026, 11, 17), entered_by="Ana Ortiz", continuous_w=7_600), BOTH
    ),
    "jobs.core.cutover.record_sheet_two_given": Example(
        roles(M, S, V), on_job(State.BACKUP_VERIFIED, on=dt.date(2026, 11, 17), to="Guadalupe", language="es"), BOTH
    ),
    "jobs.core.homefacts.record_medical_answer": Example(
        roles(S, V, C), on_job(answer="no", said_by="Guadalupe Hernández", on=dt.date(2026, 11, 17)), BOTH
    ),
    "jobs.core.homefacts.record_removed": Example(
        roles(M, S), on_job(State.BACKUP_VERIFIED, by_on=dt.date(2026, 11, 16), said_by=Said("homeowner")), REFUSED
    ),
    "jobs.core.homefacts.record_homeowner_told": Example(
        roles(M, S), on_job(State.BACKUP_VERIFIED, on=dt.date(2026, 11, 17), how="telephone", who="Guadalupe"), BOTH
    ),
    "jobs.core.homefacts.open_emergency": Example(roles(*ROLES), on_job(what="half the house dark"), BOTH),
    "jobs.core.homefacts.end_emergency": Example(roles(M, S), _emergency),
    "jobs.core.homefacts.cancel": Example(roles(M), on_job(on=dt.date(2026, 11, 17), reason="sold the house")),
    "jobs.core.homefacts.correct": Example(roles(M, C), _correct),
    "jobs.core.homefacts.hold": Example(
        roles(M, S), on_job(kind="wish", stops=["calls"], review_on=dt.date(2026, 12, 1), reason="travelling"), BOTH
    ),
    "jobs.core.homefacts.lift": Example(roles(M, S), _hold),
}
