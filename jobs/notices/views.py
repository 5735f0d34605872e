"""Messages: the list, one message as it reads, the mail as it arrives, its files."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from jobs.core import files, lists
from jobs.core.actors import member
from jobs.core.refusals import Refused
from jobs.core.web import download, right
from jobs.notices import consent, exports, history, kinds, outbox
from jobs.notices.filters import MessageFilter
from jobs.notices.models import Message, MessageQuerySet, State
from jobs.notices.rendering import Rendered
from jobs.notices.shown import instant

COLUMNS = (
    ("Owed", "created", "m"), ("To", "to", ""), ("Message", "kind", ""), ("Home", "", ""), ("State", "", ""), ("Left", "sent", ""),
    ("Next act", "", "act"),
)  # fmt: skip
# A mail's own page: it may bring its style along, and nothing else; no script, no picture from elsewhere, no form.
MAIL_POLICY = "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; sandbox"


def seen_by(request: HttpRequest) -> MessageQuerySet:
    return Message.objects.seen_by(member(request)).select_related("job__site", "person")


def seen_message(request: HttpRequest, uid: uuid.UUID) -> Message:
    """The message, if the person may know of it; else 404."""
    return get_object_or_404(seen_by(request), uid=uid)


@right("core.see_notices")
@require_safe
def notices(request: HttpRequest) -> HttpResponseBase:
    found = MessageFilter(request.GET or None, queryset=seen_by(request))
    sheet = lists.sheet_of(request.GET, found.rows, sort=found.sort, columns=COLUMNS)
    context = sheet | {
        "form": found.form,
        "heading": found.in_words,
        "lines": [_line(message) for message in sheet["page"]],
        "to_release": seen_by(request).in_state(State.OWED).count() if request.user.has_perm("core.release_notices") else 0,
    }
    return render(request, "notices/notices.html", context, status=422 if found.refused else 200)


ACTS = {
    State.OWED: ("Read and release", "notice_release"),
    State.NO_RECIPIENT: ("Look again", "notice"),
    State.FAILED: ("Settle", "notice"),
    State.MAY_HAVE_BEEN_SENT: ("Settle", "notice"),
}


def _line(message: Message) -> dict[str, Any]:
    act, url = ACTS.get(State(message.state), ("Read", "notice"))
    return {
        "message": message,
        "owed": instant(message.created_at),
        "leaves": instant(message.sent_at) or (f"from {instant(message.due_at)}" if message.state == State.RELEASED else ""),
        "act": act,
        "url": url,
    }


@right("core.see_notices")
@require_safe
def export(request: HttpRequest, ending: str) -> HttpResponseBase:
    """What the list shows, as a file."""
    found = MessageFilter(request.GET or None, queryset=seen_by(request))
    if found.refused:
        return lists.back_to_the_list(request, "notices")
    return lists.table_file("messages", ending, exports.HEADINGS, exports.lines(found.rows), given=request.GET)


@right("core.see_notices")
@require_safe
def notice(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    return page_of(request, seen_message(request, uid))


def page_of(request: HttpRequest, message: Message, *, refused: str = "") -> HttpResponse:
    """The message's page; with the sentence of an act that was refused, and status 422."""
    shown, fault = shown_of(message)
    context = {
        "message": message,
        "shown": shown,
        "fault": fault,
        "refused": refused,
        "cells": _cells(message),
        "files": message.attachments.select_related("file"),
        "history": history.of(message),
        "no_more": bool(message.address) and consent.is_ended(message),
        "may": _may(request, message),
    }
    return render(request, "notices/notice.html", context, status=422 if refused else 200)


def shown_of(message: Message) -> tuple[Rendered | None, str]:
    """What the message says, or the sentence why it cannot be made."""
    if message.state == State.WITHDRAWN and not message.text:
        return None, ""
    try:
        return outbox.preview(message), ""
    except Refused as refusal:
        return None, str(refusal)


def _cells(message: Message) -> list[tuple[str, str] | tuple[str, str, str]]:
    cells: list[tuple[str, str] | tuple[str, str, str]] = [
        ("To", message.to_name or "nobody", message.shown_address),
        ("By", message.get_channel_display()),
        ("Message", message.kind_words),
        ("Home", message.job.code if message.job else "none", message.job.site.line if message.job else ""),
        ("Language", message.get_language_display()),
        ("State", message.state_words, message.reason),
    ]
    if message.sent_at:
        cells.append(("Left", instant(message.sent_at)))
    elif message.state == State.RELEASED:
        cells.append(("Leaves", f"from {instant(message.due_at)}"))
    if message.at_once_why:
        cells.append(("At once", message.at_once_why))
    return cells


def _may(request: HttpRequest, message: Message) -> dict[str, bool]:
    """Which acts the page offers."""
    if not request.user.has_perm("core.release_notices"):
        return {}
    state = message.state
    return {
        "release": state == State.OWED,
        "at_once": state in (State.OWED, State.RELEASED) and _keeps_quiet_hours(message),
        "take_back": state == State.RELEASED and message.attempts == 0,
        "withdraw": state in outbox.NOT_GONE,
        "send_again": state in (State.FAILED, State.MAY_HAVE_BEEN_SENT),
        "arrived": state == State.MAY_HAVE_BEEN_SENT,
        "look_again": state == State.NO_RECIPIENT,
        "consent": bool(message.address),
    }


def _keeps_quiet_hours(message: Message) -> bool:
    kind = kinds.find(message.kind)
    return kind is not None and kind.to_home and message.job is not None


@right("core.see_notices")
@require_safe
def mail(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """The HTML as the recipient's program shows it."""
    shown, fault = shown_of(seen_message(request, uid))
    if shown is None or shown.is_text:
        raise Http404(fault or "This message has no page of its own.")
    response = HttpResponse(shown.html)
    response.headers["Content-Security-Policy"] = MAIL_POLICY
    return response


@right("core.see_notices")
@require_safe
def attachment(request: HttpRequest, uid: uuid.UUID, position: int) -> HttpResponseBase:
    """A file that went with a message, as a download."""
    message = seen_message(request, uid)
    found = get_object_or_404(message.attachments.select_related("file"), position=position)
    return download(files.read(found.file), found.name, found.content_type)
