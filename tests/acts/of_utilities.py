from __future__ import annotations

import datetime as dt
from typing import Any

from jobs.core.actors import Actor
from jobs.core.facts import Said
from jobs.core.states import S as State
from tests.acts.examples import BOTH, REFUSED, Example, M, S, roles
from tests.make import SYSTEM, make_job, serial_of
from tests.utilities.made import job_of, make_request, make_service, make_utility
from utilities import visits
from utilities.profile import Profile

AT = dt.date(2026, 11, 16)


def _utility(**given: object):
    return lambda by: (make_utility(), dict(given))


def _service(**given: object):
    return lambda by: (make_service(), dict(given))


def _request(**given: object):
    return lambda by: (make_request(), dict(given))


def _edit(by: Actor) -> tuple[Any, dict[str, Any]]:
    utility = make_utility()
    return utility, {"profile": Profile(name=utility.name, zone="America/Denver", worked_weekdays=(0, 1, 2, 3))}


def _fitted(by: Actor) -> tuple[Any, dict[str, Any]]:
    request = make_request()
    return request, {"by_on": AT, "said_by": Said("gateway"), "serial": serial_of(job_of(request))}


def _announced(by: Actor) -> tuple[Any, dict[str, Any]]:
    day = dt.date(2026, 12, 2)
    return visits.announce_visit(make_request(), told_on=AT, window_from=day, window_to=day, by=SYSTEM), {"on": AT}


def _with_desk(by: Actor) -> tuple[Any, dict[str, Any]]:
    utility = make_utility(desk_email="desk@ottermere.example")
    return make_request(make_service(utility=utility)), {"asks": "Is a day planned for the visit?"}


EXAMPLES = {
    "utilities.profile.add_utility": Example(
        roles(M), lambda by: (Profile(name="Ottermere Municipal Light", zone="America/Denver"), {}), REFUSED
    ),
    "utilities.profile.edit_utility": Example(roles(M), _edit, BOTH),
    "utilities.profile.set_districts": Example(roles(M), _utility(names=["North", "South"]), BOTH),
    "utilities.profile.set_closures": Example(roles(M), _utility(first=AT, last=AT, kind="closed"), BOTH),
    "utilities.meters.connect_service": Example(roles(M, S), lambda by: (make_job(State.GRID_TIED), {"utility": make_utility()}), REFUSED),
    "utilities.meters.change_service": Example(
        roles(M, S), _service(district=None, meter_number="55 806 528", meter_form="2S", account_number=""), BOTH
    ),
    "utilities.requests.record_sent": Example(roles(M, S), _service(on=AT), REFUSED),
    "utilities.requests.record_sent_again": Example(
        roles(M, S), _request(on=AT, because="incomplete", counts_as_new=True, route="portal"), REFUSED
    ),
    "utilities.requests.end_request": Example(roles(M, S), _request(on=AT, reason="lapsed"), REFUSED),
    "utilities.requests.record_contact": Example(roles(M, S), _request(on=AT, answered="nothing new"), BOTH),
    "utilities.requests.record_answer": Example(roles(M, S), _request(on=AT, answered="received", reference="WO-5512"), BOTH),
    "utilities.letters.write_to_desk": Example(roles(M, S), _with_desk, REFUSED),
    "utilities.visits.announce_visit": Example(
        roles(M, S), _request(told_on=AT, window_from=dt.date(2026, 12, 2), window_to=dt.date(2026, 12, 2)), BOTH
    ),
    "utilities.visits.record_homeowner_told": Example(roles(M, S), _announced, REFUSED),
    "utilities.visits.record_visit": Example(roles(M, S), _request(on=AT, outcome="fitted"), REFUSED),
    "utilities.replay.begin": Example(roles(M), lambda by: (None, {"today": AT}), REFUSED),
    "utilities.visits.record_reported_fitted": Example(roles(M, S), _fitted, REFUSED),
}
