"""The door for signed webhooks: the signature first, then what it says (inbound.py).

    Webhook-Signature: t=1795000000,v1=<hex of HMAC-SHA256 of "<t>.<body>">

with a secret of TEXT_HOOK_SECRETS or MAIL_HOOK_SECRETS. A signature older or newer than five minutes is refused, so that a copy caught
on its way is of no use later; the same event told again is answered and not honoured again.
"""

from __future__ import annotations

import hashlib
import hmac
from collections.abc import Sequence

from django.conf import settings
from django.http import HttpRequest, JsonResponse
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_POST

from jobs.core import clock
from jobs.notices import inbound

HEADER = "Webhook-Signature"
TOLERANCE = 300  # seconds
LARGEST = 256 * 1024


@csrf_exempt
@require_POST
def hook(request: HttpRequest, name: str) -> JsonResponse:
    secrets: Sequence[str] = settings.HOOK_SECRETS[name]
    if not secrets:
        return _problem(503, "No secret is set for this webhook; it is closed.")
    body = request.body  # Django stops at 5 MB
    if len(body) > LARGEST:
        return _problem(413, f"The body is larger than {LARGEST // 1024} KB.")
    if fault := fault_of(request.headers.get(HEADER, ""), body, secrets=secrets, now=int(clock.now().timestamp())):
        return _problem(401, fault)
    row, is_new = inbound.take(name, body)
    return JsonResponse({"recorded": str(row.uid), "new": is_new})


def fault_of(header: str, body: bytes, *, secrets: Sequence[str], now: int) -> str | None:
    """What is wrong with a signature, as a sentence; None where it is right. now: seconds since 1970."""
    parts = [part.strip().partition("=") for part in header.split(",")]
    stamp = next((value for name, _, value in parts if name == "t"), "")
    given = [value for name, _, value in parts if name == "v1" and value]
    if not (stamp.isascii() and stamp.isdigit() and len(stamp) < 13) or not given:
        return f"The header {HEADER} is missing or not complete; wanted t=SECONDS,v1=SIGNATURE."
    if abs(now - int(stamp)) > TOLERANCE:
        return f"The signature is {abs(now - int(stamp))} seconds away from our clock; at most {TOLERANCE} are taken."
    wanted = [signature(body, secret=secret, at=int(stamp)) for secret in secrets]
    if not any(hmac.compare_digest(one.encode(), other.encode()) for one in wanted for other in given):
        return "The signature does not belong to this body and our secret."
    return None


def signature(body: bytes, *, secret: str, at: int) -> str:
    return hmac.new(secret.encode(), f"{at}.".encode() + body, hashlib.sha256).hexdigest()


def _problem(status: int, sentence: str) -> JsonResponse:
    """RFC 9457."""
    return JsonResponse({"title": sentence, "status": status}, status=status, content_type="application/problem+json")
