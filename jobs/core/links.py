"""Signed links: one purpose, one job, one person, until a day. Renewing makes a new version and voids the older ones."""

from __future__ import annotations

import datetime as dt

from django.conf import settings
from django.core import signing

from jobs.core import clock, rules
from jobs.core.models import Job, Person, SignedLink

SALT = "office.links"


class LinkUnknown(Exception):
    """The token is not one of ours, or was altered."""


class LinkEnded(Exception):
    """The link was ours and has expired or been renewed."""

    def __init__(self, link: SignedLink) -> None:
        super().__init__("This link has ended.")
        self.link = link


def _signer() -> signing.Signer:
    first, *older = settings.LINK_KEYS
    return signing.Signer(key=first, fallback_keys=[*older], salt=SALT)


def make(purpose: str, *, job: Job, person: Person, about: str = "", days: int | None = None) -> str:
    """The token of this person's link; made again it is the same link with a later end."""
    expires = clock.now() + dt.timedelta(days=days or rules.number("link_days"))
    link, _ = SignedLink.objects.update_or_create(purpose=purpose, job=job, person=person, about=about, defaults={"expires_at": expires})
    return token_of(link)


def token_of(link: SignedLink) -> str:
    return _signer().sign_object([str(link.uid), link.version], compress=False)


def renew(link: SignedLink) -> str:
    """A new token; every older one ends."""
    link.version += 1
    link.expires_at = clock.now() + dt.timedelta(days=rules.number("link_days"))
    link.save(update_fields=["version", "expires_at"])
    return token_of(link)


def end_all(job: Job, *, about: str) -> None:
    """End every link about one thing: a call that was moved or cancelled."""
    SignedLink.objects.filter(job=job, about=about).update(expires_at=clock.now())


def opened(token: str, *, purpose: str) -> SignedLink:
    """The link a token stands for. Raises LinkUnknown or LinkEnded."""
    try:
        uid, version = _signer().unsign_object(token)
        link = SignedLink.objects.select_related("job__site", "person").get(uid=uid, purpose=purpose)
    except (signing.BadSignature, ValueError, TypeError, SignedLink.DoesNotExist) as fault:
        raise LinkUnknown("This link is not complete; copy it whole from the message.") from fault
    if link.version != version or link.expires_at <= clock.now():
        raise LinkEnded(link)
    return link
