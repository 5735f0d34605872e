"""The page on which the person at home sends a picture of the bag, or says that they do not see it. A page load changes nothing."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from jobs.core import actors, clock, custody, facts, links, tags, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.facts import Said
from jobs.core.forms import OfficeForm
from jobs.core.models import BagReport, Fact, SignedLink
from jobs.core.refusals import OutOfSight, Refused
from jobs.core.states import S
from jobs.notices import asking

LABEL = {"en": "The picture", "es": "La foto"}
HINT = {"en": "JPEG or PNG, at most 20 MB.", "es": "JPEG o PNG, 20 MB como máximo."}
# What a refusal says to whoever is at home; the office's sentences are in English.
UNREADABLE = {
    "en": "This is no picture that we can read. Take it again, or choose another one: JPEG or PNG, at most 20 MB. Nothing was sent.",
    "es": "Esta no es una foto que podamos leer. Tómela otra vez o elija otra: JPEG o PNG, 20 MB como máximo. No se envió nada.",
}
ENOUGH = {
    "en": "We have several pictures of today already; one is enough. Thank you.",
    "es": "Ya tenemos varias fotos de hoy; una es suficiente. Gracias.",
}
MOST_A_DAY = 5
WANTED = {"en": "No picture is chosen yet; nothing was sent.", "es": "Todavía no eligió ninguna foto; no se envió nada."}


class PictureForm(OfficeForm):
    photo = forms.FileField(widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png"}))

    def __init__(self, *args: Any, lang: words.Lang, **kwargs: Any) -> None:
        super().__init__(*args, lang=lang, **kwargs)
        photo = self.fields["photo"]
        photo.label, photo.help_text = LABEL[lang], HINT[lang]
        photo.error_messages |= {"required": WANTED[lang], "empty": UNREADABLE[lang]}


@act(right="core.answer_bag_photo", on=SignedLink)
def send_picture(link: SignedLink, *, name: str, data: bytes, by: Actor) -> Fact:
    """The bag as it hangs, seen by the person at home."""
    job, today = link.job, clock.today_in(link.job.site.zone)
    if job.facts.standing().of_kind(k.BAG_SEEN).filter(day=today, source="link").count() >= MOST_A_DAY:
        raise Refused("Enough pictures came from this home today.")
    said_by = Said("person at home", link.person.name)
    return custody.see_bag(job, on=today, name=name, data=data, said_by=said_by, by=by)


@act(right="core.answer_bag_photo", on=SignedLink)
def say_unseen(link: SignedLink, *, by: Actor) -> BagReport:
    """The person at home does not see the bag: a word for the office, which asks or comes; no fact."""
    return tags.told_from_home(link)


# Acts take a `key` besides what they declare, which no type can say.
_SEND: Callable[..., Fact] = send_picture
_UNSEEN: Callable[..., BagReport] = say_unseen


@require_http_methods(["GET", "HEAD", "POST"])
def bag_photo(request: HttpRequest, token: str) -> HttpResponseBase:
    try:
        signed = links.opened(token, purpose=asking.PHOTO)
    except links.LinkEnded as ended:
        lang = _lang(request, ended.link)
        return render(request, "notices/link_ended.html", _frame(request, ended.link, lang), status=410)
    except links.LinkUnknown:
        raise OutOfSight("This link is not complete; copy it whole from the message.") from None
    lang = _lang(request, signed)
    if request.method != "POST":
        return _page(request, signed, lang, PictureForm(lang=lang))
    key = request.POST.get("key") or None
    by, here = actors.link(signed), reverse("bag_photo", args=[token])
    if request.POST.get("do") == "unseen":
        _UNSEEN(signed, by=by, key=key)
        return redirect(f"{here}?lang={lang}&done=unseen")
    form = PictureForm(request.POST, request.FILES, lang=lang)
    if not form.is_valid():
        return _page(request, signed, lang, form)
    upload = form.cleaned_data["photo"]
    try:
        _SEND(signed, name=upload.name, data=upload.read(), by=by, key=key)
    except Refused as refusal:
        form.refuse(Refused(UNREADABLE[lang] if refusal.field else ENOUGH[lang], field="photo"))
        return _page(request, signed, lang, form)
    return redirect(f"{here}?lang={lang}&done=photo")


def _lang(request: HttpRequest, signed: SignedLink) -> words.Lang:
    return "es" if (request.GET.get("lang") or signed.person.language) == "es" else "en"


def _frame(request: HttpRequest, signed: SignedLink, lang: words.Lang) -> dict[str, Any]:
    return {
        "lang": lang,
        "other_language_url": f"{request.path}?lang={'en' if lang == 'es' else 'es'}",
        "no_backup": signed.job.state != S.BACKUP_VERIFIED,
    }


def _page(request: HttpRequest, signed: SignedLink, lang: words.Lang, form: PictureForm) -> HttpResponse:
    known = facts.of(signed.job)
    context = _frame(request, signed, lang) | {
        "form": form,
        "done": request.GET.get("done", "") if request.method == "GET" else "",
        "hangs": asking.place_of_bag(known, signed.job.state) is not None,
        "key": uuid.uuid4(),
    }
    return render(request, "notices/bag_page.html", context, status=422 if form.errors else 200)
