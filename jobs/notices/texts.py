"""Text messages: one POST over HTTPS to the gateway that the settings name, or captured, to be read on its page only.

Knows how far it came: what broke before the request left is tried again; once it may have arrived, a silence, garbage or a broken gateway
leaves "may have been sent". The Idempotency-Key is the message's uid, the same on every copy, so that a gateway that knows it sends one.
"""

from __future__ import annotations

import http.client
import json
import re
import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from urllib.parse import urlencode, urlsplit

from django.conf import settings

from jobs.core import clock
from jobs.core.refusals import Refused
from jobs.notices import consent
from jobs.notices.models import Message
from jobs.notices.outcome import HTTP_PASSING, Outcome, Result, of_http, wait_of

# For each step, and for all of it: well inside the lease of five minutes, also where a gateway drips one byte at a time.
SECONDS = 20.0
SECONDS_IN_ALL = 60.0
LONGEST_ANSWER = 64 * 1024
# Where an answer keeps the gateway's own name for the message, in the order looked for.
IDS = ("id", "message_id", "messageId", "sid", "uuid")
PLACE = re.compile(r"\{(to|from|text|uid|secret)\}")


def send(message: Message) -> Outcome:
    """Hand the frozen text over, once. Never called inside a transaction."""
    try:
        consent.refuse_unusable(message.channel, message.address)
    except Refused as fault:
        return Outcome(Result.PERMANENT, str(fault))
    if settings.CAPTURE_TEXTS:
        return Outcome(Result.CAPTURED, "captured")
    gateway: dict[str, Any] | None = settings.TEXT_GATEWAY
    assert gateway is not None, "without a gateway every text is captured"
    body, kind = _body_of(message, gateway)
    name, _, value = gateway["header"].partition(":")
    headers = {
        "Content-Type": kind,
        "Accept": "application/json",
        "User-Agent": "office-outbox",
        "Idempotency-Key": str(message.uid),
        name.strip(): value.strip().replace("{secret}", gateway["secret"]),
    }
    return _post(gateway["url"], body, headers)


def _body_of(message: Message, gateway: dict[str, Any]) -> tuple[bytes, str]:
    places = {
        "to": message.address,
        "from": gateway["from"],
        "text": message.text.strip(),
        "uid": str(message.uid),
        "secret": gateway["secret"],
    }
    filled = _filled(gateway["request"], places)
    if gateway["form"]:
        return urlencode(filled).encode(), "application/x-www-form-urlencoded"
    return json.dumps(filled, ensure_ascii=False).encode(), "application/json"


def _filled(part: Any, places: dict[str, str]) -> Any:
    """The template with its places filled, inside its texts only: a quotation mark in a message cannot end one.

    In one pass: a message that happens to hold "{secret}" is not a place.
    """
    if isinstance(part, dict):
        return {name: _filled(inner, places) for name, inner in part.items()}
    if isinstance(part, list):
        return [_filled(inner, places) for inner in part]
    return PLACE.sub(lambda found: places[found[1]], part) if isinstance(part, str) else part


def _post(url: str, body: bytes, headers: dict[str, str]) -> Outcome:
    parts = urlsplit(url)
    connection = _connection(parts.scheme, parts.hostname or "", parts.port)
    try:
        connection.connect()
    except (OSError, http.client.HTTPException) as fault:
        connection.close()
        return Outcome(Result.PASSING, f"The text gateway cannot be reached: {fault}")
    try:
        with _ended_after(connection, SECONDS_IN_ALL):
            # From here on a silence can mean anything: the gateway may have taken the text and lost the way back.
            connection.request("POST", f"{parts.path or '/'}{f'?{parts.query}' if parts.query else ''}", body=body, headers=headers)
            answer = connection.getresponse()
            return _outcome(answer.status, answer.getheader("Retry-After"), _read(answer))
    except (OSError, ValueError, http.client.HTTPException) as fault:
        return Outcome(Result.UNKNOWN, f"The text gateway was given the message and did not answer: {type(fault).__name__} {fault}".strip())
    finally:
        connection.close()


def _connection(scheme: str, host: str, port: int | None) -> http.client.HTTPConnection:
    # http.client follows no redirect. Plain http is for tests: the settings refuse such an address.
    if scheme == "https":
        return http.client.HTTPSConnection(host, port, timeout=SECONDS, context=ssl.create_default_context())
    return http.client.HTTPConnection(host, port, timeout=SECONDS)


@contextmanager
def _ended_after(connection: http.client.HTTPConnection, seconds: float) -> Iterator[None]:
    """Break off a conversation that goes on and on: the timeout of a socket counts anew with each byte."""

    def end() -> None:
        if connection.sock is not None:
            try:
                connection.sock.shutdown(socket.SHUT_RDWR)
            except OSError:
                return  # it has ended by itself meanwhile

    timer = threading.Timer(seconds, end)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def _read(answer: http.client.HTTPResponse) -> bytes:
    """The body, as far as we care; a status that refuses counts although its body breaks off."""
    try:
        body = answer.read(LONGEST_ANSWER)
        if answer.length and len(body) < LONGEST_ANSWER:
            raise http.client.IncompleteRead(body, answer.length)
        return body
    except (OSError, http.client.HTTPException):
        if 200 <= answer.status < 300:
            raise
        return b""


def _outcome(status: int, retry_after: str | None, body: bytes) -> Outcome:
    result = of_http(status)
    told = _told(body)
    if result == Result.SENT:
        if told is None:
            return Outcome(Result.UNKNOWN, f"The text gateway answered {status} with words that it does not use: {_shown(body)}")
        far_id = next((str(told[name])[:200] for name in IDS if isinstance(told.get(name), str | int)), "")
        return Outcome(Result.SENT, f"taken by the text gateway{f' as {far_id}' if far_id else ''}", far_id=far_id)
    if status in HTTP_PASSING:
        words = f"The text gateway {HTTP_PASSING[status]}: {status}"
    elif 300 <= status < 400:
        words = f"The text gateway sends us elsewhere ({status}), which is not followed; mend TEXT_URL"
    elif result == Result.PERMANENT:
        words = f"The text gateway refused it: {status}"
    else:
        words = f"The text gateway broke after it was given the message: {status}"
    return Outcome(result, f"{words} {_shown(body)}".strip(), wait=wait_of(retry_after, now=clock.now()))


def _told(body: bytes) -> dict[str, Any] | None:
    """What the gateway says, {} where it says nothing; None for garbage."""
    if not body.strip():
        return {}
    try:
        told = json.loads(body)
    except ValueError:  # not JSON, or not UTF-8
        return None
    return told if isinstance(told, dict) else None


def _shown(body: bytes) -> str:
    return " ".join(body.decode("utf-8", "replace").split())[:160].replace("\0", "")
