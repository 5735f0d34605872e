from __future__ import annotations

import datetime as dt
from typing import Any

from jobs.core.models import User
from tests.make import SYSTEM
from tests.pages.addresses import F, M, Row, S, V, roles
from tests.utilities.made import make_request, make_service, make_utility
from utilities import changes, endings, services, sheets, storms, visits

READ = roles(M, S, F, V)
RECORD = roles(M, S)
EDIT = roles(M)


def a_file(user: User | None) -> dict[str, Any]:
    return {"ending": "csv"}


def a_utility(user: User | None) -> dict[str, Any]:
    return {"uid": make_utility().uid}


def a_request(user: User | None) -> dict[str, Any]:
    return {"uid": make_request().uid}


def by_code(user: User | None) -> dict[str, Any]:
    return {"code": make_request().code}


def a_service(user: User | None) -> dict[str, Any]:
    return {"uid": make_service().uid}


def a_home(user: User | None) -> dict[str, Any]:
    return {"code": make_service().job.code}


def an_announced_visit(user: User | None) -> dict[str, Any]:
    day = dt.date(2026, 12, 2)
    visit = visits.announce_visit(make_request(), told_on=dt.date(2026, 11, 13), window_from=day, window_to=day, by=SYSTEM)
    return {"uid": visit.uid}


def a_version(user: User | None) -> dict[str, Any]:
    version = services.version_of(make_utility(route="portal"), dt.date(2026, 11, 13))
    assert version is not None
    return {"uid": version.uid}


def closed_there(user: User | None) -> dict[str, Any]:
    return {"uid": endings.record_closed_there(make_request(), on=dt.date(2026, 11, 13), reason="no access", by=SYSTEM).uid}


def a_change(user: User | None) -> dict[str, Any]:
    change = changes.propose_change(make_request(), on=dt.date(2026, 11, 13), found="a 12S meter", option="meter", by=SYSTEM)
    return {"uid": change.uid}


def a_sheet(user: User | None) -> dict[str, Any]:
    return {"uid": sheets.prepare_sheet(make_request().utility, by=SYSTEM).uid}


def a_given_sheet(user: User | None) -> dict[str, Any]:
    sheet = sheets.prepare_sheet(make_request().utility, by=SYSTEM)
    return {"uid": sheets.release_sheet(sheet, on=dt.date(2026, 11, 18), by=SYSTEM).uid}


def a_storm(user: User | None) -> dict[str, Any]:
    review_on = dt.date(2026, 11, 25)
    return {"uid": storms.declare_storm(make_utility(), source="its own notice", review_on=review_on, by=SYSTEM).uid}


def a_sheets_file(user: User | None) -> dict[str, Any]:
    return {**a_sheet(user), "ending": "pdf"}


ROWS = {
    "utilities": Row(READ),
    "utilities_export": Row(READ, None, a_file),
    "scores": Row(READ),
    "scores_progress": Row(READ),
    "scores_replay": Row(None, EDIT),
    "scores_export": Row(READ, None, a_file),
    "desks": Row(RECORD),
    "desk": Row(RECORD, RECORD, a_utility),
    "desks_away": Row(EDIT, EDIT),
    "desks_hand_over": Row(EDIT, EDIT),
    "sheet_prepare": Row(None, RECORD, a_utility),
    "sheet": Row(RECORD, RECORD, a_given_sheet),
    "sheet_release": Row(EDIT, EDIT, a_sheet),
    "sheet_discard": Row(None, RECORD, a_sheet),
    "sheet_file": Row(RECORD, None, a_sheets_file),
    "storm_declare": Row(EDIT, EDIT, a_utility),
    "storm": Row(EDIT, EDIT, a_storm),
    "storm_lift": Row(EDIT, EDIT, a_storm),
    "utility_new": Row(EDIT, EDIT),
    "utility": Row(READ, None, a_utility),
    "utility_forecast": Row(READ, None, a_utility),
    "utility_edit": Row(EDIT, EDIT, a_utility),
    "utility_districts": Row(EDIT, EDIT, a_utility),
    "utility_calendar": Row(EDIT, EDIT, a_utility),
    "utility_contacts": Row(READ, None, a_utility),
    "utility_answer": Row(RECORD, RECORD, a_utility),
    "versions": Row(READ, None, a_utility),
    "version_new": Row(EDIT, EDIT, a_utility),
    "version_correct": Row(EDIT, EDIT, a_version),
    "version_confirm": Row(EDIT, EDIT, a_version),
    "request_reported": Row(RECORD, RECORD, a_request),
    "request_closed": Row(RECORD, RECORD, a_request),
    "request_open": Row(RECORD, RECORD, closed_there),
    "request_heard": Row(RECORD, RECORD, a_request),
    "request_change": Row(RECORD, RECORD, a_request),
    "request_site": Row(RECORD, RECORD, a_request),
    "change_signed": Row(RECORD, RECORD, a_change),
    "meter_exchange": Row(RECORD, RECORD, a_service),
    "requests": Row(READ),
    "requests_export": Row(READ, None, a_file),
    "request": Row(READ, None, by_code),
    "home_connect": Row(RECORD, RECORD, a_home),
    "service": Row(RECORD, RECORD, a_service),
    "request_sent": Row(RECORD, RECORD, a_service),
    "request_contact": Row(RECORD, RECORD, a_request),
    "request_answer": Row(RECORD, RECORD, a_request),
    "request_visit": Row(RECORD, RECORD, a_request),
    "request_announce": Row(RECORD, RECORD, a_request),
    "request_fitted": Row(RECORD, RECORD, a_request),
    "request_again": Row(RECORD, RECORD, a_request),
    "request_end": Row(RECORD, RECORD, a_request),
    "request_write": Row(RECORD, RECORD, a_request),
    "visit_told": Row(RECORD, RECORD, an_announced_visit),
}
