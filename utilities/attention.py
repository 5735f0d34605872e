"""What of the utilities needs a person today: of those who record requests, and of the manager besides."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable

from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet, Subquery
from django.urls import reverse
from django.utils.http import urlencode

from jobs.core import clock, rules, words
from jobs.core.attention import Attention, Row, Section, late, says
from jobs.core.models import User
from jobs.core.states import S
from utilities import attention_papers, desksection, discrepancies, outlooks, services, shown
from utilities.models import Contact, FitRequest, Outcome, Utility, Visit
from utilities.models.requests import FitRequestQuerySet

MOST = 10  # rows of a section; the rest stand behind its link
SIX = 6  # weeks to come, of which the manager is told
MISSED = 2  # visits missed: from then on the manager looks (TRADE.md C6a)


def for_user(user: User) -> Attention:
    if not (user.has_perm("core.see_utilities") and user.has_perm("core.record_requests")):
        return Attention()
    today = clock.office_today()
    rows = FitRequest.objects.seen_by(user).filter(job__isnull=False)
    sections = [
        _promises(rows, today),
        _announced(user, today),
        desksection.follow_ups(rows, today),
        _unacknowledged(rows, today),
        _ended(rows, today),
        _withdraw(rows, today),
        *discrepancies.sections(rows, today),
    ]
    if user.has_perm("core.edit_utilities"):
        sections += [
            desksection.storms_to_review(today),
            _missed_twice(rows, today),
            _pace_changed(today),
            _without_line(),
            discrepancies.old_profiles(),
            _fittings_expected(today),
        ]
    return Attention(sections=(*sections, *attention_papers.sections(user)))


def overdue_promises(rows: FitRequestQuerySet, today: dt.date) -> FitRequestQuerySet:
    """Open requests whose last contact named a day that has passed, the longest passed first; with `promised_by` and `promise`."""
    # A letter of ours answers no promise.
    last = Contact.objects.filter(request=OuterRef("pk"), withdrawn=False).exclude(answered="").order_by("-on", "-pk")
    told = rows.open().annotate(promised_by=Subquery(last.values("promised_by")[:1]), promise=Subquery(last.values("answered")[:1]))
    # A visit recorded since then has answered the promise, whatever came of it.
    visited = Visit.objects.standing().filter(request=OuterRef("pk"), visited_on__gte=OuterRef("promised_by")).exclude(outcome="")
    return told.filter(promised_by__lt=today).exclude(Exists(visited)).order_by("promised_by", "filed_on")


def _promises(rows: FitRequestQuerySet, today: dt.date) -> Section:
    found = overdue_promises(rows, today)
    homes = _homes(found)
    return Section(
        name="promises",
        title="Promises overdue",
        headings=("Promised", "Home", "Utility and promise", "Since", "Half by", "Nine in ten by", "Next act"),
        rows=[
            Row(
                margin=words.day_short(promised, today=today),
                late=late(promised, today),
                title=line.person or line.home,
                under=line.home,
                url=reverse("request_contact", kwargs={"uid": line.request.uid}),
                cells=(
                    f"{line.request.utility}: “{getattr(line.request, 'promise', '')}”",
                    _since(line, today),
                    line.half,
                    line.nine,
                ),
                next_act="Record answer",
                job_id=line.request.job_id,
            )
            for line in _lines(found, today)
            if (promised := line.promised_by) is not None
        ],
        nothing="No promise is overdue.",
        note="the utility named a day, it has passed",
        total=len(homes),
        homes=frozenset(homes),
        order=10,
        kinds=("", "day", "expected", "expected"),
        says=says("promise is overdue", "promises are overdue"),
        unbilled=True,
    )


def _announced(user: User, today: dt.date) -> Section:
    found = Visit.objects.seen_by(user).pending().filter(request__outcome=Outcome.OPEN, window_to__gte=today)
    homes = list(found.order_by().values_list("request__job_id", flat=True))
    found = found.select_related("request__utility", "request__job__site").prefetch_related("request__job__parties__person")
    return Section(
        name="visits_announced",
        title="Visits announced by utilities",
        headings=("Day", "Home", "Utility", "Homeowner", "Next act"),
        rows=[_visit_row(visit, today) for visit in found.order_by("window_from", "pk")[:MOST]],
        nothing="No utility has announced a visit.",
        note="days of the utility",
        total=len(homes),
        homes=frozenset(homes),
        order=20,
        says=says("visit is announced", "visits are announced"),
    )


def _visit_row(visit: Visit, today: dt.date) -> Row:
    told, job = visit.homeowner_told_on, visit.job
    assert job is not None  # only a job's request is visited
    assert visit.window_from is not None  # a pending visit was announced
    assert visit.window_to is not None
    return Row(
        margin=words.days_short(visit.window_from, visit.window_to, today=today),
        title=job.homeowner or job.code,
        under=job.site.line,
        url=reverse("request_visit" if told else "visit_told", kwargs={"uid": visit.request.uid if told else visit.uid}),
        cells=(
            f"{visit.request.utility}{', ' if visit.window_words else ''}{visit.window_words}",
            f"told {words.day_short(told, today=today)}" if told else "not told",
        ),
        next_act="Record visit" if told else "Record homeowner told",
    )


def _unacknowledged(rows: FitRequestQuerySet, today: dt.date) -> Section:
    days = rules.number("acknowledge_days")
    heard = Contact.objects.filter(request=OuterRef("pk")).exclude(answered="")
    silent = rows.open().filter(acknowledged_on__isnull=True).exclude(Exists(heard))
    found = silent.filter(_filed_before(silent, days=days))
    return _requests(
        found.order_by("filed_on", "code"),
        today,
        name="unacknowledged",
        title="Sent, and no word from the utility",
        nothing=f"Every request older than {words.count(days, 'business day')} of its utility has been answered or asked about.",
        note=f"for more than {words.count(days, 'business day')} of its utility",
        act="Record answer",
        url_name="request_answer",
        order=26,
        said=says("request is without a word from the utility", "requests are without a word from the utility"),
    )


def _filed_before(rows: FitRequestQuerySet, *, days: int) -> Q:
    """Sent so many business days ago or earlier, by each utility's own calendar."""
    utilities = Utility.objects.filter(pk__in=rows.order_by().values("utility")).prefetch_related("closures")
    before = Q(pk__in=[])
    for utility in utilities:
        here = clock.today_in(utility.zone)
        calendar = services.calendar_of(utility)
        day = here
        while calendar.elapsed(day, here) <= days and (here - day).days < 366:
            day -= dt.timedelta(days=1)
        before |= Q(utility=utility, filed_on__lte=day)
    return before


def _ended(rows: FitRequestQuerySet, today: dt.date) -> Section:
    newer = FitRequest.objects.waits().filter(job=OuterRef("job"), pk__gt=OuterRef("pk"))
    found = rows.filter(outcome=Outcome.CANCELLED, job__state=S.AWAITING_UTILITY).exclude(Exists(newer)).order_by("ended_on", "code")
    homes = _homes(found)
    return Section(
        name="ended_requests",
        title="Ended without fitting, not asked again",
        headings=("Ended", "Home", "Utility", "Why", "Next act"),
        rows=[
            Row(
                margin=words.day_short(line.request.ended_on, today=today) if line.request.ended_on else "",
                title=line.person or line.home,
                under=line.home,
                url=reverse("request_sent", kwargs={"uid": line.request.service.uid}) if line.request.service else "",
                cells=(line.request.utility.name, line.request.end_reason),
                next_act="Record request sent",
            )
            for line in _lines(found, today)
        ],
        nothing="No home waits in nobody's queue.",
        note="these homes wait in nobody's queue",
        total=len(homes),
        homes=frozenset(homes),
        order=15,
        says=says("request ended without fitting and is not asked again", "requests ended without fitting and are not asked again"),
    )


def _withdraw(rows: FitRequestQuerySet, today: dt.date) -> Section:
    return _requests(
        rows.open().filter(job__state=S.CANCELLED).order_by("filed_on", "code"),
        today,
        name="to_withdraw",
        title="Cancelled with us, still open at the utility",
        nothing="No cancelled home is still asked for.",
        note="else the utility comes and fits all the same",
        act="Record its end",
        url_name="request_end",
        order=27,
        said=says("cancelled home is still asked for", "cancelled homes are still asked for"),
    )


def _missed_twice(rows: FitRequestQuerySet, today: dt.date) -> Section:
    missed = Count("visits", filter=~Q(visits__missed_by="") & Q(visits__withdrawn=False))
    found = rows.open().annotate(missed=missed).filter(missed__gte=MISSED).order_by("-missed", "filed_on")
    return _requests(
        found,
        today,
        name="missed_twice",
        title="Visits missed twice or more",
        nothing="No home has had two missed visits.",
        note="by whomever; yours to decide",
        act="See its visits",
        url_name="",
        order=16,
        said=says("home has had two visits missed", "homes have had two visits missed or more"),
    )


def _requests(
    found: FitRequestQuerySet,
    today: dt.date,
    *,
    name: str,
    title: str,
    nothing: str,
    note: str,
    act: str,
    url_name: str,
    order: int,
    said: Callable[[int], str],
) -> Section:
    homes = _homes(found)
    return Section(
        name=name,
        title=title,
        headings=("Sent", "Home", "Utility", "Since", "Half by", "Nine in ten by", "Next act"),
        rows=[
            Row(
                margin=words.day_short(line.request.filed_on, today=today),
                title=line.person or line.home,
                under=line.home,
                url=(
                    reverse(url_name, kwargs={"uid": line.request.uid})
                    if url_name
                    else reverse("request", kwargs={"code": line.request.code})
                ),
                cells=(line.request.utility.name, _since(line, today), line.half, line.nine),
                next_act=act,
            )
            for line in _lines(found, today)
        ],
        nothing=nothing,
        note=note,
        total=len(homes),
        order=order,
        kinds=("", "day", "expected", "expected"),
        says=said,
        homes=frozenset(homes),
    )


def _without_line() -> Section:
    open_now = Count("requests", filter=Q(requests__outcome=Outcome.OPEN))
    found: QuerySet[Utility] = Utility.objects.filter(emergency_phone="").annotate(open_now=open_now).filter(open_now__gt=0)
    return Section(
        name="without_line",
        title="Utilities without an emergency line",
        headings=("Homes", "Utility", "What is stopped", "Next act"),
        rows=[
            Row(
                margin=words.number(getattr(utility, "open_now", 0)),
                title=utility.name,
                url=reverse("utility_edit", kwargs={"uid": utility.uid}),
                cells=("no call for its homes can be booked or begun",),
                next_act="Enter the line",
            )
            for utility in found.order_by(F("open_now").desc(), "name")[:MOST]
        ],
        nothing="Every utility that homes wait for has its emergency line on record.",
        all_url=f"{reverse('utilities')}?{urlencode({'lacks': 'emergency'})}",
        total=found.count(),
        order=28,
        says=says("utility has no emergency line", "utilities have no emergency line"),
    )


def _pace_changed(today: dt.date) -> Section:
    found = outlooks.alarms(today=today)
    return Section(
        name="pace_changed",
        title="Utilities whose pace changed",
        headings=("Since about", "Utility", "Its pace", "Told by", "Next act"),
        rows=[
            Row(
                margin=words.day_short(change.since, today=today),
                title=change.utility.name,
                under=f"found {words.day_short(change.found_on, today=today)}",
                url=reverse("utility", kwargs={"uid": change.utility.uid}),
                cells=(change.how_much, change.told_by),
                next_act="See its wait",
            )
            for change in found[:MOST]
        ],
        nothing="No utility was found to have left its pace of before.",
        note=outlooks.FALSE_ALARMS,
        total=len(found),
        order=17,
        says=says("utility works at another pace than before", "utilities work at another pace than before"),
    )


def _fittings_expected(today: dt.date) -> Section:
    weeks = [week for week in outlooks.weeks_together() if week["week"] > today - outlooks.ONE_WEEK][:SIX]
    total = round(sum(week["mean"] for week in weeks))
    return Section(
        name="fittings_expected",
        title="Fittings expected",
        headings=("Week of", "Fittings", "In eight weeks of ten", "Homes"),
        rows=[
            Row(
                margin="this week" if week["week"] <= today else words.day_short(week["week"], today=today),
                title=f"about {words.number(round(week['mean']))}" if week["mean"] >= 0.5 else "fewer than one",
                url=reverse("requests"),
                cells=(_between(week["low"], week["high"]),),
                next_act="Open requests",
            )
            for week in weeks
            if total
        ],
        nothing="No fitting is expected in the coming six weeks.",
        note="of the requests open now, all utilities together; of this week what is left of it",
        total=total,
        order=90,
        kinds=("expected",),
        says=says("fitting is expected in the coming six weeks", "fittings are expected in the coming six weeks"),
        part="overview",
    )


def _between(low: float, high: float) -> str:
    """ "4 to 10"."""
    return words.number(round(low)) if low == high else f"{words.number(round(low))} to {words.number(round(high))}"


def _homes(found: FitRequestQuerySet) -> list[int]:
    """The home of each request, once for each: so that one query counts both."""
    return [job_id for job_id in found.values_list("job_id", flat=True) if job_id is not None]


def _lines(found: FitRequestQuerySet, today: dt.date) -> Iterable[shown.Line]:
    return shown.lines(shown.with_parts(found)[:MOST], today=today)


def _since(line: shown.Line, today: dt.date) -> str:
    return f"{words.day_short(line.request.filed_on, today=today)}, {words.count(line.days, 'day')}"
