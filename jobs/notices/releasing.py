"""Pages on which a person decides about messages: release, take back, withdraw, send again, arrived, no more."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from jobs.core import clock, words
from jobs.core.actors import actor
from jobs.core.forms import OfficeForm
from jobs.core.refusals import Refused
from jobs.core.web import recorded, right
from jobs.notices import consent, outbox
from jobs.notices.forms import ArrivedForm, AtOnceForm, ConsentForm, WithdrawForm
from jobs.notices.models import Message, State
from jobs.notices.shown import instant
from jobs.notices.views import page_of, seen_by, seen_message, shown_of

AT_ONCE = 25
LEAVES = "It leaves in a minute, or when quiet hours at the home are over; until then you can take it back."
EACH_LEAVES = "Each leaves in a minute, or once its own time and the hours of its home have come; until then you can take it back."


@right("core.release_notices")
@require_http_methods(["GET", "POST"])
def release(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """The exact text first, then the button."""
    message, refused = seen_message(request, uid), ""
    if request.method == "POST":
        try:
            released = outbox.release(message, seen=request.POST.get("seen", ""), by=actor(request))
        except Refused as refusal:
            refused = str(refusal)
            message.refresh_from_db()
        else:
            return recorded(request, f"Released: {message.kind_words} to {message.to_name}. {_leaves(released)}", "notice", uid=uid)
    if message.state != State.OWED:
        return page_of(request, message, refused=refused)
    shown, fault = shown_of(message)
    context = {"message": message, "shown": shown, "fault": fault, "refused": refused, "not_before": _not_before(message)}
    return render(request, "notices/release.html", context, status=422 if refused else 200)


@right("core.release_notices")
@require_http_methods(["GET", "POST"])
def at_once(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """In an emergency: now, whatever the hour at the home."""
    return _asked(
        request,
        uid,
        form=AtOnceForm(request.POST or None),
        act=outbox.release_at_once,
        heading="Let this message leave at once",
        happens=["It leaves now, also in quiet hours at the home, and cannot be taken back.", "Your name and the reason stand beside it."],
        button="Let it leave at once",
        done="Released. It leaves at once.",
    )


@right("core.release_notices")
@require_http_methods(["GET", "POST"])
def release_many(request: HttpRequest) -> HttpResponseBase:
    """Every text that waits, each with its own mark; those marked are released together or not at all."""
    refused, chosen = "", request.POST.getlist("uids")
    if request.method == "POST":
        seen = {uid: request.POST.get(f"seen-{uid}", "") for uid in chosen}
        try:
            released = outbox.release_many(chosen, seen=seen, by=actor(request))
        except Refused as refusal:
            refused = str(refusal)
        else:
            leaves = _leaves(released[0]) if len(released) == 1 else EACH_LEAVES
            return recorded(request, f"Released: {words.count(len(released), 'message')}. {leaves}", "notices")
    waiting = seen_by(request).in_state(State.OWED).order_by("created_at", "pk")
    entries = [_entry(message, chosen) for message in waiting[:AT_ONCE]]
    context = {"entries": entries, "total": waiting.count(), "refused": refused}
    return render(request, "notices/release_many.html", context, status=422 if refused else 200)


def _entry(message: Message, chosen: list[str]) -> dict[str, Any]:
    shown, fault = shown_of(message)
    return {
        "message": message,
        "shown": shown,
        "fault": fault,
        "chosen": str(message.uid) in chosen,
        "not_before": _not_before(message),
    }


def _leaves(message: Message) -> str:
    if message.due_at is not None and message.due_at > clock.now() + outbox.TAKE_BACK:
        return f"It leaves from {instant(message.due_at)} on; until then you can take it back."
    return LEAVES


def _not_before(message: Message) -> str:
    """When a reminder may leave at the soonest, while that is still to come."""
    return instant(message.not_before) if message.not_before and message.not_before > clock.now() else ""


@right("core.release_notices")
@require_POST
def take_back(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    return _at_once(request, uid, outbox.take_back, "Taken back. It waits for release again.")


@right("core.release_notices")
@require_POST
def look_again(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    return _at_once(request, uid, outbox.look_again, "A recipient was found. The message to them waits for release.")


def _at_once(request: HttpRequest, uid: uuid.UUID, act: Callable[..., object], sentence: str) -> HttpResponseBase:
    message = seen_message(request, uid)
    try:
        act(message, by=actor(request))
    except Refused as refusal:
        message.refresh_from_db()
        return page_of(request, message, refused=str(refusal))
    return recorded(request, sentence, "notice", uid=uid)


@right("core.release_notices")
@require_http_methods(["GET", "POST"])
def withdraw(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    return _asked(
        request,
        uid,
        form=WithdrawForm(request.POST or None),
        act=outbox.withdraw_message,
        heading="Withdraw this message",
        happens=["It does not leave, now or later. It stays in the list with your reason."],
        button="Withdraw the message",
        done="Withdrawn.",
    )


@right("core.release_notices")
@require_http_methods(["GET", "POST"])
def send_again(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    return _asked(
        request,
        uid,
        form=OfficeForm(request.POST if request.method == "POST" else None),
        act=outbox.send_again,
        heading="Send this message again",
        happens=["The same text goes once more to the same person.", "Where the first copy arrived after all, they have it twice."],
        button="Send it again",
        done="Released to be sent again.",
    )


@right("core.release_notices")
@require_http_methods(["GET", "POST"])
def arrived(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    return _asked(
        request,
        uid,
        form=ArrivedForm(request.POST or None),
        act=outbox.record_arrived,
        heading="Record that this message arrived",
        happens=["It counts as sent and is not sent again."],
        button="Record that it arrived",
        done="Recorded. It counts as sent.",
    )


@right("core.release_notices")
@require_http_methods(["GET", "POST"])
def consent_of(request: HttpRequest, uid: uuid.UUID) -> HttpResponseBase:
    """They want no more messages at this address, or want them again."""
    message = seen_message(request, uid)
    again = consent.is_ended(message)
    return _asked(
        request,
        uid,
        form=ConsentForm(request.POST or None),
        act=consent.give_again if again else consent.end,
        heading="They may be written to again" if again else "They want no more messages",
        happens=["Messages leave to this address again."]
        if again
        else ["No message leaves to this address any more. What would have gone stands on Today as failed, so that somebody telephones."],
        button="Record that they may be written to" if again else "Record that they want no more",
        done="Recorded.",
    )


def _asked(
    request: HttpRequest,
    uid: uuid.UUID,
    *,
    form: OfficeForm,
    act: Callable[..., object],
    heading: str,
    happens: list[str],
    button: str,
    done: str,
) -> HttpResponse:
    """A page that says what will happen, then the button."""
    message = seen_message(request, uid)
    if request.method == "POST" and form.is_valid():
        try:
            act(message, **form.cleaned_data, by=actor(request))
        except Refused as refusal:
            form.refuse(refusal)
        else:
            return recorded(request, done, "notice", uid=uid)
    context = {
        "title": heading,
        "heading": heading,
        "margin": message.state_words,
        "happens": [*happens],
        "whom": f"{message.kind_words} to {message.to_name or 'nobody'}",
        "form": form,
        "act": button,
        "keep": "Leave it as it is",
        "back": reverse("notice", kwargs={"uid": uid}),
    }
    return render(request, "confirm.html", context, status=422 if form.errors else 200)
