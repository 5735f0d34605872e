"""What came back and waits for a person: the list, one of them as it came, and the act that settles it."""

from __future__ import annotations

import uuid
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_http_methods, require_safe

from jobs.core import clock
from jobs.core.actors import Actor, actor, member
from jobs.core.acts import act
from jobs.core.forms import OfficeForm
from jobs.core.refusals import Refused
from jobs.core.web import recorded, right
from jobs.notices.models import Received, ReceivedQuerySet
from jobs.notices.shown import instant

MOST = 200


@act(right="core.release_notices", on=Received)
def settle(row: Received, *, how: str, by: Actor) -> Received:
    """A person has dealt with what came back, and says how."""
    if not row.for_person:
        raise Refused("This needs nobody: the program has done what it asks.")
    if row.settled_at is not None:
        raise Refused(f"{row.settled_by_name} has settled this already (“{row.settled_how}”); nothing was changed.")
    if not how.strip():
        raise Refused("Say in a few words what was done, such as: telephoned them, the call is on Friday now.", field="how")
    row.settled_at, row.settled_by_name, row.settled_how = clock.now(), by.name, how.strip()
    row.save(update_fields=["settled_at", "settled_by_name", "settled_how"])
    return row


class SettleForm(OfficeForm):
    how = forms.CharField(label="What was done", max_length=400, help_text="Such as: telephoned them, the call is on Friday now.")


def seen_by(request: HttpRequest) -> ReceivedQuerySet:
    return Received.objects.seen_by(member(request)).select_related("job__site", "person", "message")


@right("core.see_notices")
@require_safe
def received_list(request: HttpRequest) -> HttpResponseBase:
    """Those that wait, the oldest first; then the newest of all that came."""
    waiting = list(seen_by(request).waiting().order_by("at", "pk")[:MOST])
    others = seen_by(request).exclude(pk__in=[row.pk for row in waiting])[: MOST // 4]
    context = {"waiting": [_line(row) for row in waiting], "others": [_line(row) for row in others]}
    return render(request, "notices/received_list.html", context)


@right("core.see_notices")
@require_http_methods(["GET", "HEAD", "POST"])
def received(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """One as it came, and the button that settles it."""
    row = get_object_or_404(seen_by(request), uid=uid)
    may = request.user.has_perm("core.release_notices")
    form = SettleForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            settle(row, how=form.cleaned_data["how"], by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, "Settled.", "received_list")
    context = {
        "row": row,
        "title": title_of(row),
        "cells": _cells(row),
        "form": form if may and row.for_person and row.settled_at is None else None,
        "errors": form if form.errors else None,
        "settled": instant(row.settled_at),
    }
    return render(request, "notices/received.html", context, status=422 if form.errors else 200)


def title_of(row: Received) -> str:
    """ "Reply from Guadalupe Hernández"."""
    who = row.person.name if row.person else row.shown_address or "an unknown sender"
    joint = "from" if row.kind in ("reply", "unreadable") else "about a message to"
    return f"{row.get_kind_display().capitalize()}, {joint} {who}"


def _line(row: Received) -> dict[str, Any]:
    return {"row": row, "at": instant(row.at), "title": title_of(row), "address": row.shown_address}


def _cells(row: Received) -> list[tuple[str, str] | tuple[str, str, str]]:
    return [
        ("Came", instant(row.at), row.get_channel_display()),
        ("From" if row.kind in ("reply", "unreadable") else "Address", row.person.name if row.person else "unknown", row.shown_address),
        ("Home", row.job.code if row.job else "none", row.job.site.line if row.job else ""),
        (
            "After our message",
            row.message.kind_words if row.message else "none that we know",
            instant(row.message.sent_at) if row.message else "",
        ),
        ("Done at once", row.done or "nothing"),
    ]
