"""Pages for what went wrong: refused, not found, changed meanwhile, our fault. Each says what was and was not changed."""

from __future__ import annotations

import logging
import secrets
import sys

from django.contrib.auth.models import Group
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template import loader

from jobs.core import codes, words
from jobs.core.models import Job
from jobs.core.refusals import NotAllowed
from jobs.core.rights import ROLES
from jobs.pages import frame

log = logging.getLogger("office.fault")

HOMEOWNERS = ("homeowner_call", "bag_photo")  # addresses that homeowners open from a message


def refused(request: HttpRequest, exception: Exception) -> HttpResponse:
    """403: the sentence, and who may."""
    sentence = str(exception) if isinstance(exception, NotAllowed) else "You may not open this page."
    return render(request, "403.html", {"sentence": sentence, "who_may": _who_may(request)}, status=403)


def _who_may(request: HttpRequest) -> str:
    rights = getattr(getattr(request.resolver_match, "func", None), "rights", ())
    names = Group.objects.filter(permissions__codename__in=[right.partition(".")[2] for right in rights]).distinct()
    roles = sorted((group.name for group in names), key=lambda name: ROLES.index(name) if name in ROLES else len(ROLES))
    return f"It is open to: {words.listed(roles)}." if roles else ""


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """404: what is not there, and for a job's mistyped code the likely ones."""
    if request.resolver_match is not None and request.resolver_match.url_name in HOMEOWNERS:
        return render(request, "404_home.html", {"lang": "en"}, status=404)
    if request.resolver_match is not None and request.resolver_match.url_name == "tag_page":
        return render(request, "404_tag.html", {"lang": "en"}, status=404)
    code = _job_code(request)
    sentence = f"There is no job {codes.normal(code)}." if code else "There is nothing at this address."
    return render(request, "404.html", {"sentence": sentence, "near": near(request, code) if code else []}, status=404)


def _job_code(request: HttpRequest) -> str:
    match = request.resolver_match
    if match is None or not str(match.route).startswith("jobs/<"):
        return ""
    return str(match.kwargs.get("code", ""))


def near(request: HttpRequest, code: str) -> list[Job]:
    """Jobs one mistyped character away, of those this person may know of."""
    candidates = codes.near(code)
    if not candidates or not request.user.is_authenticated:
        return []
    return list(Job.objects.seen_by(request.user).filter(code__in=candidates).select_related("site").order_by("code")[:5])


def stale_form(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form without its token: the page was open too long, or the person signed in anew elsewhere."""
    sentence = "Nothing was recorded: this page was open since before you last signed in, or it came from another site."
    return render(request, "403.html", {"sentence": sentence, "who_may": "Go back, open the page anew and send it again."}, status=403)


def our_fault(request: HttpRequest) -> HttpResponse:
    """500. Stands alone: no context processor, no database, for either may be what broke."""
    number = secrets.token_hex(2).upper()
    log.error("Fault %s at %s", number, request.path, exc_info=sys.exc_info())
    page = loader.get_template("500.html").render({"number": number, "company": frame.last_known_company()})
    return HttpResponse(page, status=500)
