"""What is photographed: for each address of the URL configuration an example out of the demo, as the role that uses the page most.

An address without an entry is an error of pictures.py, so that a new page is looked at too. Addresses that take only POST need none.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from jobs.appointments.models import AppointmentState as A
from jobs.core.models import PhonePart
from jobs.core.recordings import RECORDINGS
from jobs.core.rights import CREW, FINANCE, MANAGER, RIGHTS, ROLES, SCHEDULER, VERIFIER
from jobs.core.states import S
from jobs.notices.models import State
from tests.browser import demo_rows as d
from tests.browser.demo_rows import Kwargs, by_code, by_uid
from utilities.models import ChangeOrder, Outcome, Utility

STRANGER = ""  # somebody who is not signed in


def nothing() -> Kwargs:
    return {}


@dataclass(frozen=True)
class Shot:
    """One picture of an address. press: a button pressed once the page stands, to see what is refused; status: of what is shown then."""

    role: str
    kwargs: Callable[[], Kwargs] = nothing
    label: str = ""
    query: Callable[[], dict[str, str]] = dict
    status: int = 200
    press: str = ""


@dataclass(frozen=True)
class File:
    """An address that gives no page but a file, or words for a machine. A PDF's pages are photographed."""

    role: str
    why: str
    kwargs: Callable[[], Kwargs] = nothing
    query: Callable[[], dict[str, str]] = dict


# On a home in which state each is recorded; not named here: in build.
RECORDED_IN = {
    "removed": S.BACKUP_VERIFIED,
    "homeowner-told": S.BACKUP_VERIFIED,
    "gateway-report": S.COLLAR_ENERGIZED,
    "communications": S.COLLAR_ENERGIZED,
    "software-updated": S.COLLAR_ENERGIZED,
    "medical-answer": S.COLLAR_ENERGIZED,
    "permission-to-operate": S.GRID_TIED,
    "final-inspection": S.GRID_TIED,
    "bag-seen": S.AWAITING_UTILITY,
    "collar-lost": S.AWAITING_UTILITY,
}


def recording(what: str, *, press: str = "") -> Shot:
    """The crew's where the crew does it on day one, else the first role's that may."""
    spec = RECORDINGS[what]
    roles = RIGHTS[spec.right.removeprefix("core.")][1]
    role = CREW if CREW in roles and what not in RECORDED_IN else next(name for name in ROLES if name in roles)

    def kwargs() -> Kwargs:
        rows = d.crews_homes() if role == CREW else d.homes(RECORDED_IN.get(what, S.IN_BUILD))()
        rows = rows.filter(has_battery=True) if spec.battery_only else rows
        return {"code": d.one(rows, f"home on which “{what}” is recorded").code, "what": what}

    return Shot(role, kwargs, label=f"{what}, refused" if press else what, press=press, status=422 if press else 200)


def list_files(role: str, query: Callable[[], dict[str, str]] = dict) -> Sequence[File]:
    return [File(role, "what the list shows, as a file", lambda e=ending: {"ending": e}, query) for ending in ("csv", "xlsx")]  # type: ignore[misc]


def all_homes() -> Iterator[Shot]:
    for state in S:
        yield Shot(MANAGER, by_code(d.homes(state), f"job {state.words}"), label=state.value)
    for label, rows in (
        ("spanish", d.spanish_homes),
        ("on hold", d.held_homes),
        ("corrected", d.corrected_homes),
        ("collar removed", d.removed_homes),
        ("two meters", d.two_meter_homes),
        ("seal broken", d.broken_seal_homes),
    ):
        yield Shot(MANAGER, by_code(rows, f"home that is {label}"), label=label)
    yield Shot(CREW, by_code(d.crews_homes, "home of the crew in build"), label="as crew")
    yield Shot(FINANCE, by_code(d.homes(S.AWAITING_UTILITY), "home that waits"), label="as finance")
    yield Shot(SCHEDULER, by_code(d.bookable, "home to book"), label="ready to book")
    yield Shot(SCHEDULER, by_code(d.texted_homes, "home that may be texted"), label="texted")


def all_messages() -> Iterator[Shot]:
    for state in State:
        if state not in (State.SENDING, State.RELEASED):  # both of a moment
            yield Shot(SCHEDULER, by_uid(d.messages(state), f"message that is “{state.label}”"), label=state.value)


def all_calls() -> Iterator[Shot]:
    for state in (A.OFFERED, A.BOOKED, A.CONFIRMED, A.DECLINED, A.CANCELLED):
        yield Shot(SCHEDULER, by_uid(d.calls(state), f"call {state.label}"), label=state.value)
    yield Shot(VERIFIER, by_uid(d.running, "call that is being held"), label="being held")
    yield Shot(VERIFIER, by_uid(d.to_come, "call to come"), label="to come, as verifier")
    for result in ("passed", "not passed", "not finished"):
        yield Shot(MANAGER, by_uid(d.with_record(result), f"call {result}"), label=result)


def links_of_homeowners() -> Iterator[Shot]:
    for state in (A.OFFERED, A.BOOKED, A.CONFIRMED):
        yield Shot(STRANGER, d.call_link(state), label=state.value)
    yield Shot(STRANGER, d.call_link(A.OFFERED), label="offered, es", query=lambda: {"lang": "es"})
    yield Shot(STRANGER, d.call_link(A.OFFERED), label="nothing chosen", press="Book this time", status=422)
    yield Shot(STRANGER, d.call_link(A.CONFIRMED), label="another time", query=lambda: {"change": "1"})
    yield Shot(STRANGER, d.ended_call_link, label="ended", status=410)


def request(role: str = SCHEDULER, *, label: str = "") -> Shot:
    return Shot(role, d.request_uid, label=label)


EXAMPLES: dict[str, Sequence[Shot | File]] = {
    # What shows several apps.
    "today": [Shot(role, label=role) for role in ROLES],
    "jobs": [
        Shot(MANAGER, label="all"),
        Shot(MANAGER, label="awaiting the utility", query=lambda: {"state": S.AWAITING_UTILITY.value}),
        Shot(FINANCE, label="as finance"),
        Shot(CREW, label="as crew"),
        Shot(SCHEDULER, label="nothing found", query=lambda: {"state": S.CANCELLED.value, "since_to": "1 Jan 2001"}),
    ],
    "jobs_export": list_files(MANAGER),
    "job": list(all_homes()),
    "search": [
        Shot(SCHEDULER, label="several", query=lambda: {"q": "Lane"}),
        Shot(SCHEDULER, label="nothing found", query=lambda: {"q": "Nowhere Boulevard"}),
    ],
    "emergency": [
        Shot(SCHEDULER, label="no home"),
        Shot(SCHEDULER, label="one home", query=lambda: {"job": d.one(d.homes(S.AWAITING_UTILITY)(), "home that waits").code}),
    ],
    "help_forecasts": [Shot(MANAGER)],
    "health_live": [File(STRANGER, "a word for machines")],
    "health_ready": [File(STRANGER, "figures for machines")],
    "imports": [Shot(MANAGER), Shot(FINANCE, label="as finance"), Shot(MANAGER, label="refused", press="Check this file", status=422)],
    "import_run": [
        Shot(MANAGER, by_uid(d.runs(started_at__isnull=True, dropped_at__isnull=True), "import not applied"), label="not applied"),
        Shot(MANAGER, by_uid(d.runs(finished_at__isnull=False), "applied import"), label="applied"),
    ],
    "import_take_back": [Shot(MANAGER, by_uid(d.runs(finished_at__isnull=False), "applied import"))],
    "columns": [
        Shot(MANAGER, lambda: {"export": "jobs_export"}),
        Shot(FINANCE, lambda: {"export": "invoices_export"}, label="of invoices"),
    ],
    "whole_job": [File(MANAGER, "all of a job, zipped", by_code(d.homes(S.AWAITING_UTILITY), "home that waits"))],
    "import_progress": [File(MANAGER, "the part of import_run that is fetched anew", by_uid(d.runs(), "import"))],
    "import_errors": [File(MANAGER, "the rows to correct", by_uid(d.runs(started_at__isnull=True), "import not applied"))],
    "import_errors_xlsx": [File(MANAGER, "the rows to correct", by_uid(d.runs(started_at__isnull=True), "import not applied"))],
    # A home's record, and the office.
    "sign_in": [Shot(STRANGER), Shot(STRANGER, label="refused", press="Sign in", status=422)],
    "password": [Shot(CREW), Shot(CREW, label="refused", press="Change password", status=422)],
    "people": [Shot(MANAGER)],
    "person_new": [Shot(MANAGER)],
    "person": [Shot(MANAGER, lambda: {"uid": d.user(VERIFIER).uid})],
    "crew_new": [Shot(MANAGER)],
    "rules": [Shot(MANAGER)],
    "rule": [Shot(MANAGER, lambda: {"name": "payment_days"}), Shot(MANAGER, lambda: {"name": "company_name"}, label="words")],
    "job_new": [Shot(SCHEDULER), Shot(SCHEDULER, label="refused", press="Enter the job", status=422)],
    "record": [*(recording(what) for what in RECORDINGS), recording("ct-check", press="Record readings")],
    "ct_check": [
        Shot(MANAGER, by_uid(d.ct_checks("consistent"), "CT check"), label="consistent"),
        Shot(MANAGER, by_uid(d.ct_checks("inconsistent"), "CT check"), label="inconsistent"),
    ],
    "fitted_collar": [
        Shot(VERIFIER, by_code(d.cut_over_homes, "home with its metering cut over"), label="cut over"),
        Shot(VERIFIER, by_code(d.other_serial_homes, "home with another serial"), label="another serial"),
        Shot(VERIFIER, by_code(d.homes(S.AWAITING_UTILITY), "home awaiting the utility"), label="nothing yet"),
    ],
    "cut_over": [
        Shot(VERIFIER, by_uid(d.cut_overs("consistent"), "cut-over"), label="consistent"),
        Shot(VERIFIER, by_uid(d.cut_overs("cannot tell"), "cut-over"), label="cannot tell"),
    ],
    "crew_day": [Shot(CREW), Shot(CREW, label="es", query=lambda: {"lang": "es"})],
    "crew_form": [
        Shot(CREW, by_code(d.crews_homes, "home of the crew")),
        Shot(CREW, by_code(d.crews_homes, "home of the crew"), label="es", query=lambda: {"lang": "es"}),
        Shot(MANAGER, by_code(d.homes(S.GRID_TIED), "home with a complete day one"), label="complete"),
    ],
    # What is refused the script shows in the part's own place; tests/browser/test_crew_phone.py presses there.
    "crew_part": [Shot(CREW, lambda: by_code(d.crews_homes, "home of the crew")() | {"name": "commissioned"})],
    "crew_hello": [File(CREW, "words for a phone that has something to send")],
    "crew_worker": [File(CREW, "the script that answers without reception")],
    "crew_versions": [Shot(MANAGER, by_uid(PhonePart.objects.waiting, "part in two versions"))],
    "reveal": [Shot(CREW, by_code(d.crews_homes, "home of the crew"))],
    "correct": [Shot(MANAGER, d.fact_to_correct)],
    "document": [File(MANAGER, "a photo or paper, as it was given", by_uid(d.documents, "document"))],
    # Utilities and requests.
    "utilities": [Shot(MANAGER)],
    "utilities_export": list_files(MANAGER),
    "scores": [
        Shot(MANAGER),
        Shot(FINANCE, label="one utility", query=lambda: {"utility": str(d.one(d.busiest(), "utility").uid)}),
        Shot(MANAGER, label="as it was said", query=lambda: {"of": "said"}),
    ],
    "scores_progress": [File(MANAGER, "the part of scores that is fetched anew while a replay runs")],
    "scores_export": list_files(MANAGER),
    "utility_new": [Shot(MANAGER)],
    "utility": [
        Shot(MANAGER, by_uid(d.busiest, "utility with open requests"), label="busiest"),
        Shot(MANAGER, by_uid(d.least_history, "utility with open requests"), label="least history"),
    ],
    "utility_forecast": [
        File(MANAGER, "the forecast sheet of a utility", by_uid(d.busiest, "utility with open requests")),
        File(MANAGER, "the forecast sheet where history is thin", by_uid(d.least_history, "utility with open requests")),
    ],
    "utility_edit": [Shot(MANAGER, by_uid(d.busiest, "utility"))],
    "utility_districts": [Shot(MANAGER, by_uid(lambda: Utility.objects.filter(districts__isnull=False), "utility with districts"))],
    "utility_calendar": [Shot(MANAGER, by_uid(lambda: Utility.objects.filter(closures__isnull=False), "utility with closures"))],
    "utility_contacts": [Shot(SCHEDULER, by_uid(lambda: Utility.objects.filter(contacts__isnull=False), "utility with contacts"))],
    "desks": [Shot(SCHEDULER), Shot(MANAGER, label="of others")],
    "desk": [
        Shot(SCHEDULER, by_uid(d.busiest, "utility")),
        Shot(SCHEDULER, by_uid(d.busiest, "utility"), label="refused", press="Record answers", status=422),
    ],
    "desks_away": [Shot(MANAGER)],
    "desks_hand_over": [Shot(MANAGER)],
    "storm_declare": [Shot(MANAGER, by_uid(d.busiest, "utility"))],
    "storm": [Shot(MANAGER, by_uid(d.storms, "storm"))],
    "storm_lift": [Shot(MANAGER, by_uid(d.storms, "storm"))],
    "sheet": [Shot(MANAGER, by_uid(d.sheets, "sheet for a desk"))],
    "sheet_release": [Shot(MANAGER, by_uid(d.unreleased_sheets, "sheet not released"))],
    "sheet_file": [File(SCHEDULER, "a sheet for a desk", lambda: {**by_uid(d.sheets, "sheet for a desk")(), "ending": "pdf"})],
    "utility_answer": [
        Shot(SCHEDULER, by_uid(d.busiest, "utility")),
        Shot(SCHEDULER, by_uid(d.busiest, "utility"), label="refused", press="Record answer", status=422),
    ],
    "versions": [Shot(MANAGER, by_uid(d.with_versions, "utility with two versions"))],
    "version_new": [Shot(MANAGER, by_uid(d.with_versions, "utility with two versions"))],
    "version_correct": [Shot(MANAGER, by_uid(d.versions, "version"))],
    "version_confirm": [Shot(MANAGER, by_uid(d.versions, "version"))],
    "requests": [Shot(SCHEDULER), Shot(MANAGER, label="ended", query=lambda: {"outcome": Outcome.CANCELLED.value})],
    "requests_export": list_files(SCHEDULER),
    "request": [
        Shot(SCHEDULER, by_code(d.open_requests, "open request"), label="open"),
        Shot(SCHEDULER, by_code(d.reported_requests, "request with reports"), label="reports that conflict"),
        Shot(SCHEDULER, by_code(d.changed_requests, "request with a change"), label="change to sign"),
        Shot(SCHEDULER, by_code(d.closed_there, "request closed there"), label="closed there"),
        Shot(SCHEDULER, by_code(d.of_outcome(Outcome.FITTED), "fitted request"), label="fitted"),
        Shot(SCHEDULER, by_code(d.of_outcome(Outcome.CANCELLED), "request that ended without fitting"), label="ended"),
    ],
    "home_connect": [Shot(SCHEDULER, by_code(d.homes(S.GRID_TIED), "home complete"))],
    "service": [Shot(SCHEDULER, by_uid(d.services, "meter"))],
    "request_sent": [Shot(SCHEDULER, by_uid(d.unasked, "home to ask for"))],
    "request_contact": [request(), Shot(SCHEDULER, d.request_uid, label="refused", press="Record answer", status=422)],
    "request_answer": [request()],
    "request_visit": [request(), Shot(SCHEDULER, d.request_uid, label="refused", press="Record visit", status=422)],
    "request_announce": [request()],
    "request_fitted": [request(), Shot(SCHEDULER, by_uid(d.reported_requests, "request with reports"), label="reports that conflict")],
    "request_reported": [request()],
    "request_closed": [request()],
    "request_open": [Shot(SCHEDULER, by_uid(d.closed_there, "request closed there"))],
    "request_heard": [Shot(SCHEDULER, by_uid(d.withdrawn_requests, "withdrawn request"))],
    "request_change": [request()],
    "request_site": [request()],
    "change_signed": [Shot(SCHEDULER, by_uid(lambda: ChangeOrder.objects.filter(signed_on__isnull=True), "change to sign"))],
    "meter_exchange": [Shot(SCHEDULER, by_uid(d.services, "meter"))],
    "request_again": [request()],
    "request_end": [request()],
    "bag_tag": [Shot(SCHEDULER, by_code(d.homes(S.AWAITING_UTILITY), "home that waits"))],
    "handover_sheet": [Shot(MANAGER, by_code(d.homes(S.AWAITING_UTILITY), "home that waits"))],
    "designs": [Shot(MANAGER, by_code(d.designed, "home with a design paper"))],
    "bag_report": [Shot(SCHEDULER, by_uid(d.told_at_bags, "report from a bag"))],
    "tag_page": [
        Shot(STRANGER, d.tag_token),
        Shot(STRANGER, d.tag_token, label="es", query=lambda: {"lang": "es"}),
        Shot(STRANGER, d.tag_token, label="nothing chosen", press="Send what I found", status=422),
        Shot(STRANGER, lambda: {"token": "KQ7M4EKQ7M4EKQ7M"}, label="not known", status=404),
    ],
    "bag_photo": [
        Shot(STRANGER, d.bag_link),
        Shot(STRANGER, d.bag_link, label="es", query=lambda: {"lang": "es"}),
        Shot(STRANGER, d.bag_link, label="nothing chosen", press="Send this picture", status=422),
    ],
    "collars": [Shot(SCHEDULER), Shot(SCHEDULER, label="nothing", query=lambda: {"revision": "none such"})],
    "collars_export": list_files(SCHEDULER),
    "collar_new": [Shot(SCHEDULER), Shot(SCHEDULER, label="refused", press="Record it received", status=422)],
    "collar": [Shot(SCHEDULER, by_uid(d.collars, "collar of a home"))],
    "collar_lift": [Shot(MANAGER, by_uid(d.collars, "collar of a home"))],
    "revisions": [Shot(MANAGER), Shot(MANAGER, label="asked", query=lambda: {"revision": "B"})],
    "revision_task": [Shot(SCHEDULER, by_uid(d.revision_tasks, "task of a withdrawn revision"))],
    "papers": [Shot(SCHEDULER), Shot(SCHEDULER, label="before the collar", query=lambda: {"collar": "before"})],
    "papers_export": list_files(SCHEDULER),
    "paper_new": [
        Shot(SCHEDULER, by_code(d.homes(S.AWAITING_UTILITY), "home that waits")),
        Shot(SCHEDULER, by_code(d.homes(S.AWAITING_UTILITY), "home that waits"), label="refused", press="Enter the paper", status=422),
    ],
    "paper": [Shot(SCHEDULER, by_uid(d.running_out, "permit that runs out before the collar"))],
    "paper_do": [
        Shot(SCHEDULER, lambda what=what: {"uid": d.one(d.running_out(), "permit that runs out").uid, "what": what}, label=what)  # type: ignore[misc]
        for what in ("letter", "extend", "owner", "end")
    ],
    "authorities": [Shot(SCHEDULER)],
    "authority": [Shot(SCHEDULER, by_uid(d.authorities, "authority"))],
    "warranty_terms": [Shot(MANAGER)],
    "request_write": [request()],
    "visit_told": [Shot(SCHEDULER, by_uid(d.announced_visits, "announced visit"))],
    # Messages.
    "notices": [Shot(SCHEDULER), Shot(SCHEDULER, label="waits for release", query=lambda: {"state": State.OWED.value})],
    "notices_export": list_files(SCHEDULER),
    "notices_release": [Shot(SCHEDULER)],
    "notice": list(all_messages()),
    "notice_mail": [Shot(SCHEDULER, by_uid(d.to_release, "message to release"))],
    "notice_file": [File(MANAGER, "a file that went with a message", d.file_of_message)],
    "notice_release": [Shot(SCHEDULER, by_uid(d.to_release, "message to release"))],
    "notice_withdraw": [Shot(SCHEDULER, by_uid(d.to_release, "message to release"))],
    "notice_send_again": [Shot(SCHEDULER, by_uid(d.messages(State.FAILED, State.MAY_HAVE_BEEN_SENT), "message that failed"))],
    "notice_arrived": [Shot(SCHEDULER, by_uid(d.messages(State.MAY_HAVE_BEEN_SENT), "message that may have been sent"))],
    "notice_at_once": [Shot(SCHEDULER, by_uid(d.to_release, "message to release"))],
    "notices_by_themselves": [Shot(MANAGER)],
    "received_list": [Shot(SCHEDULER)],
    "received": [
        Shot(SCHEDULER, by_uid(d.replies, "reply")),
        Shot(SCHEDULER, by_uid(d.replies, "reply"), label="refused", press="Record what was done", status=422),
    ],
    "consents": [Shot(SCHEDULER, by_code(d.texted_homes, "home that may be texted"))],
    "consent_give": [Shot(SCHEDULER, by_code(d.texted_homes, "home that may be texted"))],
    "consent_end": [Shot(SCHEDULER, by_code(d.texted_homes, "home that may be texted"))],
    "telephone": [Shot(SCHEDULER, by_code(d.texted_homes, "home that may be texted"))],
    "ask_photo": [Shot(SCHEDULER, by_code(d.homes(S.AWAITING_UTILITY), "home awaiting the utility"))],
    "ask_paper": [Shot(SCHEDULER, by_code(d.homes(S.AWAITING_UTILITY), "home awaiting the utility"))],
    "notice_consent": [Shot(SCHEDULER, by_uid(d.to_release, "message to release"))],
    # Calls.
    "calls": [Shot(SCHEDULER), Shot(VERIFIER, label="as verifier")],
    "calls_export": list_files(SCHEDULER),
    "calls_ready": [Shot(SCHEDULER), Shot(MANAGER, label="as manager")],
    "call_book": [
        Shot(SCHEDULER, by_code(d.bookable, "home to book")),
        Shot(SCHEDULER, by_code(d.bookable, "home to book"), label="refused", press="Book or offer this time", status=422),
        Shot(SCHEDULER, by_code(d.not_bookable, "energized home that is not ready"), label="not ready"),
    ],
    "calls_plan": [
        Shot(SCHEDULER),
        Shot(MANAGER, label="as manager, moving one", query=d.moving),
        Shot(SCHEDULER, label="nothing marked", press="Offer the marked times", status=422),
    ],
    "calls_hours_ahead": [Shot(SCHEDULER)],
    "calls_missed": [Shot(SCHEDULER)],
    "calls_day": [Shot(SCHEDULER), Shot(VERIFIER, label="as verifier")],
    "calls_week": [Shot(SCHEDULER, query=d.week_of_tentative)],
    "run_sheet": [File(SCHEDULER, "the day's run sheet")],
    "calls_standby": [Shot(SCHEDULER)],
    "standby_add": [Shot(SCHEDULER, by_code(d.bookable, "home to book"))],
    "hold_time": [Shot(SCHEDULER, by_code(d.not_bookable, "energized home that is not ready"))],
    "feed": [File(STRANGER, "the calendar of a verifier, at a secret address", d.feed_token)],
    "homeowner_calendar": [File(STRANGER, "a booked time for the homeowner's calendar", d.call_link(A.CONFIRMED))],
    "call": list(all_calls()),
    "call_move": [Shot(SCHEDULER, by_uid(d.to_come, "call to come"))],
    "call_cancel": [Shot(SCHEDULER, by_uid(d.to_come, "call to come"))],
    "call_answer": [Shot(SCHEDULER, by_uid(d.to_come, "call to come"))],
    "verification_pdf": [
        File(VERIFIER, "the verification record of a call", by_uid(d.records(appointment__isnull=False, result="passed"), "passed record")),
        File(VERIFIER, "the verification record of a site visit", by_uid(d.records(visit__isnull=False), "record of a visit")),
    ],
    "sheet_two": [
        File(VERIFIER, "hand-over sheet two in English", lambda: {**by_uid(d.standing_records, "standing record")(), "lang": "en"}),
        File(VERIFIER, "hand-over sheet two in Spanish", lambda: {**by_uid(d.standing_records, "standing record")(), "lang": "es"}),
    ],
    "site_visits": [Shot(MANAGER), Shot(SCHEDULER, label="as scheduler")],
    "site_visit_new": [
        Shot(SCHEDULER, by_code(d.not_bookable, "energized home that is not ready")),
        Shot(SCHEDULER, by_code(d.not_bookable, "energized home"), label="refused", press="Plan the visit", status=422),
    ],
    "site_visit": [
        Shot(SCHEDULER, by_uid(d.visits(ended_at__isnull=True), "planned visit"), label="planned"),
        Shot(MANAGER, by_uid(d.visits(record__isnull=False), "visit with a test"), label="with a test"),
        Shot(MANAGER, by_uid(d.visits(how="mended, test by telephone"), "visit that mended"), label="mended"),
    ],
    "site_visit_end": [Shot(SCHEDULER, by_uid(d.visits(ended_at__isnull=True), "planned visit"))],
    "site_visit_cost": [Shot(MANAGER, by_uid(d.visits(ended_at__isnull=False), "visit that has ended"))],
    "site_visit_test": [Shot(VERIFIER, by_uid(d.visits(ended_at__isnull=True), "planned visit"))],
    "on_call": [Shot(SCHEDULER), Shot(SCHEDULER, label="refused", press="Put on call", status=422)],
    "call_correct": [Shot(VERIFIER, d.press_on_call)],
    "call_void": [Shot(MANAGER, by_uid(d.with_record("passed"), "passed call"))],
    "call_add": [Shot(MANAGER, by_uid(d.with_record("passed"), "passed call"))],
    "hours": [Shot(SCHEDULER)],
    "verifier_hours": [Shot(SCHEDULER, lambda: {"uid": d.user(VERIFIER).uid})],
    "homeowner_call": list(links_of_homeowners()),
    # Money.
    "invoices": [Shot(FINANCE), Shot(MANAGER, label="as manager")],
    "invoices_export": list_files(FINANCE),
    "invoices_release": [Shot(FINANCE)],
    "receivables": [Shot(FINANCE)],
    "invoice": [
        Shot(FINANCE, by_uid(d.invoices("draft"), "drafted invoice"), label="draft"),
        Shot(FINANCE, by_uid(d.open_invoices, "open invoice"), label="open"),
        Shot(FINANCE, by_uid(d.paid_invoices, "paid invoice"), label="paid"),
    ],
    "invoice_pdf": [
        File(FINANCE, "the paper of an invoice", by_uid(d.invoices("released"), "released invoice")),
        File(FINANCE, "a draft's paper", by_uid(d.invoices("draft"), "drafted invoice")),
        File(FINANCE, "the paper of an invoice to a Spanish home", by_uid(d.spanish_invoices, "invoice to a Spanish home")),
    ],
    "invoice_release": [Shot(FINANCE, by_uid(d.invoices("draft"), "drafted invoice"))],
    "invoice_answer": [Shot(FINANCE, by_uid(d.questioned_invoices, "invoice with a question"))],
    "invoice_remind": [Shot(FINANCE, by_uid(d.late_invoices, "late invoice"))],
    "invoice_write_off": [Shot(FINANCE, by_uid(d.open_invoices, "open invoice"))],
    "invoice_credit": [Shot(FINANCE, by_uid(d.open_invoices, "open invoice"))],
    "invoice_dispute": [
        Shot(FINANCE, by_uid(d.late_invoices, "late invoice"), label="to say"),
        Shot(FINANCE, by_uid(d.disputed_invoices, "disputed invoice"), label="to settle"),
    ],
    "invoice_send_again": [Shot(FINANCE, by_uid(d.open_invoices, "open invoice"))],
    "waiver_new": [Shot(FINANCE, by_uid(d.paid_invoices, "paid invoice"))],
    "waiver_pdf": [File(FINANCE, "a waiver of lien", by_uid(d.waivers, "waiver of lien"))],
    "credit_note": [Shot(FINANCE, by_uid(d.credit_notes, "credit note"))],
    "credit_note_pdf": [File(FINANCE, "a credit note", by_uid(d.credit_notes, "credit note"))],
    "state_terms": [Shot(MANAGER)],
    "cap_new": [Shot(MANAGER)],
    "tax_new": [Shot(MANAGER)],
    "wording_new": [Shot(MANAGER)],
    "bank_lines": [Shot(FINANCE)],
    "bank_line": [Shot(FINANCE, by_uid(d.bank_lines, "line of the bank"))],
    "bank_line_aside": [Shot(FINANCE, by_uid(d.bank_lines, "line of the bank"))],
    "payer": [Shot(FINANCE, by_uid(d.lenders, "lender who was billed"))],
    "statement_pdf": [File(FINANCE, "the statement of a lender", by_uid(d.lenders, "lender who was billed"))],
    "payment_refund": [Shot(FINANCE, by_uid(d.unapplied, "payment with something unapplied"))],
    "payment_returned": [Shot(FINANCE, by_uid(d.payments, "payment"))],
    "payment_take_off": [Shot(FINANCE, by_uid(d.payments, "payment"))],
    "job_account": [Shot(FINANCE, by_code(d.changed, "home with a change order"))],
    "change_order": [Shot(FINANCE, by_code(d.changed, "home with a change order"))],
    "close_contract": [Shot(FINANCE, by_code(d.changed, "home with a change order"))],
    "give_paper": [Shot(FINANCE, by_code(d.wanting, "home whose payer wants a paper"))],
    "payments": [Shot(FINANCE)],
    "payments_export": list_files(FINANCE),
    "payment_new": [
        Shot(FINANCE, label="who paid"),
        Shot(FINANCE, label="found", query=lambda: {"q": "a"}),
        Shot(FINANCE, label="what it is put to", query=d.owing_payer),
        Shot(FINANCE, label="refused", query=d.owing_payer, press="Record payment", status=422),
    ],
    "payer_new": [Shot(FINANCE)],
    "payment": [
        Shot(FINANCE, by_uid(d.payments, "payment"), label="applied"),
        Shot(FINANCE, by_uid(d.unapplied, "payment with something unapplied"), label="unapplied"),
    ],
    "milestones_earned": [Shot(FINANCE)],
    "milestones_waiting": [Shot(FINANCE)],
    "report_milestones": [Shot(FINANCE, query=d.this_quarter)],
    "report_milestones_export": list_files(FINANCE, d.this_quarter),
    "job_plan": [
        Shot(FINANCE, by_code(d.unplanned, "home without an invoice"), label="to set"),
        Shot(FINANCE, by_code(d.planned, "home with an invoice"), label="fixed"),
    ],
}
