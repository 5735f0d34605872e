from __future__ import annotations

import datetime as dt
from typing import Any

from jobs.core.actors import Actor
from jobs.core.facts import Said
from jobs.core.models import User
from jobs.core.states import S as State
from tests.acts.examples import BOTH, REFUSED, Example, M, S, roles
from tests.make import SYSTEM, make_job, make_user, serial_of
from tests.utilities.made import job_of, make_request, make_service, make_utility
from utilities import changes, endings, services, sheets, storms, visits
from utilities.deskanswers import Line
from utilities.models import DeskSheet, Storm
from utilities.profile import Profile
from utilities.terms import Terms

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


def _version(by: Actor) -> tuple[Any, dict[str, Any]]:
    version = services.version_of(make_utility(route="portal"), AT)
    return version, {}


def _corrected(by: Actor) -> tuple[Any, dict[str, Any]]:
    return _version(by)[0], {"terms": Terms(route="form by e-mail")}


def _confirmed(by: Actor) -> tuple[Any, dict[str, Any]]:
    return _version(by)[0], {"on": AT, "confirmed_with": "Lena Abbott"}


def _closed(by: Actor) -> tuple[Any, dict[str, Any]]:
    return endings.record_closed_there(make_request(), on=AT, reason="no access", by=SYSTEM), {"on": AT}


def _withdrawn(by: Actor) -> tuple[Any, dict[str, Any]]:
    return endings.end_request(make_request(), on=AT, reason="withdrawn", by=SYSTEM), {"on": AT, "person": "Lena Abbott"}


def _changed(by: Actor) -> tuple[Any, dict[str, Any]]:
    change = changes.propose_change(make_request(), on=AT, found="a 12S meter", option="meter", by=SYSTEM)
    return change, {"on": AT, "signed_by": "Guadalupe Hernández"}


def _lines(by: Actor) -> tuple[Any, dict[str, Any]]:
    request = make_request()
    return request.utility, {"lines": [Line(request.code, "nothing new")], "on": AT}


def _clerk(by: Actor) -> User:
    clerk = make_user(S, "Paz Moreno")
    make_utility(clerk=clerk)
    return clerk


def _sheet(by: Actor) -> DeskSheet:
    return sheets.prepare_sheet(make_request().utility, by=SYSTEM)


def _storm(by: Actor) -> Storm:
    return storms.declare_storm(make_request().utility, source="its own notice", review_on=dt.date(2026, 11, 25), by=SYSTEM)


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
    "utilities.endings.end_request": Example(roles(M, S), _request(on=AT, reason="lapsed"), REFUSED),
    "utilities.requests.record_contact": Example(roles(M, S), _request(on=AT, answered="nothing new"), BOTH),
    "utilities.requests.record_answer": Example(roles(M, S), _request(on=AT, answered="received", reference="WO-5512"), BOTH),
    "utilities.letters.write_to_desk": Example(roles(M, S), _with_desk, REFUSED),
    "utilities.visits.announce_visit": Example(
        roles(M, S), _request(told_on=AT, window_from=dt.date(2026, 12, 2), window_to=dt.date(2026, 12, 2)), BOTH
    ),
    "utilities.visits.record_homeowner_told": Example(roles(M, S), _announced, REFUSED),
    "utilities.visits.record_visit": Example(roles(M, S), _request(on=AT, outcome="fitted"), REFUSED),
    "utilities.versions.record_version": Example(roles(M), _utility(terms=Terms(route="portal"), valid_from=AT), REFUSED),
    "utilities.versions.correct_version": Example(roles(M), _corrected, BOTH),
    "utilities.versions.confirm_version": Example(roles(M), _confirmed, BOTH),
    "utilities.endings.record_closed_there": Example(roles(M, S), _request(on=AT, reason="no access"), REFUSED),
    "utilities.endings.record_open_there": Example(roles(M, S), _closed, REFUSED),
    "utilities.endings.record_withdrawal_heard": Example(roles(M, S), _withdrawn, REFUSED),
    "utilities.changes.propose_change": Example(roles(M, S), _request(on=AT, found="a 12S meter", option="meter"), REFUSED),
    "utilities.changes.record_change_signed": Example(roles(M, S), _changed, REFUSED),
    "utilities.changes.confirm_site": Example(
        roles(M, S), _request(on=AT, bag="left of the meter", access="she opens", name="Guadalupe"), BOTH
    ),
    "utilities.changes.record_meter_exchange": Example(roles(M, S), _service(asked_on=AT, done_on=None), BOTH),
    "utilities.deskanswers.record_lines": Example(roles(M, S), _lines, BOTH),
    "utilities.sheets.prepare_sheet": Example(roles(M, S), lambda by: (make_request().utility, {}), REFUSED),
    "utilities.sheets.discard_sheet": Example(roles(M, S), lambda by: (_sheet(by), {}), REFUSED),
    "utilities.sheets.release_sheet": Example(roles(M), lambda by: (_sheet(by), {"on": dt.date(2026, 11, 18)}), REFUSED),
    "utilities.storms.declare_storm": Example(
        roles(M), lambda by: (make_request().utility, {"source": "its own notice", "review_on": dt.date(2026, 11, 25)}), REFUSED
    ),
    "utilities.storms.review_storm": Example(roles(M), lambda by: (_storm(by), {"review_on": dt.date(2026, 11, 27)}), BOTH),
    "utilities.storms.lift_storm": Example(roles(M), lambda by: (_storm(by), {}), REFUSED),
    "utilities.covering.hand_over": Example(roles(M), lambda by: (_clerk(by), {"to": make_user(S)}), REFUSED),
    "utilities.covering.record_away": Example(roles(M), lambda by: (_clerk(by), {"first": AT, "last": AT, "stand_in": make_user(S)}), BOTH),
    "utilities.reports.report_fitting": Example(roles(M, S), _request(source="homeowner", by_on=AT), BOTH),
    "utilities.replay.begin": Example(roles(M), lambda by: (None, {"today": AT}), REFUSED),
    "utilities.visits.confirm_fitting": Example(roles(M, S), _fitted, REFUSED),
}
