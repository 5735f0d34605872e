"""A page before an act: what will happen, a form for what must be told, one button. Refused, it keeps what was typed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render

from jobs.core.forms import OfficeForm
from jobs.core.refusals import Refused


def ask(
    request: HttpRequest,
    form: OfficeForm,
    do: Callable[[dict[str, Any]], str],
    *,
    heading: str,
    happens: Sequence[str],
    act: str,
    keep: str,
    back: str,
    margin: str = "",
    final: str = "",
) -> HttpResponse:
    """do: takes what was typed, calls one act, gives the words for the "Recorded" box. Then back."""
    if request.method == "POST" and form.is_valid():
        try:
            said = do(form.cleaned_data)
        except Refused as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, said)
            return HttpResponseRedirect(back)
    context = {
        "heading": heading,
        "margin": margin,
        "happens": [sentence for sentence in happens if sentence],
        "final": final,
        "form": form,
        "act": act,
        "keep": keep,
        "back": back,
    }
    return render(request, "confirm.html", context, status=422 if form.errors else 200)
