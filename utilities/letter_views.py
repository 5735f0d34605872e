"""The page on which a letter to a utility's desk is begun; it is read and released on the message's own page."""

from __future__ import annotations

import uuid

from django import forms
from django.http import HttpRequest, HttpResponseBase
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from jobs.core.actors import actor
from jobs.core.forms import OfficeForm
from jobs.core.refusals import Refused
from jobs.core.views import answer
from jobs.core.web import recorded, right
from utilities import letters, requests, services
from utilities.request_views import seen_request


class LetterForm(OfficeForm):
    asks = forms.CharField(
        label="What the desk is asked",
        max_length=letters.LONGEST,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="Numbers, meter, address and the days waited stand in the letter already; no name of the home does.",
    )


@right(requests.RIGHT)
@require_http_methods(["GET", "HEAD", "POST"])
def write(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    found = seen_request(request, uid)
    form = LetterForm(request.POST or None, initial={"asks": "Is a day planned for the visit? If not, what do you still need from us?"})
    if request.method == "POST" and form.is_valid():
        try:
            message = letters.write_to_desk(found, asks=form.cleaned_data["asks"], by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, f"The letter to {found.utility} is written. Read it, and then release it.", "notice", uid=message.uid)
    context = {
        "heading": f"Write to the desk of {found.utility}",
        "margin": found.code,
        "happens": ["Nothing leaves yet: you read the letter first, and then release it."],
        "whom": services.terms_now(found.utility).desk_email or "no e-mail address of the desk is on record",
        "act": "Write the letter",
        "keep": "Back to the request",
        "back": reverse("request", kwargs={"code": found.code}),
    }
    return answer(request, "confirm.html", form, **context)
