"""Headers on every answer."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponseBase

POLICY = "; ".join(
    [
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    ]
)


def policy(get_response: Callable[[HttpRequest], HttpResponseBase]) -> Callable[[HttpRequest], HttpResponseBase]:
    """No inline script or style runs, whatever text comes from outside."""

    def answer(request: HttpRequest) -> HttpResponseBase:
        response = get_response(request)
        response.headers.setdefault("Content-Security-Policy", POLICY)
        response.headers.setdefault("Permissions-Policy", "geolocation=(), microphone=(), payment=()")
        if request.path.startswith("/h/") or (getattr(request, "user", None) is not None and request.user.is_authenticated):
            # What a signed-in person or a link's holder saw must not stay in a shared browser's cache.
            response.headers.setdefault("Cache-Control", "no-store")
        return response

    return answer
