"""Kinds of message about the utility's work: its visit announced, and power off for the visit."""

from __future__ import annotations

import datetime as dt
from typing import Any

from jobs.core import cautions, clock, phones, walltime, words
from jobs.core.actors import Actor
from jobs.core.models import Person
from jobs.core.models.people import PartyRole
from jobs.core.words import Lang
from jobs.notices import kinds, outbox
from jobs.notices.kinds import NoticeKind, Owing
from jobs.notices.models import Message, State
from jobs.notices.recipients import of_roles
from jobs.notices.shown import day_at
from utilities import services
from utilities.models import Visit

ANNOUNCED, INTERRUPTS = "visit_announced", "utility_interrupts"
# Power goes off for minutes: the cautions of before a test (TRADE.md C13), two of them in words for a visit that is the utility's.
BEFORE_IT_GOES_OFF = ("medical_power_off", "lifts_power_off", "alarms", "save_work", "pumps")
TEN = dt.time(10)  # the hour of the day before at which a home is told that its power goes off


def owe_of_visit(visit: Visit, *, by: Actor) -> None:
    """An announced visit: the home is told of it, and again the day before that its power goes off. Called inside the act."""
    job = visit.job
    if job is None or visit.window_from is None or visit.window_to is None:
        return
    about = {"visit": str(visit.uid)}
    ends = walltime.instant(visit.window_to, local_time=dt.time(23, 59), zone=job.site.zone, fold=0)
    if ends <= clock.now():
        return  # entered after the fact
    if visit.homeowner_told_on is None:
        outbox.owe(ANNOUNCED, job=job, cause=cause_of(visit), about=about, not_after=ends, by=by)
    before = walltime.instant(visit.window_from - dt.timedelta(days=1), local_time=TEN, zone=job.site.zone, fold=0)
    outbox.owe(
        INTERRUPTS,
        job=job,
        cause=power_cause_of(visit),
        about=about,
        not_before=before if before > clock.now() else None,
        not_after=ends,
        by=by,
    )


def withdraw_of_visit(visit: Visit, *, reason: str) -> None:
    """What has not left about a visit that was moved, or is over."""
    for cause in (cause_of(visit), power_cause_of(visit)):
        outbox.withdraw(job=visit.job, cause=cause, reason=reason)


def cause_of(visit: Visit) -> str:
    return f"visit {visit.uid}"


def power_cause_of(visit: Visit) -> str:
    return f"visit {visit.uid} power"


def visit_of(owed: Message | Owing) -> Visit | None:
    uid = str(owed.about.get("visit", ""))
    return Visit.objects.filter(uid=uid, request__job=owed.job).select_related("request__utility").first() if uid else None


def _everyone_at_home(owing: Owing) -> list[Person]:
    """Every adult party at the home; the owner where nobody is on record as at home."""
    if owing.job is None:
        return []
    return of_roles(owing.job, PartyRole.AT_HOME) or of_roles(owing.job, PartyRole.OWNER)


def lang_of(message: Message) -> Lang:
    return "es" if message.language == "es" else "en"


def _visit_context(message: Message) -> dict[str, Any]:
    visit, lang = visit_of(message), lang_of(message)
    if visit is None or visit.window_from is None or visit.window_to is None:
        return {}
    line = services.emergency_line(message.job) if message.job else ""
    return {
        "utility": visit.request.utility.name,
        "days": days_in_words(visit.window_from, visit.window_to, lang=lang),
        "hours": f"“{visit.window_words}”" if visit.window_words else "",
        "line": phones.shown(line) if line else "",
        "before": [cautions.of(name).sentence(lang) for name in BEFORE_IT_GOES_OFF],
    }


def days_in_words(first: dt.date, last: dt.date, *, lang: Lang) -> str:
    """ "on Thursday, November 19", "between Thursday, November 19 and Monday, November 23"."""
    one, other = words.day_long_home(first, lang=lang), words.day_long_home(last, lang=lang)
    if lang == "es":
        return f"el {one}" if first == last else f"entre el {one} y el {other}"
    return f"on {one}" if first == last else f"between {one} and {other}"


def _told(message: Message) -> None:
    """The home knows of a visit from the day on which the first of its messages left, unless somebody had told it before."""
    visit = visit_of(message)
    if visit is None or (visit.homeowner_told_on is not None and not visit.told_by_message):
        return
    sent = Message.objects.in_state(State.SENT).filter(job=message.job, kind=ANNOUNCED, cause=cause_of(visit))
    zone = visit.request.utility.zone
    days = [day_at(one.sent_at, zone) for one in sent if one.has_left and one.sent_at]
    visit.homeowner_told_on, visit.told_by_message = min(days, default=None), bool(days)
    visit.save(update_fields=["homeowner_told_on", "told_by_message"])


def _visit_due(message: Message) -> str | None:
    visit = visit_of(message)
    if visit is None or visit.withdrawn:
        return "The window of the visit was moved."
    if visit.outcome:
        return f"The visit has been: {visit.outcome}."
    if not visit.request.is_open:
        return "The request has ended."
    if message.kind == ANNOUNCED and visit.homeowner_told_on is not None and not visit.told_by_message:
        return f"The homeowner was told on {words.day(visit.homeowner_told_on)}."
    return None


def register() -> None:
    kinds.register(
        NoticeKind(
            name=ANNOUNCED,
            words="the utility's visit announced",
            to=("at_home", "owner"),
            context=_visit_context,
            still_due=_visit_due,
            required=("utility_only",),
            may_go_by_itself=True,
            by_text=True,
            follows=_told,
        )
    )
    # Safety: no hold stops it.
    kinds.register(
        NoticeKind(
            name=INTERRUPTS,
            words="the utility will interrupt power",
            to=_everyone_at_home,
            context=_visit_context,
            still_due=_visit_due,
            required=BEFORE_IT_GOES_OFF,
            stopped_by=None,
            may_go_by_itself=True,
            by_text=True,
            required_in_text=("medical_power_off", "lifts_power_off"),
        )
    )
