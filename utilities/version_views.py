"""Pages of a utility's profile: its versions, a new one, two side by side, a confirmation; and an answer entered by its number."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from jobs.core import clock, codes, words
from jobs.core.actors import actor, member
from jobs.core.refusals import Refused
from jobs.core.views import answer
from jobs.core.web import recorded, right
from utilities import requests, services, versions, versionshown
from utilities.models import FitRequest, ProfileVersion
from utilities.request_forms import DeskAnswerForm
from utilities.version_forms import ConfirmVersionForm, VersionForm
from utilities.views import seen_utility


def _version(request: HttpRequest, uid: uuid.UUID) -> ProfileVersion:
    return get_object_or_404(ProfileVersion.objects.seen_by(member(request)).select_related("utility"), uid=uid)


@right("core.see_utilities")
@require_safe
def version_list(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """All versions, newest first; two of them side by side: those asked for, else the two newest."""
    found = seen_utility(request, uid)
    rows = list(found.versions.order_by("-valid_from"))
    by_uid = {str(row.uid): row for row in rows}
    later = by_uid.get(request.GET.get("later", "")) or (rows[0] if rows else None)
    earlier = by_uid.get(request.GET.get("earlier", "")) or (rows[1] if len(rows) > 1 else None)
    today = clock.today_in(found.zone)
    context = {
        "utility": found,
        "rows": [(row, row.requests.count(), versions.confirmed_words(row, today=today)) for row in rows],
        "later": later,
        "earlier": earlier,
        "lines": versionshown.side_by_side(earlier, later, today=clock.office_today()) if earlier and later and earlier != later else [],
        "now": services.version_of(found, today),
    }
    return render(request, "utilities/versions.html", context)


@right("core.edit_utilities")
def version_new(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    found = seen_utility(request, uid)
    today = clock.today_in(found.zone)
    now = services.version_of(found, today)
    form = VersionForm(request.POST or None, initial=VersionForm.initial_of(now, today=today))
    if request.method == "POST" and form.is_valid():
        days = {name: form.cleaned_data[name] for name in ("valid_from", "valid_to", "confirmed_with")}
        try:
            made = versions.record_version(found, terms=form.terms(), **days, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            said = f"The profile of {found} from {words.day(made.valid_from)} is on record. Requests sent before keep theirs."
            return recorded(request, said, "utility", uid=found.uid)
    title = f"New version of the profile of {found}"
    return answer(request, "utilities/version_form.html", form, utility=found, title=title, button="Record this version", before=now)


@right("core.edit_utilities")
def version_correct(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    version = _version(request, uid)
    found = version.utility
    form = VersionForm(request.POST or None, fixed_days=True, initial=VersionForm.initial_of(version, today=clock.today_in(found.zone)))
    if request.method == "POST" and form.is_valid():
        try:
            versions.correct_version(version, terms=form.terms(), by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"The version from {words.day(version.valid_from)} is corrected.", "versions", uid=found.uid)
    title = f"Correct the version from {words.day(version.valid_from)}"
    return answer(request, "utilities/version_form.html", form, utility=found, title=title, button="Correct this version", before=None)


@right("core.edit_utilities")
def version_confirm(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    version = _version(request, uid)
    found = version.utility
    form = ConfirmVersionForm(request.POST or None, initial={"on": clock.today_in(found.zone)})
    if request.method == "POST" and form.is_valid():
        try:
            versions.confirm_version(version, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"The profile of {found} is confirmed.", "utility", uid=found.uid)
    return answer(request, "utilities/record.html", form, utility=found, title="Confirm the profile", button="Record confirmation")


@right("core.record_requests")
def desk_answer(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """What a utility's desk answered about one home, found by our code or its number; of another utility's home it is refused."""
    found = seen_utility(request, uid)
    form = DeskAnswerForm(request.POST or None, initial={"on": clock.today_in(found.zone), "key": uuid.uuid4()})
    if request.method == "POST" and form.is_valid():
        told: dict[str, Any] = dict(form.cleaned_data)
        which, key = told.pop("which"), str(told.pop("key") or "") or None
        try:
            one = _meant(request, which)
            _ANSWER(one, **told, from_utility=found, by=actor(request), key=key)
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"Answer of {found} about {one.code}: on record.", "utility_answer", uid=found.uid)
    return answer(request, "utilities/record.html", form, utility=found, title="Record an answer of its desk", button="Record answer")


_ANSWER: Any = requests.record_answer  # an act takes a `key` besides what it declares, which no type can say


def _meant(request: HttpRequest, which: str) -> FitRequest:
    """The one open request that a code, the utility's number or a meter number names, at whatever utility it is."""
    typed = which.strip()
    rows = FitRequest.objects.seen_by(member(request)).filter(job__isnull=False)
    if (by_code := rows.filter(code=codes.normal(typed)).first()) is not None:
        return by_code
    for name in ("utility_reference__iexact", "service__meter_number__iexact", "job__code__iexact"):
        found = list(rows.open().filter(**{name: typed})[:2])
        if len(found) == 1:
            return found[0]
        if found:
            raise Refused(f"“{typed}” names more than one request; give our code of the request.", field="which")
    raise Refused(f"No open request has the code, number or meter “{typed}”; look it up in the list of requests.", field="which")
