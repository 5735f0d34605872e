"""Pages of a storm: declared for a utility or an area, looked at again, lifted."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404
from django.urls import reverse

from jobs.core import words
from jobs.core.actors import actor, member
from jobs.core.forms import DayField, OfficeForm
from jobs.core.models import Hold
from jobs.core.refusals import Refused
from jobs.core.views import answer
from jobs.core.web import recorded, right
from utilities import storms
from utilities.forms import DistrictChoice
from utilities.models import District, Storm, Utility
from utilities.views import seen_utility

_DECLARE: Callable[..., Storm] = storms.declare_storm
_REVIEW: Callable[..., Storm] = storms.review_storm
_LIFT: Callable[..., int] = storms.lift_storm


class ReviewForm(OfficeForm):
    review_on = DayField(label="Look again on", help_text="It stands on Today from that day until it is lifted or goes on.")


class StormForm(ReviewForm):
    district = DistrictChoice(label="Area", queryset=District.objects.none(), required=False, empty_label="all of the utility")
    source = forms.CharField(label="Who declared it, and where it is published", max_length=240)

    field_order = ["district", "source", "review_on"]

    def __init__(self, *args: Any, utility: Utility, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["district"].queryset = District.objects.filter(utility=utility).select_related("utility")  # type: ignore[attr-defined]


@right(storms.RIGHT)
def declare(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    utility = seen_utility(request, uid)
    form = StormForm(request.POST or None, utility=utility)
    if request.method == "POST" and form.is_valid():
        try:
            made = _DECLARE(utility, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"The storm at {made.area} is declared: {_homes(made)} on hold.", "storm", uid=made.uid)
    context = {
        "heading": f"Declare a storm at {utility}",
        "margin": "Storm",
        "happens": [
            "Every home there that is not finished is put on hold, also homes that join while it stands.",
            "Calls are called off, the desk is not asked, and nothing is sent to it. No backup test is held in a storm.",
            "The homes' waits go on: they are shown whole, with the days of the storm beside them.",
        ],
        "act": "Declare the storm",
        "keep": "No storm",
        "back": reverse("utility", kwargs={"uid": utility.uid}),
    }
    return answer(request, "confirm.html", form, **context)


def _seen(request: HttpRequest, uid: uuid.UUID) -> Storm:
    return get_object_or_404(Storm.objects.seen_by(member(request)).select_related("utility", "district"), uid=uid)


@right(storms.RIGHT)
def storm(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """Look at it again: it goes on until another day, or is lifted."""
    found = _seen(request, uid)
    form = ReviewForm(request.POST or None, initial={"review_on": found.review_on})
    if request.method == "POST" and form.is_valid():
        try:
            _REVIEW(found, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"The storm at {found.area} goes on.", "storm", uid=found.uid)
    return answer(request, "utilities/storm.html", form, storm=found, homes=_homes(found))


@right(storms.RIGHT)
def lift(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    found = _seen(request, uid)
    if found.lifted_at is not None and request.method != "POST":
        raise Http404("This storm was lifted already.")
    form = OfficeForm(request.POST or None)
    if request.method == "POST":
        try:
            count = _LIFT(found, by=actor(request))
        except Refused as refusal:
            return recorded(request, str(refusal), "storm", uid=found.uid)
        said = f"The storm at {found.area} is lifted, with the holds of {words.count(count, 'home')}."
        return recorded(request, said, "storm", uid=found.uid)
    context = {
        "heading": f"Lift the storm at {found.area}",
        "margin": "Storm",
        "happens": [
            f"The holds of {_homes(found)} end together.",
            "Other holds of these homes stand.",
            "Calls are booked anew by a person.",
        ],
        "act": "Lift the storm",
        "keep": "It goes on",
        "back": reverse("storm", kwargs={"uid": found.uid}),
    }
    return answer(request, "confirm.html", form, **context)


def _homes(found: Storm) -> str:
    count = Hold.objects.filter(cause=found.cause, lifted_at__isnull=found.lifted_at is None).count()
    return words.count(count, "home")
