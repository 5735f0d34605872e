"""The crew's pages on a phone: the day's sites, and one long form of day one, sent part by part.

Each part is a form of its own and works without script. With it the phone keeps what is filled in, sends it with a key of its own and is
answered with the part alone ("X-Part"); a key is honoured once, whoever asks again.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

from django.contrib.staticfiles import finders
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.datastructures import MultiValueDict
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods, require_safe

from jobs.core import clock, crew_es, crewform, crewpage, due, files, phoneparts
from jobs.core.actors import actor, member
from jobs.core.crewform import Part
from jobs.core.dayone import Photo
from jobs.core.models import Job, PhonePart, StoredFile
from jobs.core.models.phone import Outcome
from jobs.core.phoneparts import Sending
from jobs.core.record_forms import RecordForm
from jobs.core.refusals import NotAllowed, Refused
from jobs.core.views import seen_job
from jobs.core.web import recorded, right
from jobs.core.words import Lang

MOST = 40  # homes on the day's page; an operations manager sees those of every crew
LONGEST_KEY = 64
SAID: dict[str, dict[Lang, str]] = {
    Outcome.RECORDED: {"en": "Recorded.", "es": "Anotado."},
    Outcome.SAME: {"en": "The same was on record already; nothing was recorded twice.", "es": "Ya estaba anotado lo mismo; "
     "no se anotó dos veces."},
    Outcome.WAITING: {
        "en": "What is on record says otherwise. Both are kept, and nothing was overwritten: look at both and choose.",
        "es": "Lo anotado dice otra cosa. Se guardan las dos versiones y no se borró nada: mire las dos y elija.",
    },
    Outcome.DROPPED: {"en": "What is on record was kept.", "es": "Se dejó lo que estaba anotado."},
}  # fmt: skip


def _lang(request: HttpRequest) -> Lang:
    """The page's own word, else the person's language."""
    asked = request.GET.get("lang")
    if asked in ("en", "es"):
        return "es" if asked == "es" else "en"
    spoken = member(request).languages or []
    return "es" if "es" in spoken and "en" not in spoken else "en"


def _other(request: HttpRequest, lang: Lang, path: str) -> dict[str, Any]:
    other = "en" if lang == "es" else "es"
    return {"lang": lang, "other_language_url": f"{path}?{urlencode({'lang': other})}", "person": member(request)}


@right("core.record_day_one")
@require_safe
def day(request: HttpRequest) -> HttpResponse:
    """Where the crew builds today, and the homes it is to go back to."""
    lang, today = _lang(request), clock.office_today()
    seen = Job.objects.seen_by(member(request)).select_related("site").prefetch_related("parties__person").order_by("code")
    sites, back = due.sites_of(seen, today), due.to_go_back_to(seen, today)
    context = {"day": today, "sites": sites[:MOST], "back": back[:MOST], **_other(request, lang, reverse("crew_day"))}
    return render(request, "core/crew_day.html", context)


@right("core.record_day_one")
@require_safe
def hello(request: HttpRequest) -> HttpResponse:
    """Who is signed in, for a phone that has something to send: what one person filled in no other person sends."""
    return JsonResponse({"user": str(member(request).uid), "token": get_token(request)})


@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The script that answers for /crew/ without reception. It lies among the static files; from there it could not."""
    found = finders.find("crew-worker.js")
    assert isinstance(found, str)
    answer = HttpResponse(Path(found).read_bytes(), content_type="text/javascript")
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@right("core.record_day_one")
@require_safe
def form(request: HttpRequest, code: str) -> HttpResponse:
    """The long form of one home."""
    return _page(request, seen_job(request, code))


def _page(request: HttpRequest, job: Job, answered: crewpage.Shown | None = None, *, status: int = 200) -> HttpResponse:
    lang = _lang(request)
    parts = [
        answered if answered and answered.part is part else crewpage.shown(job, part, user=member(request), lang=lang)
        for part in crewform.parts_of(job)
    ]
    if answered and answered not in parts:  # a part that the home does not have any more; what was typed stays in view
        parts.append(answered)
    context = {
        "job": job,
        "parts": parts,
        "forms": [one.form for one in parts],
        "missing": crewpage.missing(job, lang=lang),
        "may_ask": request.user.has_perm("core.record_medical"),
        **_other(request, lang, reverse("crew_form", kwargs={"code": job.code})),
    }
    return render(request, "core/crew_form.html", context, status=status)


@right("core.record_day_one")
@require_http_methods(["GET", "HEAD", "POST"])
def part(request: HttpRequest, code: str, name: str) -> HttpResponseBase:
    """One part, sent from the page as it stands or by the phone that kept it."""
    job = seen_job(request, code)
    found = crewform.BY_NAME.get(name)
    if found is None or not (found.is_of(job) or request.method == "POST"):
        raise Http404("This home has no such part of day one.")
    if not request.user.has_perm(found.spec.right):
        raise NotAllowed("You may not record this; your role has not the right.")
    if request.method != "POST":
        return _page(request, job)
    return _received(request, job, found)


def _received(request: HttpRequest, job: Job, part: Part) -> HttpResponseBase:
    lang = _lang(request)
    filled = crewform.form_of(part, job, request.POST, request.FILES, lang=lang)
    key = request.POST.get("key", "")
    sending = Sending(part.name, key, request.POST.get("seen", "")[:120], {}, filled_at=_instant(request.POST.get("filled_at", "")))
    try:
        if not key or len(key) > LONGEST_KEY or "\0" in key:
            raise Refused("This was not sent by one of our pages as they stand; nothing was recorded. Open the page anew.")
        contents = crewform.as_typed(request.POST)
        sending = Sending(part.name, key, sending.seen, contents, filled_at=sending.filled_at)
        # Before anything is asked of the contents: what was right when it was recorded is answered as it was then.
        row = phoneparts.honoured(job, sending)
        if row is None and filled.is_valid():
            given = filled.given()
            row = phoneparts.receive(job, sending=_with_photos(sending, given), given=given, by=actor(request))
    except Refused as refusal:
        filled.refuse(refusal)
        row = None
    except ValueError as fault:  # a pure module's sentence about what was typed
        filled.add_error(None, str(fault))
        row = None
    if row is None:
        return _answer(request, job, crewpage.shown(job, part, user=member(request), lang=lang, form=filled), status=422)
    said = SAID[row.outcome][lang]
    if not _by_the_phone(request):
        back = f"{reverse('crew_form', kwargs={'code': job.code})}?{urlencode({'lang': lang})}#part-{part.name}"
        answer = recorded(
            request, f"{crew_es.said(part.spec.title) if lang == 'es' else part.spec.title}: {said}", "crew_form", code=job.code
        )
        answer.headers["Location"] = back
        return answer
    if not part.is_of(job):  # the home was changed, and the part with it
        return HttpResponse(status=200)
    status = 409 if row.outcome == Outcome.WAITING else 200
    job.refresh_from_db()
    return _answer(request, job, crewpage.shown(job, part, user=member(request), lang=lang, said=said), status=status)


def _by_the_phone(request: HttpRequest) -> bool:
    return "X-Part" in request.headers


def _answer(request: HttpRequest, job: Job, shown: crewpage.Shown, *, status: int) -> HttpResponse:
    if not _by_the_phone(request):
        return _page(request, job, shown, status=status)
    context = {"one": shown, "lang": shown.lang, "missing": crewpage.missing(job, lang=shown.lang), "form": shown.form}
    return render(request, "core/_crew_part.html", context, status=status)


def _with_photos(sending: Sending, given: dict[str, Any]) -> Sending:
    """The photos beside the typed contents, should this version have to wait for a choice."""
    taken = given.get("photos") or {"photo": given.get("photo")}
    photos = {name: photo for name, photo in taken.items() if isinstance(photo, Photo)}
    return Sending(sending.part, sending.key, sending.seen, sending.contents, photos, sending.filled_at)


def _instant(text: str) -> dt.datetime | None:
    try:
        at = dt.datetime.fromisoformat(text.replace("Z", "+00:00"))
    except ValueError:
        return None
    return at if at.tzinfo is not None and dt.datetime(2000, 1, 1, tzinfo=dt.UTC) < at < dt.datetime(2200, 1, 1, tzinfo=dt.UTC) else None


@right("core.record_day_one")
@require_http_methods(["GET", "HEAD", "POST"])
def versions(request: HttpRequest, uid: Any) -> HttpResponseBase:
    """What is on record beside what a phone sent: a person chooses, and nothing is recorded twice."""
    row = get_object_or_404(PhonePart.objects.seen_by(member(request)).select_related("job__site"), uid=uid)
    part, lang, sorry = crewform.BY_NAME[row.part], _lang(request), ""
    filled = _filled_again(row, part, lang)
    if request.method == "POST":
        phones = request.POST.get("keep") == "phone"
        try:
            if request.POST.get("keep") not in ("phone", "record"):
                raise Refused("Choose one of the two.")
            if phones and not filled.is_valid():
                raise Refused("The phone's version does not fit the home any more: " + " ".join(_wrongs(filled)))
            phoneparts.choose(row, phones=phones, given=filled.given() if phones else None, by=actor(request))
        except (Refused, NotAllowed) as refusal:
            sorry = crew_es.said(str(refusal)) if lang == "es" else str(refusal)
        except ValueError as fault:
            sorry = crew_es.said(str(fault)) if lang == "es" else str(fault)
        else:
            return recorded(request, _chosen(phones=phones, lang=lang), "crew_form", code=row.job.code)
    on_record = crewform.newest(row.job, part)
    shown = crewpage.shown(row.job, part, user=member(request), lang=lang, form=filled)
    context = {
        "row": row,
        "job": row.job,
        "part": part,
        "record": next((one for one in shown.records if on_record and one.fact.pk == on_record.pk), None),
        "sent": crewform.in_words(filled),
        "changed": [crew_es.said(one) if lang == "es" else one for one in row.changed],
        "open": row.outcome == Outcome.WAITING,
        "outcome": SAID[row.outcome][lang],
        "sorry": sorry,
        **_other(request, lang, reverse("crew_versions", kwargs={"uid": row.uid})),
    }
    return render(request, "core/crew_versions.html", context, status=422 if sorry else 200)


def _filled_again(row: PhonePart, part: Part, lang: Lang) -> RecordForm:
    uploads: MultiValueDict[str, Any] = MultiValueDict()
    for photo in row.photos:
        kept = files.read(StoredFile.objects.get(sha256=photo["sha256"]))
        uploads[photo["field"]] = SimpleUploadedFile(photo["name"], kept)
    return crewform.form_of(part, row.job, crewform.typed_again(row.contents), uploads, lang=lang)


def _wrongs(form: RecordForm) -> list[str]:
    return [str(error) for errors in form.errors.values() for error in errors]


def _chosen(*, phones: bool, lang: Lang) -> str:
    if lang == "es":
        return (
            "Se anotó la versión del teléfono; la otra queda a la vista."
            if phones
            else "Se dejó lo anotado; la versión del teléfono se guarda aparte."
        )
    return (
        "The phone's version is recorded; the other stays in view."
        if phones
        else "What was on record stands; the phone's version is put aside."
    )
