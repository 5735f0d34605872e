"""Sections of Today on what does not agree: fittings to confirm, closed there but open here, past a limit, withdrawals not heard of."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.db.models import Count, Q
from django.urls import reverse

from jobs.core import clock, rules, words
from jobs.core.attention import Row, Section, says
from utilities import services, shown, standing, versions
from utilities.endings import WITHDRAWN
from utilities.models import FitRequest, Outcome, Utility
from utilities.models.requests import FitRequestQuerySet

MOST = 10


def sections(rows: FitRequestQuerySet, today: dt.date) -> list[Section]:
    return [_to_confirm(rows, today), _closed_there(rows, today), _over(rows, today), _not_heard(rows, today)]


def _of(
    found: Sequence[FitRequest],
    told: Sequence[tuple[str, ...]],
    today: dt.date,
    *,
    name: str,
    title: str,
    headings: tuple[str, ...],
    act: str,
    url_name: str,
    nothing: str,
    note: str,
    order: int,
    said: tuple[str, str],
    total: int,
) -> Section:
    """told: of each request the margin and the cells between the home and its act."""
    lines = shown.lines(shown.with_parts(FitRequest.objects.filter(pk__in=[one.pk for one in found])), today=today)
    by_pk = {line.request.pk: line for line in lines}
    return Section(
        name=name,
        title=title,
        headings=headings,
        rows=[
            Row(
                margin=margin,
                title=by_pk[one.pk].person or by_pk[one.pk].home,
                under=by_pk[one.pk].home,
                url=reverse(url_name, kwargs={"uid": one.uid} if url_name != "request" else {"code": one.code}),
                cells=tuple(cells),
                next_act=act,
            )
            for one, (margin, *cells) in zip(found, told, strict=True)
        ],
        nothing=nothing,
        note=note,
        total=total,
        homes=frozenset(one.job_id for one in found if one.job_id is not None),
        order=order,
        says=says(*said),
    )


def _to_confirm(rows: FitRequestQuerySet, today: dt.date) -> Section:
    found = rows.exclude(outcome=Outcome.FITTED).filter(job__next_act__startswith="Confirm the fitting").waits()
    some = list(found.select_related("job", "utility").order_by("job__waiting_since", "code")[:MOST])
    told = [(words.day_short(since, today=today) if one.job and (since := one.job.waiting_since) else "", one.utility.name) for one in some]
    return _of(
        some, told, today, name="to_confirm", title="Fittings to confirm", headings=("Reported", "Home", "Utility", "Next act"),
        act="Confirm the fitting", url_name="request_fitted", nothing="No reported fitting waits to be confirmed.",
        note="somebody says that the collar is in", order=11, said=("fitting is to be confirmed", "fittings are to be confirmed"),
        total=found.count(),
    )  # fmt: skip


def _closed_there(rows: FitRequestQuerySet, today: dt.date) -> Section:
    found = rows.open().filter(closed_there_on__isnull=False)
    some = list(found.select_related("utility").order_by("closed_there_on", "code")[:MOST])
    told = [
        (words.day_short(one.closed_there_on, today=today), one.utility.name, one.closed_there_reason)
        for one in some
        if one.closed_there_on
    ]
    return _of(
        some, told, today, name="closed_there", title="Closed by the utility, open here",
        headings=("Closed", "Home", "Utility", "Why", "Next act"),
        act="Clear it", url_name="request", nothing="No open request is on record as closed there.",
        note="not fitted, and in nobody's queue there", order=14,
        said=("request is closed there and open here", "requests are closed there and open here"), total=found.count(),
    )  # fmt: skip


def _over(rows: FitRequestQuerySet, today: dt.date) -> Section:
    found = standing.over(rows)
    some = found[:MOST]
    told = [
        (one.over_words, request.utility.name, f"to {one.limit.sentence}, due {words.day_short(one.due_on, today=today)}", one.limit.source)
        for request, one in some
        if one.due_on
    ]
    return _of(
        [request for request, _ in some], told, today, name="over_limit", title="Past a published limit",
        headings=("Over", "Home", "Utility", "Limit", "Source", "Next act"), act="See the request", url_name="request",
        nothing="No open request is past a limit that its utility publishes.", note="by each utility's own calendar", order=18,
        said=("request is past a published limit", "requests are past a published limit"), total=len(found),
    )  # fmt: skip


def _not_heard(rows: FitRequestQuerySet, today: dt.date) -> Section:
    found = rows.filter(outcome=Outcome.CANCELLED, end_reason=WITHDRAWN, withdrawal_heard_on__isnull=True, source_key__isnull=True)
    some = list(found.select_related("utility").order_by("ended_on", "code")[:MOST])
    told = [(words.day_short(one.ended_on, today=today), one.utility.name) for one in some if one.ended_on]
    return _of(
        some, told, today, name="not_heard", title="Withdrawn, and not acknowledged", headings=("Withdrawn", "Home", "Utility", "Next act"),
        act="Record acknowledgement", url_name="request_heard", nothing="Every withdrawal is acknowledged.",
        note="until then the utility may still come and fit", order=29,
        said=("withdrawal is not acknowledged", "withdrawals are not acknowledged"), total=found.count(),
    )  # fmt: skip


def old_profiles() -> Section:
    """Utilities that homes wait for, whose profile nobody has confirmed within the days of the rule."""
    open_now = Count("requests", filter=Q(requests__outcome=Outcome.OPEN))
    most = rules.number("profile_days")
    waiting = Utility.objects.annotate(open_now=open_now).filter(open_now__gt=0).prefetch_related("versions").order_by("-open_now", "name")
    old = []
    for utility in waiting:
        here = clock.today_in(utility.zone)
        version = services.version_of(utility, here)
        if version is None or versions.is_old(version, today=here, most=most):
            old.append((utility, version, versions.confirmed_words(version, today=here) if version else "Nothing is on record"))
    return Section(
        name="old_profiles",
        title="Profiles to confirm again",
        headings=("Homes", "Utility", "Its profile", "Next act"),
        rows=[
            Row(
                margin=words.number(getattr(utility, "open_now", 0)),
                title=utility.name,
                url=reverse("version_confirm", kwargs={"uid": version.uid})
                if version
                else reverse("version_new", kwargs={"uid": utility.uid}),
                cells=(said,),
                next_act="Confirm it" if version else "Record it",
            )
            for utility, version, said in old[:MOST]
        ],
        nothing=f"Every profile that homes rest on was confirmed within {words.count(most, 'day')}.",
        note=f"older than {words.count(most, 'day')}, or never confirmed",
        total=len(old),
        order=30,
        says=says("profile is to be confirmed again", "profiles are to be confirmed again"),
    )
