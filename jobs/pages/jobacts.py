"""What can be done on a job's page, by right and state; and which facts are wanted next, with the act that records each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.urls import resolve, reverse

from jobs.appointments import readiness
from jobs.appointments.models import Appointment
from jobs.core import kinds as k
from jobs.core.models import Job, User
from jobs.core.recordings import RECORDINGS, Recording
from jobs.core.states import Facts, S
from jobs.core.waiting import Waiting
from utilities.models import FitRequest, Service


@dataclass(frozen=True)
class Button:
    words: str
    url: str


@dataclass(frozen=True)
class Buttons:
    """`first`: what this state is about; `others`: all else the person may record. `filled`: the first does the sentence's next act."""

    first: tuple[Button, ...]
    others: tuple[Button, ...]
    filled: bool = False


@dataclass(frozen=True)
class Wanted:
    """A missing fact, who supplies it, and the act that records it, if this person may."""

    words: str
    role: str
    button: Button | None = None


# What stands open on the page in each state; the rest folds away.
FOREMOST: dict[S, tuple[str, ...]] = {
    S.IN_BUILD: (
        "assign",
        "survey",
        "installed",
        "commissioned",
        "cts-fitted",
        "ct-check",
        "collar-registered",
        "collar-staged",
        "sheet-given",
    ),
    S.GRID_TIED: ("permission-to-operate", "final-inspection"),
    S.AWAITING_UTILITY: ("gateway-report",),
    S.COLLAR_ENERGIZED: ("gateway-report", "communications", "software-updated", "cut-over", "backup-limits", "medical-answer"),
    S.BACKUP_VERIFIED: ("sheet-two-given", "removed", "homeowner-told"),
    S.CANCELLED: (),
}
BEFORE_THE_COLLAR = (S.IN_BUILD, S.GRID_TIED, S.AWAITING_UTILITY)

# How a missing fact, as states.py and waiting.py say it, is recorded.
RECORDED_BY = {
    "the commissioning date": "commissioned",
    "a consumption-CT check that is consistent": "ct-check",
    "the collar's serial, registered": "collar-registered",
    "the collar staged, with place and photo or a reason": "collar-staged",
    "the hand-over sheet, given to the homeowner": "sheet-given",
    "the fitted collar's serial, matching the registered one": "gateway-report",
    "the homeowner, told by telephone": "homeowner-told",
    "the homeowner, told in writing": "homeowner-told",
    "the temporary metering, put back and checked again": "ct-check",
    "where the collar is": "collar-staged",
    "a report of the gateway since the fitting": "gateway-report",
    "the software update, confirmed since the fitting": "software-updated",
    "the medical answer, not asked yet": "medical-answer",
}
BEGINS_WITH = {
    "communications seen": "communications",
    "a medical answer not older": "medical-answer",
    "a report of the gateway": "gateway-report",
}
# How the next act, as waiting.py says it, is done: a recording, or the name of an address.
NEXT_BEGINS_WITH = {
    "Report the": "seal-reported",
    "Telephone the homeowner": "homeowner-told",
    "Tell the homeowner": "homeowner-told",
    "Put the temporary metering back": "ct-check",
    "Repeat the CT check": "ct-check",
    "Send an electrician to the consumption CTs": "ct-check",
    "Record where the collar is": "collar-staged",
    "Set the install day": "assign",
    "Build the home": "installed",
    "Confirm the fitting": "request_fitted",
    "Learn which serial was fitted": "gateway-report",
    "Clear the serial": "gateway-report",
    "Send the request to fit": "request_sent",
    "Send a new request to fit": "request_sent",
    "Ask the utility": "request_answer",
    "Book the verification call": "call_book",
    "Hold the verification call": "call",
    "Plan how the backup is verified": "site_visit_new",
    "Hold the site visit": "site_visit",
    "Ask for an answer to the offered time": "call",
}

# Steps of day one that are done once their fact stands.
DONE_WITH = {
    "survey": k.SURVEYED,
    "cts-fitted": k.CTS_FITTED,
    "installed": k.INSTALLED,
    "commissioned": k.COMMISSIONED,
    "collar-registered": k.COLLAR_REGISTERED,
    "collar-staged": k.COLLAR_STAGED,
    "sheet-given": k.SHEET_GIVEN,
}


def buttons(
    user: User,
    job: Job,
    state: S,
    services: Sequence[Service],
    requests: Sequence[FitRequest],
    call: Appointment | None,
    *,
    waiting: Waiting,
    known: Facts,
) -> Buttons:
    current = next((request for request in reversed(requests) if request.is_open), None)
    wanted_now = [what for what in FOREMOST[state] if state != S.IN_BUILD or not _is_done(what, job, waiting, known)]
    first = [
        *_of_day_one(user, job, state),
        *_of_the_wait(user, job, state, services, current),
        *_of_the_call(user, job, state, call),
        *_of_the_plan(user, job, state, set_already=False),
        *_recordings(user, job, wanted_now),
    ]
    # What is wrong with a cancelled job is a correction; nothing else is recorded of it.
    rest = [] if state == S.CANCELLED else [what for what in RECORDINGS if what not in wanted_now]
    others = [*_rest_of_the_wait(user, current), *_of_the_plan(user, job, state, set_already=True), *_recordings(user, job, rest)]
    following = _next(job, waiting, [*first, *others])
    if following is not None:
        first = [following, *(button for button in first if button != following)]
        others = [button for button in others if button != following]
    return Buttons(tuple(first), tuple(others), filled=following is not None)


def _of_day_one(user: User, job: Job, state: S) -> Iterator[Button]:
    """All of it on one page, made for a phone at the home."""
    if user.has_perm("core.record_day_one") and state == S.IN_BUILD:
        yield _named("Day one on one page", "crew_form", code=job.code)


def _is_done(what: str, job: Job, waiting: Waiting, known: Facts) -> bool:
    if what == "assign":
        return job.install_on is not None and job.crew_id is not None
    if what == "ct-check":
        return bool(known.of(k.CT_CHECK)) and not any(RECORDED_BY.get(words) == what for words in waiting.missing)
    return bool(known.of(DONE_WITH[what]))


def _next(job: Job, waiting: Waiting, offered: Sequence[Button]) -> Button | None:
    """Of what is offered, the button that does the next act of the page's sentence; none where a person does it without the tool."""
    what = next((what for start, what in NEXT_BEGINS_WITH.items() if waiting.next_act.startswith(start)), "")
    if waiting.next_act == "Complete the day-one record" and waiting.missing:
        what = RECORDED_BY.get(waiting.missing[0], "")
    if not what:
        return None
    if what in RECORDINGS:
        url = reverse("record", kwargs={"code": job.code, "what": what})
        return next((button for button in offered if button.url == url), None)
    return next((button for button in offered if resolve(button.url).url_name == what), None)


def _recordings(user: User, job: Job, whats: Sequence[str]) -> Iterator[Button]:
    for what in whats:
        spec = RECORDINGS[what]
        if user.has_perm(spec.right) and (job.has_battery or not spec.battery_only) and (job.has_pv or not spec.pv_only):
            yield Button(_said(spec), reverse("record", kwargs={"code": job.code, "what": what}))


def _said(spec: Recording) -> str:
    """What is recorded, in full: on its own page "Record report" says enough, among a dozen buttons it does not."""
    return f"Record {spec.title[:1].lower()}{spec.title[1:]}" if spec.button.startswith("Record ") else spec.button


def _of_the_wait(user: User, job: Job, state: S, services: Sequence[Service], current: FitRequest | None) -> Iterator[Button]:
    if not user.has_perm("core.record_requests"):
        return
    if not services and state in BEFORE_THE_COLLAR:
        yield _named("Enter utility and meter", "home_connect", code=job.code)
    if current is not None:
        yield _named("Record answer", "request_answer", uid=current.uid)
        yield _named("Record visit", "request_visit", uid=current.uid)
        yield _named("Record report of fitting", "request_reported", uid=current.uid)
        yield _named("Confirm the fitting", "request_fitted", uid=current.uid)
    elif state in (S.GRID_TIED, S.AWAITING_UTILITY):
        yield from (_named(f"Record request sent{_of(service, services)}", "request_sent", uid=service.uid) for service in services)


def _rest_of_the_wait(user: User, current: FitRequest | None) -> Iterator[Button]:
    if current is None or not user.has_perm("core.record_requests"):
        return
    yield _named("Record contact", "request_contact", uid=current.uid)
    yield _named("Record announced visit", "request_announce", uid=current.uid)
    yield _named("Record bag and access confirmed", "request_site", uid=current.uid)
    yield _named("Record sent again", "request_again", uid=current.uid)
    yield _named("End the request", "request_end", uid=current.uid)


def _of_the_call(user: User, job: Job, state: S, call: Appointment | None) -> Iterator[Button]:
    if user.has_perm("core.book_calls") and state == S.COLLAR_ENERGIZED and call is None:
        yield _named("Book the call", "call_book", code=job.code)
    if user.has_perm("core.assign_crew") and state == S.COLLAR_ENERGIZED and call is None:
        yield _named("Plan a site visit", "site_visit_new", code=job.code)
    if user.has_perm("core.see_calls") and call is not None:
        yield _named("Open the call", "call", uid=call.uid)


def _of_the_plan(user: User, job: Job, state: S, *, set_already: bool) -> Iterator[Button]:
    """Foremost until it is set."""
    if user.has_perm("core.set_plan") and state != S.CANCELLED and hasattr(job, "contract") == set_already:
        yield _named("Contract and milestones", "job_plan", code=job.code)


def _of(service: Service, services: Sequence[Service]) -> str:
    """Which meter, where a home has two."""
    return f", {service}" if len(services) > 1 else ""


def _named(words: str, name: str, **kwargs: object) -> Button:
    return Button(words, reverse(name, kwargs=kwargs))


def wanted(user: User, job: Job, waiting: Waiting, missing: Sequence[readiness.Missing]) -> list[Wanted]:
    """What is missing on our side. `missing`: of a home whose collar is in, what its call still needs."""
    rows = [Wanted(words, waiting.role, _recorder(user, job, words)) for words in waiting.missing]
    return rows + [Wanted(gap.words, gap.role, _recorder(user, job, gap.words)) for gap in missing]


def _recorder(user: User, job: Job, missing: str) -> Button | None:
    what = RECORDED_BY.get(missing) or next((what for start, what in BEGINS_WITH.items() if missing.startswith(start)), None)
    return next(_recordings(user, job, [what]), None) if what else None
