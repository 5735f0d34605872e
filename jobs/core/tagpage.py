"""The public page behind a bag tag: whoever reads it may tell what they found. It holds nothing of the home, its people or its request.

A page load changes nothing. What is told is a proposal for the office.
"""

from __future__ import annotations

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from jobs.core import actors, tags, words
from jobs.core.forms import OfficeForm
from jobs.core.models import BagReport, BagTag
from jobs.core.refusals import OutOfSight, Refused

What = BagReport.What
FOUND: dict[words.Lang, list[tuple[str, str]]] = {
    "en": [(What.FITTED, "It is fitted"), (What.NO_ENTRY, "I could not get in"), (What.NOT_FOUND, "I did not find it")],
    "es": [(What.FITTED, "Quedó instalado"), (What.NO_ENTRY, "No pude entrar"), (What.NOT_FOUND, "No lo encontré")],
}
ORDER = {"en": "Your order number", "es": "Su número de orden"}
ASKED = {"en": "What did you find?", "es": "¿Qué encontró?"}
CHOOSE = {"en": "Please choose what you found; nothing was sent yet.", "es": "Elija qué encontró; todavía no se envió nada."}
# The office's refusals are in English; the page says them in both languages.
SORRY = {
    "ended": {
        "en": "This tag is out of use. Please telephone the number printed on it.",
        "es": "Esta etiqueta ya no se usa. Llame al número impreso en ella.",
    },
    "often": {
        "en": "This tag has told us several things today already. Please telephone the number printed on it.",
        "es": "Hoy ya recibimos varios avisos de esta etiqueta. Llame al número impreso en ella.",
    },
}


class TellForm(OfficeForm):
    what = forms.ChoiceField(widget=forms.RadioSelect)
    order_number = forms.CharField(max_length=40, required=False)

    def __init__(self, *args: object, lang: words.Lang, **kwargs: object) -> None:
        super().__init__(*args, lang=lang, **kwargs)
        what = self.fields["what"]
        assert isinstance(what, forms.ChoiceField)
        what.choices, what.label = FOUND[lang], ASKED[lang]
        what.error_messages["required"] = CHOOSE[lang]
        self.fields["order_number"].label = ORDER[lang]


@require_http_methods(["GET", "HEAD", "POST"])
def tag(request: HttpRequest, token: str) -> HttpResponseBase:
    found = tags.opened(token) if len(token) == tags.LENGTH else None
    if found is None:
        raise OutOfSight("This tag's address is not complete.")
    lang: words.Lang = "es" if request.GET.get("lang") == "es" else "en"
    if found.ended_at is not None:
        return _page(request, lang, None, sorry=SORRY["ended"][lang], status=410)
    form = TellForm(request.POST or None, lang=lang)
    if request.method != "POST" or not form.is_valid():
        return _page(request, lang, form, status=422 if form.errors else 200)
    what = form.cleaned_data["what"]
    # Told already: the same answer, and a hundred presses leave one report and no more work for anybody.
    if not _is_told(found, what):
        try:
            tags.tell(found, **form.cleaned_data, by=actors.at_the_bag(found))
        except Refused:
            return _page(request, lang, form, sorry=SORRY["often"][lang], status=429)
    return redirect(f"{reverse('tag_page', args=[token])}?lang={lang}&told={What.values.index(what)}")


def _is_told(found: BagTag, what: str) -> bool:
    return BagReport.objects.waiting().filter(job=found.job, told_by=BagReport.From.TAG, what=what).exists()


def _page(request: HttpRequest, lang: words.Lang, form: TellForm | None, *, sorry: str = "", status: int = 200) -> HttpResponse:
    told = request.GET.get("told", "")
    place = int(told) if told in ("0", "1", "2") and request.method == "GET" else None
    answered = FOUND[lang][place][1] if place is not None else ""
    context = {
        "lang": lang,
        "other_language_url": f"{request.path}?lang={'en' if lang == 'es' else 'es'}",
        "form": form,
        "sorry": sorry,
        "answered": answered,
    }
    return render(request, "core/tag.html", context, status=status)
