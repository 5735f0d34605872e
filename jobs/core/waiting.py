"""On whom a job waits, since when, what comes next and by when. Pure; never blank for an open job."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from jobs.core import kinds as k
from jobs.core.states import Facts, HomeKind, JobState, Known, S, contradicting_pv_check, counting_ct_check, hung, told_serial

US, UTILITY, HOMEOWNER, NOBODY = "us", "utility", "homeowner", "nobody"

CREW, SCHEDULER, VERIFIER, MANAGER = "crew", "scheduler", "verifier", "operations manager"


@dataclass(frozen=True)
class Limits:
    """Days within which a next act falls due; each is a rule (rules.py)."""

    follow_up_days: int = 14
    act_days: int = 3
    answer_days: int = 3


@dataclass(frozen=True)
class Waiting:
    on: str
    since: dt.date | None
    next_act: str
    role: str
    due_on: dt.date | None
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Case:
    facts: Facts
    home: HomeKind
    state: JobState
    limits: Limits
    install_on: dt.date | None
    opened_on: dt.date
    begin_on: dt.date | None  # of an imported home: nothing falls due before this day's follow-up

    def us(self, since: dt.date | None, act: str, role: str, *, missing: tuple[str, ...] = (), due_on: dt.date | None = None) -> Waiting:
        since = since or self.opened_on
        return Waiting(US, since, act, role, due_on or self._due(since, self.limits.act_days), missing)

    def _due(self, since: dt.date, days: int) -> dt.date:
        begin = max(since, self.begin_on) if self.begin_on else since
        return begin + dt.timedelta(days=days)

    def theirs(self, on: str, since: dt.date, last: dt.date, act: str, *, days: int, due_on: dt.date | None = None) -> Waiting:
        return Waiting(on, since, act, SCHEDULER, due_on or self._due(last, days))


def waiting(
    facts: Facts,
    home: HomeKind,
    state: JobState,
    *,
    limits: Limits,
    opened_on: dt.date,
    install_on: dt.date | None = None,
    begin_on: dt.date | None = None,
) -> Waiting:
    """Whom an open job waits on. `opened_on`: the day the job was entered, for a job without facts."""
    case = _Case(facts, home, state, limits, install_on, opened_on, begin_on)
    # First, whatever the state: a finished home in danger waits on us too.
    emergency = open_emergency(facts)
    if emergency is not None:
        return case.us(emergency.day, "Telephone the home about its emergency", SCHEDULER, due_on=emergency.day)
    seal = unreported_seal(facts)
    if seal is not None:
        return case.us(seal.day, f"Report the {seal.value['state']} seal to the utility", SCHEDULER, due_on=seal.day)
    if state.state in (S.CANCELLED, S.BACKUP_VERIFIED):
        return Waiting(NOBODY, state.since, "", "", None)
    # Once the collar is in, it does the metering.
    temporary = home.has_battery and state.state in (S.IN_BUILD, S.GRID_TIED, S.AWAITING_UTILITY)
    against = contradicting_pv_check(facts, facts.latest(k.CT_CHECK)) if temporary else None
    if against is not None:
        missing = _words(state) if state.state == S.IN_BUILD else ()
        return case.us(against.day, "Send an electrician to the consumption CTs", CREW, missing=missing)
    if state.state == S.IN_BUILD:
        return _in_build(case)
    if state.state == S.GRID_TIED:
        since = state.since or opened_on
        return case.us(since, "Send the request to fit", SCHEDULER, missing=_words(state))
    if state.state == S.AWAITING_UTILITY:
        return _awaiting(case)
    return _energized(case)


def open_emergency(facts: Facts) -> Known | None:
    opened, ended = facts.latest(k.EMERGENCY_OPENED), facts.latest(k.EMERGENCY_ENDED)
    if opened is None or (ended is not None and ended.place > opened.place):
        return None
    return opened


def unreported_seal(facts: Facts) -> Known | None:
    """The newest look at the meter's seal, if it was broken or absent and the utility was not told on that day or since."""
    seen, told = facts.latest(k.SEAL_SEEN), facts.latest(k.SEAL_REPORTED)
    if seen is None or seen.value.get("state") == "intact" or (told is not None and told.day >= seen.day):
        return None
    return seen


def open_site_visit(facts: Facts) -> Known | None:
    """The site visit that is planned and has not ended, while the collar is in."""
    ended = {fact.value.get("visit") for fact in facts.of(k.SITE_VISIT_ENDED)}
    planned = [fact for fact in facts.of(k.SITE_VISIT_PLANNED) if fact.value.get("visit") not in ended]
    return planned[-1] if planned else None


def _words(state: JobState) -> tuple[str, ...]:
    return tuple(need.words for need in state.missing)


def _in_build(case: _Case) -> Waiting:
    facts, missing = case.facts, _words(case.state)
    check = counting_ct_check(facts)
    if case.home.has_battery and check is not None and check.value.get("verdict") != "consistent":
        act = "Repeat the CT check" if check.value.get("verdict") == "cannot tell" else "Send an electrician to the consumption CTs"
        return case.us(check.day, act, CREW, missing=missing)
    if not facts.of(k.INSTALLED, k.COMMISSIONED):
        begun = facts.first(k.CONTRACT_SIGNED)
        since = begun.day if begun else case.opened_on
        if case.install_on:
            return case.us(since, "Build the home", CREW, missing=missing, due_on=case.install_on)
        return case.us(since, "Set the install day", SCHEDULER, missing=missing)
    last = facts.latest(k.INSTALLED, k.COMMISSIONED)
    return case.us(last.day if last else None, "Complete the day-one record", CREW, missing=missing)


def after_removal(facts: Facts) -> tuple[str, ...]:
    """What is missing after the collar was removed, in the order in which it must be done."""
    removed = facts.removed
    if removed is None:
        return ()

    def done(kind: str) -> bool:
        return any(fact.place > removed.place for fact in facts.of(kind))

    told = [fact for fact in facts.of(k.HOMEOWNER_TOLD) if fact.place > removed.place]
    checks = [check for check in facts.of(k.CT_CHECK) if check.day >= removed.day]
    missing = []
    if not any(fact.value.get("how") == "telephone" for fact in told):
        missing.append("the homeowner, told by telephone")
    if not any(fact.value.get("how") == "in writing" for fact in told):
        missing.append("the homeowner, told in writing")
    if not checks or checks[-1].value.get("verdict") != "consistent":
        missing.append("the temporary metering, put back and checked again")
    if not (done(k.COLLAR_STAGED) or done(k.COLLAR_REGISTERED)):
        missing.append("where the collar is")
    if not done(k.REQUEST_SENT):
        missing.append("a new request to fit")
    return tuple(missing)


def unconfirmed_fitting(facts: Facts) -> Known | None:
    """The first report that the collar is in which nobody has confirmed: four sources (TRADE.md D1), the gateway's own among them.

    A visit since then that found none has answered it; so has the fitting on record.
    """
    sent, fitted, removed = facts.first(k.REQUEST_SENT), facts.fitted, facts.removed
    if sent is None or fitted is not None:
        return None
    after = max(fact.place for fact in (sent, removed, facts.latest(k.VISIT)) if fact is not None)
    for fact in facts.of(k.FITTING_REPORTED, k.GATEWAY_REPORT):
        if fact.place > after and (fact.kind == k.FITTING_REPORTED or fact.value.get("state") == "closed"):
            return fact
    return None


_REMOVAL_ACTS = {
    "the homeowner, told by telephone": ("Telephone the homeowner: no backup now", SCHEDULER),
    "the homeowner, told in writing": ("Tell the homeowner in writing", SCHEDULER),
    "the temporary metering, put back and checked again": ("Put the temporary metering back and check it", CREW),
    "where the collar is": ("Record where the collar is", SCHEDULER),
    "a new request to fit": ("Send a new request to fit", SCHEDULER),
}


def _awaiting(case: _Case) -> Waiting:
    facts = case.facts
    removed = facts.removed
    if removed is not None and (left := after_removal(facts)):
        act, role = _REMOVAL_ACTS[left[0]]
        due_on = removed.day if "telephone" in left[0] else None
        return case.us(removed.day, act, role, missing=left, due_on=due_on)

    told = told_serial(facts)
    fitted = facts.fitted
    if fitted is not None and told is None:
        return case.us(
            fitted.day, "Learn which serial was fitted: ask for a photo or the gateway's report", SCHEDULER, missing=_words(case.state)
        )
    if fitted is not None and told is not None and told.value["serial"] != facts.serial:
        return case.us(told.day, "Clear the serial: the fitted collar is not the registered one", SCHEDULER, missing=_words(case.state))

    if (report := unconfirmed_fitting(facts)) is not None:
        return case.us(report.day, "Confirm the fitting: ask for a photo, look at the gateway", SCHEDULER, due_on=report.recorded_on)

    ended = [wait.ended for wait in _waits(facts) if wait.ended is not None]
    if ended:
        return case.us(max(fact.day for fact in ended), "Send a new request to fit", SCHEDULER, missing=("a new request to fit",))
    return _at_the_utility(case)


@dataclass(frozen=True)
class _Wait:
    """The newest request of one meter: its first sending, and its end without fitting."""

    begun: Known
    ended: Known | None


def _waits(facts: Facts) -> list[_Wait]:
    """One for each meter that was asked for and is not fitted; of two meters one may lapse while the other's request is open."""
    removed = facts.removed
    newest: dict[str, list[Known]] = {}  # service: the sendings of its newest request
    for sent in facts.of(k.REQUEST_SENT):
        if removed is not None and sent.place < removed.place:
            continue
        own = newest.setdefault(str(sent.value.get("service", "")), [])
        if own and (own[0].value.get("request") != sent.value.get("request") or _end_of(own, facts) is not None):
            own.clear()
        # Repeating an unanswered request never restarts the wait.
        own.append(sent)
    fitted = {fact.value.get("request") for fact in facts.of(k.COLLAR_FITTED)} - {None}
    return [_Wait(own[0], _end_of(own, facts)) for own in newest.values() if own[0].value.get("request") not in fitted]


def _end_of(sendings: list[Known], facts: Facts) -> Known | None:
    request = sendings[0].value.get("request")
    ends = [fact for fact in facts.of(k.REQUEST_ENDED) if fact.value.get("request") == request]
    if request is None:
        ends = [fact for fact in ends if fact.place > sendings[-1].place]
    return ends[-1] if ends else None


def _at_the_utility(case: _Case) -> Waiting:
    facts = case.facts
    since = min([wait.begun.day for wait in _waits(facts)] or [facts.of(k.REQUEST_SENT)[0].day])

    visit = facts.latest(k.VISIT)
    # A letter of ours that nobody has answered changes nobody's turn and no promise; only the next asking waits for it.
    letters = [fact for fact in facts.of(k.CONTACT) if not fact.value.get("answered")]
    contact = next(fact for fact in reversed(facts.of(k.CONTACT, k.REQUEST_SENT, k.VISIT)) if fact not in letters)
    asked_on = max(contact.day, letters[-1].day if letters else contact.day)
    led_on = visit is not None and visit.day >= since and bool(visit.value.get("next_actor"))
    if visit is not None and led_on and (contact.kind == k.VISIT or _stands_in_the_way(facts, visit, told=contact)):
        return _after_the_visit(case, visit, since=since, asked_on=asked_on)
    promised = contact.value.get("next_on") or contact.value.get("promised_by")
    due_on = dt.date.fromisoformat(promised) if promised else None
    act = "Ask the utility what became of its promise" if contact.value.get("promised_by") else "Ask the utility about the request"
    if due_on is not None and due_on < asked_on:
        due_on = None
    return case.theirs(UTILITY, since, asked_on, act, days=case.limits.follow_up_days, due_on=due_on)


NO_COLLAR = ("collar not found", "collar damaged or wrong")


def _cleared(fact: Known) -> bool:
    """A collar that was not hung, with the reason why, clears no visit."""
    return fact.kind != k.COLLAR_STAGED or hung(fact)


def _stands_in_the_way(facts: Facts, visit: Known, *, told: Known) -> bool:
    """A word with the desk changes nothing while no collar hangs, or while bag and access wait to be confirmed after a second miss;
    once that is done, the desk is asked for a window again.
    """
    wanted = k.COLLAR_STAGED if visit.value.get("outcome") in NO_COLLAR else k.SITE_CONFIRMED
    if wanted == k.SITE_CONFIRMED and visit.value.get("next_actor") != MANAGER:
        return False
    done = [fact for fact in facts.of(wanted) if fact.place > visit.place and _cleared(fact)]
    return not done or done[-1].place > told.place


def _after_the_visit(case: _Case, visit: Known, *, since: dt.date, asked_on: dt.date) -> Waiting:
    """Who acts after a visit without a fitting: the actor that its outcome names, by the day that was named with it."""
    facts, actor = case.facts, str(visit.value["next_actor"])
    act = str(visit.value.get("next_act") or "Clear what stopped the visit")
    due = visit.value.get("next_due_on")
    due_on = dt.date.fromisoformat(due) if due else None
    no_collar = visit.value.get("outcome") in NO_COLLAR
    cleared = [fact for fact in facts.of(k.SITE_CONFIRMED, k.COLLAR_STAGED) if fact.place > visit.place and _cleared(fact)]
    if (
        actor not in (UTILITY, CREW)
        and visit.value.get("outcome") not in NO_COLLAR
        and any(fact.kind == k.SITE_CONFIRMED for fact in cleared)
    ):
        return case.us(cleared[-1].day, "Ask the utility for a new window", SCHEDULER)
    if (actor == CREW or no_collar) and any(fact.kind == k.COLLAR_STAGED for fact in cleared):
        return case.us(cleared[-1].day, "Ask the utility for a new window", SCHEDULER)
    if actor == HOMEOWNER:
        return case.theirs(HOMEOWNER, visit.day, visit.day, act, days=case.limits.answer_days, due_on=due_on)
    if actor != UTILITY:
        return case.us(visit.day, act, actor if actor in (CREW, MANAGER) else SCHEDULER, due_on=due_on)
    return case.theirs(UTILITY, since, asked_on, act, days=case.limits.follow_up_days, due_on=due_on)


def _void_untold(facts: Facts) -> Known | None:
    """The voiding of a verification that nobody has telephoned the homeowner about: they believe that they have backup."""
    voided = facts.latest(k.VERIFICATION_VOIDED)
    if voided is None:
        return None
    told = [fact for fact in facts.of(k.HOMEOWNER_TOLD) if fact.value.get("how") == "telephone" and fact.place > voided.place]
    return None if told else voided


def _energized(case: _Case) -> Waiting:
    facts, state = case.facts, case.state
    since = state.since or case.opened_on
    if (voided := _void_untold(facts)) is not None:
        act = "Telephone the homeowner: the backup is not verified any more"
        return case.us(voided.day, act, SCHEDULER, missing=("the homeowner, told by telephone",), due_on=voided.day)
    if (visit := open_site_visit(facts)) is not None:
        return case.us(visit.day, "Hold the site visit", CREW, due_on=dt.date.fromisoformat(str(visit.value["on"])))
    booked = facts.latest(k.CALL_BOOKED)
    offered = facts.latest(k.CALL_OFFERED)
    ended = facts.latest(k.CALL_ENDED, k.VERIFICATION)

    def stands(fact: Known | None) -> bool:
        return fact is not None and fact.day >= since and (ended is None or fact.order > ended.order)

    if booked is not None and stands(booked):
        at = booked.value.get("on")
        return case.us(booked.day, "Hold the verification call", VERIFIER, due_on=dt.date.fromisoformat(at) if at else None)
    if offered is not None and stands(offered):
        return case.theirs(HOMEOWNER, offered.day, offered.day, "Ask for an answer to the offered time", days=case.limits.answer_days)
    medical = facts.latest(k.MEDICAL_ANSWER)
    if medical is not None and medical.value.get("answer") != "no":
        # Yes, not sure or declined: the test is never run by telephone there. The words do not tell the answer: everybody reads them.
        return case.us(since, "Plan how the backup is verified", SCHEDULER)
    return case.us(since, "Book the verification call", SCHEDULER)
