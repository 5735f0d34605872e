"""What of the calls needs a person: a home left islanded first, then today's calls, those unconfirmed, and homes that want a call."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from django.db.models import Q
from django.urls import reverse
from django.utils.http import urlencode

from jobs.appointments import planattention, shown, worklists
from jobs.appointments.models import Appointment, AppointmentQuerySet, AppointmentState, CallRecord, CallRecordQuerySet
from jobs.appointments.readiness import Missing
from jobs.appointments.verification import ALONE_TOO_LONG
from jobs.appointments.visitmodels import SiteVisit, SiteVisitQuerySet
from jobs.appointments.worklists import Wanted
from jobs.core import clock, facts, fittedpage, rules, words
from jobs.core.attention import Attention, Figure, Row, Section, in_words, late, says
from jobs.core.models import Job, User

MOST = 10
HEADINGS = ("Time at the site", "Who will be at home", "Language", "Verifier", "State", "Next act")


def for_user(user: User) -> Attention:
    """Managers: what is islanded. Schedulers: that, their calls and the homes to book. Verifiers: their own calls."""
    sections: list[Section] = []
    figures: list[Figure] = []
    plans, runs = user.has_perm("core.book_any_call"), user.has_perm("core.run_office")
    if plans or runs:
        sections.append(_islanded(CallRecord.objects.seen_by(user).running()))
    if plans and not runs:
        lists = worklists.lists(Job.objects.seen_by(user))
        calls = Appointment.objects.seen_by(user)
        sections += [_todays(calls), _unconfirmed(calls), _unanswered(calls)]
        sections += [_ready(lists.ready), _visits(lists.visits), *planattention.sections(user)]
        figures.append(Figure("Ready and not booked", words.number(len(lists.ready)), reverse("calls_ready")))
    if plans or user.has_perm("core.verify"):
        sections.append(_site_visits(SiteVisit.objects.seen_by(user)))
    if user.has_perm("core.verify"):
        own = Appointment.objects.held_by(user)
        if not (plans or runs):
            sections.append(_islanded(CallRecord.objects.held_by(user).running()))
        sections += [_own(own), _unfinished(user)]
    return Attention(tuple(sections), tuple(figures))


def _islanded(calls: CallRecordQuerySet) -> Section:
    """Fifteen minutes and more without a press, or the line lost: somebody may sit in a home that nobody has seen return."""
    now = clock.now()
    alone = Q(last_press_at__lte=now - ALONE_TOO_LONG) | Q(line_lost_at__isnull=False)
    found = list(
        calls.filter(alone, islanded_at__isnull=False)
        .select_related("appointment__job__site", "appointment__person", "appointment__verifier")
        .order_by("last_press_at")
    )
    return Section(
        name="islanded",
        title="In island mode, 15 minutes without a press or the line lost",
        headings=("Last press", "Home", "Verifier", "In island mode since", "Next act"),
        rows=[
            Row(
                margin=f"{int((now - call.last_press_at).total_seconds() // 60)} minutes ago",
                title=call.appointment.person.name,
                under=call.appointment.job.site.street,
                url=f"{reverse('emergency')}?{urlencode({'job': call.appointment.job.code})}",
                cells=(call.appointment.verifier.name, _islanded_since(call)),
                next_act="Telephone the home first",
            )
            for call in found[:MOST]
        ],
        nothing="No home is in island mode and left alone.",
        note="the call is not over until the return to the utility was seen",
        total=len(found),
        order=0,
        says=says("home is in island mode and left alone", "homes are in island mode and left alone"),
        homes=frozenset(call.appointment.job_id for call in found),
    )


def _islanded_since(call: CallRecord) -> str:
    since = shown.instant(call.islanded_at, call.appointment.zone)
    return f"{since}; the line was lost" if call.line_lost_at else since


def _todays(calls: AppointmentQuerySet) -> Section:
    today, tomorrow, found = _soon(calls)
    return Section(
        name="calls",
        title="Calls today and tomorrow",
        headings=HEADINGS,
        rows=_rows(found[:MOST]),
        nothing="No call is booked for today or tomorrow.",
        note="times are the site's own",
        all_url=_list(from_on=today, to_on=tomorrow),
        total=len(found),
        order=10,
        says=_said(found, today),
        part="opening",
    )


def _own(calls: AppointmentQuerySet) -> Section:
    """A verifier's own calls in order, with what each home still lacks for its call."""
    today, tomorrow, found = _soon(calls)
    gaps = worklists.missing(Job.objects.filter(pk__in=[call.job_id for call in found[:MOST]]))
    metering = {call.job_id: fittedpage.wanted_of(call.job, facts.of(call.job)) for call in found[:MOST]}
    rows = _rows(found[:MOST])
    return Section(
        name="own_calls",
        title="Your calls today and tomorrow",
        headings=("Time at the site", "Who will be at home", "Language", "State", "Still missing", "Next act"),
        rows=[
            replace(row, cells=(row.cells[0], row.cells[2], _gaps(gaps[call.job_id], metering[call.job_id])))
            for row, call in zip(rows, found, strict=False)
        ],
        nothing="No call is booked for today or tomorrow.",
        note="times are the site's own",
        all_url=_list(from_on=today, to_on=tomorrow),
        total=len(found),
        order=10,
        says=_said(found, today),
        part="opening",
    )


def _soon(calls: AppointmentQuerySet) -> tuple[dt.date, dt.date, list[Appointment]]:
    """Today, tomorrow, and the calls of both in order."""
    today = clock.office_today()
    tomorrow = today + dt.timedelta(days=1)
    found = calls.taking().filter(local_date__in=(today, tomorrow)).with_names().order_by("starts_at", "pk")
    return today, tomorrow, list(found)


def _said(calls: Sequence[Appointment], today: dt.date) -> Callable[[int], str]:
    """ "four calls are booked today, the first at 09:00, and one tomorrow"."""
    of_today = [call for call in calls if call.local_date == today]
    later = len(calls) - len(of_today)
    if not of_today:
        return says("call is booked tomorrow", "calls are booked tomorrow")
    verb = "call is booked today, at" if len(of_today) == 1 else "calls are booked today, the first at"
    sentence = f"{in_words(len(of_today))} {verb} {words.time_office(of_today[0].local_time)}"
    return lambda count: f"{sentence}, and {in_words(later)} tomorrow" if later else sentence


def _gaps(missing: Sequence[Missing], metering: Sequence[str]) -> str:
    """What stops the call first; then what the call page will lack."""
    return words.listed([*(gap.words for gap in missing), *metering]) or "nothing, the home is ready"


def _unconfirmed(calls: AppointmentQuerySet) -> Section:
    today = clock.office_today()
    found = calls.filter(state=AppointmentState.BOOKED, local_date__gte=today, local_date__lte=today + dt.timedelta(days=7))
    homes = list(found.order_by().values_list("job_id", flat=True))
    return Section(
        name="unconfirmed",
        title="Booked and not confirmed",
        headings=HEADINGS,
        rows=_rows(found.with_names().order_by("starts_at", "pk")[:MOST], act="Telephone"),
        nothing="Every call of the next seven days is confirmed.",
        all_url=_list(state=AppointmentState.BOOKED.value),
        total=len(homes),
        order=15,
        says=says("booked call is not confirmed", "booked calls are not confirmed"),
        homes=frozenset(homes),
    )


def _unanswered(calls: AppointmentQuerySet) -> Section:
    found = calls.filter(state=AppointmentState.OFFERED)
    homes = list(found.order_by().values_list("job_id", flat=True))
    first = list(found.with_names().order_by("made_at", "pk")[:MOST])
    days, today = rules.number("answer_days"), clock.office_today()
    return Section(
        name="unanswered",
        title="Offers not answered",
        headings=("Offered", "Who will be at home", "Language", "Time offered", "Next act"),
        rows=[
            Row(
                margin=shown.day_of(call.made_at.date()),
                late=late(call.made_at.date() + dt.timedelta(days=days), today),
                title=call.person.name,
                under=call.job.site.street,
                url=reverse("call_answer", kwargs={"uid": call.uid}),
                cells=(call.get_language_display(), shown.when(call)),
                next_act="Ask for an answer",
            )
            for call in first
        ],
        nothing="Every offered time is answered.",
        note="each keeps a place of a verifier",
        all_url=_list(state=AppointmentState.OFFERED.value),
        total=len(homes),
        order=22,
        says=says("offer is not answered", "offers are not answered"),
        homes=frozenset(homes),
    )


def _ready(rows: Sequence[Wanted]) -> Section:
    today = clock.office_today()
    return Section(
        name="ready",
        title="Ready and not booked",
        headings=("Collar since", "Home", "Language", "Final milestone", "Next act"),
        rows=[
            Row(
                margin=words.day_short(row.since, today=today) if row.since else row.job.code,
                title=row.job.homeowner or row.job.code,
                under=row.job.site.street,
                url=reverse("call_book", kwargs={"code": row.job.code}),
                cells=(_language(row), "waits on the call" if row.final_waits else "none waits"),
                next_act="Offer times",
            )
            for row in rows[:MOST]
        ],
        nothing="No home is ready and not booked.",
        note="the dearest day of delay first",
        all_url=reverse("calls_ready"),
        total=len(rows),
        order=20,
        says=says("home is ready and not booked", "homes are ready and not booked"),
        homes=frozenset(row.job.pk for row in rows),
    )


def _site_visits(visits: SiteVisitQuerySet) -> Section:
    """Planned visits, the next first."""
    today = clock.office_today()
    found = list(visits.open().with_names())
    return Section(
        name="site_visits",
        title="Site visits planned",
        headings=("Day at the home", "Home", "Why", "Licensed person", "Next act"),
        rows=[
            Row(
                margin=shown.day_of(visit.planned_on),
                late=late(visit.planned_on, today),
                title=visit.person.name,
                under=visit.job.site.street,
                url=reverse("site_visit", kwargs={"uid": visit.uid}),
                cells=(str(visit.get_reason_display()), visit.licensed_name),
                next_act="Open the visit",
            )
            for visit in found[:MOST]
        ],
        nothing="No site visit is planned.",
        all_url=reverse("site_visits"),
        total=len(found),
        order=29,
        says=says("site visit is planned", "site visits are planned"),
        homes=frozenset(visit.job_id for visit in found),
    )


def _visits(rows: Sequence[Wanted]) -> Section:
    today = clock.office_today()
    planned = set(SiteVisit.objects.open().values_list("job_id", flat=True))
    rows = [row for row in rows if row.job.pk not in planned]
    return Section(
        name="visits",
        title="Site visit to plan",
        headings=("Collar since", "Home", "Why", "Next act"),
        rows=[
            Row(
                margin=words.day_short(row.since, today=today) if row.since else row.job.code,
                title=row.job.homeowner or row.job.code,
                under=row.job.site.street,
                url=f"{reverse('site_visit_new', kwargs={'code': row.job.code})}?why=medical",
                cells=(row.visit,),
                next_act="Plan a site visit",
            )
            for row in rows[:MOST]
        ],
        nothing="No site visit is to be planned.",
        note="never offered a call",
        all_url=f"{reverse('calls_ready')}#s-visits",
        total=len(rows),
        order=28,
        says=says("site visit is to be planned", "site visits are to be planned"),
        homes=frozenset(row.job.pk for row in rows),
    )


def _unfinished(user: User) -> Section:
    """Own calls that were begun and have no result."""
    found = list(CallRecord.objects.held_by(user).running().select_related("appointment__job__site", "appointment__person"))
    return Section(
        name="unfinished",
        title="Begun and not ended",
        headings=("Begun", "Home", "State", "Next act"),
        rows=[
            Row(
                margin=shown.instant(call.begun_at, call.appointment.zone),
                title=call.appointment.person.name,
                under=call.appointment.job.site.street,
                url=reverse("call", kwargs={"uid": call.appointment.uid}),
                cells=("in island mode" if call.islanded_at else "on the call",),
                next_act="Go on with the call",
            )
            for call in found[:MOST]
        ],
        nothing="No call of yours is begun and not ended.",
        total=len(found),
        order=5,
        says=says("call of yours is begun and not ended", "calls of yours are begun and not ended"),
        part="opening",
    )


def _rows(calls: Iterable[Appointment], *, act: str = "Open the call") -> list[Row]:
    return [
        Row(
            margin=f"{shown.day_of(call.local_date)}, {words.time_office(call.local_time)}",
            title=call.person.name,
            under=", ".join(part for part in (call.job.site.street, shown.office_time(call.starts_at, site_zone=call.zone)) if part),
            url=reverse("call", kwargs={"uid": call.uid}),
            cells=(call.get_language_display(), call.verifier.name, call.get_state_display()),
            next_act=act,
        )
        for call in calls
    ]


def _language(row: Wanted) -> str:
    at_home = [party.person for party in row.job.parties.all() if party.role == "at_home" and party.to_on is None]
    return str(at_home[0].get_language_display()) if at_home else ""


def _list(**filters: object) -> str:
    return f"{reverse('calls')}?{urlencode({name: str(value) for name, value in filters.items()})}"
