"""The emergency page: house dark, half dark, smoke, shock. Whom to call, in which order; and the record of it."""

from __future__ import annotations

from collections.abc import Callable

from django import forms
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from jobs.appointments import oncall, shown
from jobs.core import clock, codes, facts, homefacts, rules
from jobs.core.actors import actor
from jobs.core.forms import KeyedForm
from jobs.core.models import Fact, Job, Party
from jobs.core.models.people import PartyRole
from jobs.core.refusals import Refused
from jobs.core.waiting import open_emergency
from jobs.core.web import recorded, right
from jobs.pages import search
from utilities import services

WITHOUT_POWER = ("the whole house", "half of it, or some rooms", "the backed-up panel alone", "nothing", "not known")
# In this order: what may kill first. Half a house without power is a lost leg or a lost neutral until somebody has looked.
QUESTIONS = (
    ("Smoke, fire, heat, sparks, a smell of gas, a CO alarm, a wire on the ground?", "Everybody out, and 911; nothing else first."),
    ("Is the battery hot, swollen, hissing or smoking?", "Everybody out, and 911. Nobody opens or sprays it."),
    ("Did anyone feel a shock, or is anyone unwell?", "911. Nobody touches anything."),
    ("Does anyone rely on powered medical equipment?", "If so: their own plan for it now, and 911 if it cannot wait."),
    ("What is without power: the whole house, half of it, one panel?", "Half of it may be a lost leg or neutral: nobody runs a test."),
    ("Are lights very bright, very dim, or flickering?", "A lost neutral can do that: the utility's emergency line now."),
    ("Since when, and was the utility at the meter today?", "Its emergency line first, whoever caused it."),
    ("Are the neighbors without power too?", "Then it is an outage; ask the utility, and tell what this home has."),
)
WHO_FIRST = (PartyRole.AT_HOME.value, PartyRole.OWNER.value)


class OpenForm(KeyedForm):
    caller = forms.CharField(label="Who tells it", required=False, max_length=160)
    off = forms.ChoiceField(
        label="What is without power",
        choices=[(off, off) for off in WITHOUT_POWER],
        widget=forms.RadioSelect,
        required=False,
    )
    what = forms.CharField(
        label="What is wrong, in the words of whoever tells it", max_length=400, widget=forms.Textarea(attrs={"rows": 2})
    )


class EndForm(KeyedForm):
    how = forms.CharField(label="How it ended", max_length=400, widget=forms.Textarea(attrs={"rows": 2}))


@right("core.record_emergency")
@require_http_methods(["GET", "HEAD", "POST"])
def emergency(request: HttpRequest) -> HttpResponseBase:
    """Without a job: what to do, and a search for the home. With one: its numbers, and the record."""
    code = codes.normal(request.GET.get("job", ""))
    if not code:
        return render(request, "pages/emergency.html", {"job": None, **_found(request), **_numbers()})
    job = get_object_or_404(Job.objects.seen_by(request.user).select_related("site"), code=code)
    stands = open_emergency(facts.of(job))
    may_end = request.user.has_perm("core.end_emergency")
    form = (EndForm if stands else OpenForm)(request.POST or None)
    if request.method == "POST" and form.is_valid():
        act: Callable[..., Fact] = homefacts.end_emergency if stands else homefacts.open_emergency
        try:
            act(job, **form.told, by=actor(request), key=form.given_key)
        except Refused as refusal:
            form.refuse(refusal)
        else:
            sentence = (
                "Recorded: the emergency is over."
                if stands
                else "Recorded. It stands first on the scheduler's and the manager's Today until it ends."
            )
            if request.user.has_perm("core.see_jobs") or request.user.has_perm("core.see_own_jobs"):
                return recorded(request, sentence, "job", code=job.code)
    context = {
        "job": job,
        "form": form if may_end or not stands else None,
        "stands": stands,
        "what": str(stands.value.get("what", "")) if stands else "",
        "off": str(stands.value.get("off", "")) if stands else "",
        "caller": str(stands.value.get("caller", "")) if stands else "",
        "line": services.emergency_line(job),
        "utility": services.utility_of(job),
        "people": _people(job),
        "back": reverse("job", kwargs={"code": job.code}),
        **_numbers(),
    }
    return render(request, "pages/emergency.html", context, status=422 if form.errors else 200)


def _numbers() -> dict[str, object]:
    """Who is on call now, in pieces of which the number is to be pressed; and what is asked."""
    found = oncall.reached(clock.now())
    zone = rules.text("office_zone")
    return {"on_call": found.pieces, "on_call_until": shown.instant(found.until, zone), "questions": QUESTIONS}


def _found(request: HttpRequest) -> dict[str, object]:
    text = " ".join(request.GET.get("q", "").split())
    user = actor(request).user
    assert user is not None
    if len(text) < search.LEAST:
        return {"text": text, "hits": [], "short": bool(text)}
    hits = {hit.job.pk: hit for hit in search.found(text, user)}
    return {"text": text, "hits": list(hits.values()), "short": False}


def _people(job: Job) -> list[Party]:
    """Whom to telephone at the home: who is there, then the owner; each person once."""
    found: dict[int, Party] = {}
    parties = job.parties.filter(role__in=WHO_FIRST, to_on__isnull=True).select_related("person")
    for party in sorted(parties, key=lambda party: WHO_FIRST.index(party.role)):
        if party.person.phone:
            found.setdefault(party.person_id, party)
    return list(found.values())
