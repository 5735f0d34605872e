"""Whether a home is ready for its verification call, and what is missing where not: one rule for act, page and link."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from jobs.core import facts, homefacts, rules, words
from jobs.core import kinds as k
from jobs.core.models import Fact, Job
from jobs.core.models.holds import Stops
from jobs.core.refusals import Refused
from jobs.core.rights import MANAGER, SCHEDULER, VERIFIER
from jobs.core.states import Facts, HomeKind, S, state_of
from jobs.core.waiting import open_emergency, open_site_visit
from utilities import services

# Answers with which the test is never run by telephone: somebody with a licence plans a visit instead.
VISIT_ANSWERS: Mapping[str, str] = {
    "yes": "someone at home relies on powered medical equipment",
    "not sure": "it is not sure whether someone at home relies on powered medical equipment",
    "declined": "the question about powered medical equipment was not answered",
}


@dataclass(frozen=True)
class Missing:
    words: str  # "a report of the gateway since the fitting"
    role: str  # who supplies it
    visit: bool = False  # nothing to supply: the home gets a site visit instead of a call


@dataclass(frozen=True)
class Within:
    """Days for which two of the facts count; each is a rule."""

    communications_days: int | None  # None: seen at any time since the fitting is enough
    medical_answer_days: int


@dataclass(frozen=True)
class Medical:
    answer: str
    day: dt.date
    name: str


@dataclass(frozen=True)
class Home:
    """All that readiness rests on, gathered for one home."""

    facts: Facts
    kind: HomeKind
    medical: Medical | None
    stopped: frozenset[str]
    emergency_line: str


class NotReady(Refused):
    """The home is not ready for a call; `missing` says why, for pages that have their own words."""

    def __init__(self, missing: Sequence[Missing]) -> None:
        self.missing = tuple(missing)
        visit = next((gap for gap in missing if gap.visit), None)
        if visit is not None:
            super().__init__(f"This home is never offered a call: {visit.words}. Plan a site visit.")
        else:
            super().__init__(f"This home is not ready for a call. Missing: {words.listed([gap.words for gap in missing])}.")


def missing_for_booking(job: Job, today: dt.date) -> list[Missing]:
    """What is missing before a call may be offered, booked, moved or begun; nothing when the home is ready.

    today: the day at the site.
    """
    return _missing(job, today, within())


def missing_to_confirm(job: Job, today: dt.date) -> list[Missing]:
    """What is missing before an offered or booked time may be confirmed: all of readiness but the age of the communications.

    A homeowner answers days after the offer. That we have not looked at the gateway since is our lateness, no reason to refuse the time
    that we offered; beginning the call asks for it again. Communications never seen since the fitting still refuse.
    """
    return _missing(job, today, dataclasses.replace(within(), communications_days=None))


def _missing(job: Job, today: dt.date, within: Within) -> list[Missing]:
    rows = list(job.facts.standing())
    home = gathered(job, rows, stopped=homefacts.stopped(job), emergency_line=services.emergency_line(job))
    return missing_of(home, today=today, within=within)


def refuse_unless_ready(job: Job, today: dt.date) -> None:
    if missing := missing_for_booking(job, today):
        raise NotReady(missing)


def refuse_unless_confirmable(job: Job, today: dt.date) -> None:
    if missing := missing_to_confirm(job, today):
        raise NotReady(missing)


def within() -> Within:
    return Within(rules.number("communications_days"), rules.number("medical_answer_days"))


def gathered(job: Job, rows: Sequence[Fact], *, stopped: frozenset[str], emergency_line: str) -> Home:
    """`rows`: the standing facts of the job by day and order."""
    known = Facts(facts.known(rows))
    last = known.latest(k.MEDICAL_ANSWER)
    names = {fact.pk: fact.said_by_name for fact in rows}
    medical = Medical(str(last.value["answer"]), last.day, names[last.order]) if last else None
    return Home(known, job.home_kind, medical, stopped, emergency_line)


def missing_of(home: Home, *, today: dt.date, within: Within) -> list[Missing]:
    """The rule itself. Gaps in the order in which they are best closed."""
    return [*_state_gaps(home), *_equipment_gaps(home, today, within), *_stops(home), *_medical_gaps(home, today, within)]


def site_visit_reason(medical: Medical | None) -> str:
    """Why a home gets a site visit instead of a call; empty where it does not."""
    return VISIT_ANSWERS.get(medical.answer, "") if medical else ""


@dataclass(frozen=True)
class _Since:
    """From when a fact about the equipment is about the fitted collar."""

    day: dt.date
    open_below: bool = field(default=False)  # the fitting is a bracket (day, ...]: its first day is not in it

    def counts(self, day: dt.date) -> bool:
        return day > self.day if self.open_below else day >= self.day


def _state_gaps(home: Home) -> list[Missing]:
    state = state_of(home.facts, home.kind)
    if state.state == S.COLLAR_ENERGIZED:
        return []
    if state.state in (S.BACKUP_VERIFIED, S.CANCELLED):
        return [Missing(f"an open job (this one is {state.state.words})", MANAGER)]
    return [Missing(need.words, need.role) for need in state.missing]


def _equipment_gaps(home: Home, today: dt.date, within: Within) -> list[Missing]:
    fitted = home.facts.fitted
    if fitted is None:
        return []  # said by the state already
    since = _Since(fitted.after, open_below=True) if fitted.after else _Since(fitted.day)
    reports = [fact for fact in home.facts.of(k.GATEWAY_REPORT) if since.counts(fact.day)]
    seen = [fact.day for fact in home.facts.of(k.COMMUNICATIONS_SEEN, k.GATEWAY_REPORT) if since.counts(fact.day)]
    updates = [fact for fact in home.facts.of(k.SOFTWARE_UPDATED) if since.counts(fact.day)]
    gaps = []
    if not reports:
        gaps.append(Missing("a report of the gateway since the fitting", VERIFIER))
    elif reports[-1].value.get("state") == "not seen":
        gaps.append(Missing("a report of the gateway that sees the collar", VERIFIER))
    elif reports[-1].value.get("state") == "open":
        gaps.append(Missing("a report of the gateway with the collar closed (the last says open)", VERIFIER))
    lately = within.communications_days
    if not seen and lately is None:
        gaps.append(Missing("communications seen since the fitting", VERIFIER))
    elif lately is not None and (not seen or (today - max(seen)).days > lately):
        last = f" (last on {words.day(max(seen))})" if seen else ""
        gaps.append(Missing(f"communications seen in the last {words.count(lately, 'day')}{last}", VERIFIER))
    if not updates:
        gaps.append(Missing("the software update, confirmed since the fitting", VERIFIER))
    return gaps


def _stops(home: Home) -> list[Missing]:
    gaps = []
    if open_site_visit(home.facts):
        gaps.append(Missing("the end of the site visit that is planned", SCHEDULER))
    if open_emergency(home.facts):
        gaps.append(Missing("the end of the emergency at the home", SCHEDULER))
    if Stops.CALLS in home.stopped:
        gaps.append(Missing("the end of a hold on calls", SCHEDULER))
    if not home.emergency_line:
        gaps.append(Missing("the utility's emergency line", MANAGER))
    return gaps


def _medical_gaps(home: Home, today: dt.date, within: Within) -> list[Missing]:
    medical = home.medical
    if medical is None:
        return [Missing("the medical answer, not asked yet", SCHEDULER)]
    if reason := site_visit_reason(medical):
        return [Missing(reason, SCHEDULER, visit=True)]
    if not medical.name:
        return [Missing("the name of who gave the medical answer", SCHEDULER)]
    if (today - medical.day).days > within.medical_answer_days:
        days = words.count(within.medical_answer_days, "day")
        return [Missing(f"a medical answer not older than {days} (the last is of {words.day(medical.day)})", SCHEDULER)]
    return []
