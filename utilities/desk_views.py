"""Pages of the desk's day: which desks are asked today, one desk on one page, and who of us asks them."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_safe

from jobs.core import clock, words
from jobs.core.actors import actor, member
from jobs.core.refusals import Refused
from jobs.core.views import answer
from jobs.core.web import recorded, right
from utilities import covering, deskanswers, deskday, deskpage
from utilities.desk_forms import AwayForm, HandOverForm, LinesForm
from utilities.models import DeskSheet, FitRequest
from utilities.views import seen_utility

RECORD = "core.record_requests"


@right(RECORD)
@require_safe
def desks(request: HttpRequest) -> HttpResponseBase:
    """Telephone these four desks today, about these 31 homes."""
    user = member(request)
    found = deskday.desks(FitRequest.objects.seen_by(user), today=clock.office_today())
    mine, others, later = deskpage.of_person(found, user)
    context = {
        "mine": mine,
        "others": others,
        "later": later,
        "homes": len({home for desk in mine or others for home in desk.homes}),
        "lead": mine or others,
    }
    return render(request, "utilities/desks.html", context)


@right(RECORD)
def desk(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """One desk, and its answers line by line."""
    utility, today = seen_utility(request, uid), clock.office_today()
    page = deskpage.page_of(utility, rows=FitRequest.objects.seen_by(member(request)), today=today)
    form = LinesForm(request.POST or None, homes=page.homes, initial={"on": clock.today_in(utility.zone)})
    if request.method == "POST" and form.is_valid():
        try:
            count = deskanswers.record_lines(utility, **form.given(), by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"{words.count(count, 'answer').capitalize()} of {utility}: on record.", "desk", uid=utility.uid)
    return answer(
        request,
        "utilities/desk.html",
        form,
        utility=utility,
        page=page,
        sheets=DeskSheet.objects.filter(utility=utility, discarded_at__isnull=True)[:3],
    )


_HAND_OVER: Callable[..., int] = covering.hand_over
_AWAY: Callable[..., int] = covering.record_away


@right(covering.RIGHT)
def hand_over(request: HttpRequest) -> HttpResponseBase:
    """All desks of one person to another."""
    form = HandOverForm(request.POST or None)
    return _covering(request, form, _HAND_OVER, title="Hand desks over", button="Hand all over")


@right(covering.RIGHT)
def away(request: HttpRequest) -> HttpResponseBase:
    """Somebody is away, and who asks meanwhile."""
    form = AwayForm(request.POST or None)
    return _covering(request, form, _AWAY, title="Record an absence", button="Record absence")


def _covering(request: HttpRequest, form: Any, act: Callable[..., int], *, title: str, button: str) -> HttpResponseBase:
    if request.method == "POST" and form.is_valid():
        told = dict(form.cleaned_data)
        clerk = told.pop("clerk")
        try:
            count = act(clerk, **told, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"{title}: {words.count(count, 'desk')} of {clerk.name}, on record.", "desks")
    return answer(request, "utilities/covering.html", form, title=title, button=button)
