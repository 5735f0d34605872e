"""Signed links: one purpose, one job, one person, until a day. Renewing makes a new version and voids the older ones.

A token is 48 letters, short enough for a text message: the link's uid (16 octets), its version (2) and a signature over both (HMAC-SHA256
cut to 18 octets, 144 bits; RFC 2104, section 5, allows half of it, 128 bits).
"""

from __future__ import annotations

import base64
import datetime as dt
import uuid

from django.conf import settings
from django.utils.crypto import constant_time_compare, salted_hmac

from jobs.core import clock, rules
from jobs.core.models import Job, Person, SignedLink

SALT = "office.links"
UID, VERSION, SIGNATURE = 16, 2, 18  # octets; a multiple of three together, so that no letter of a token has bits to spare


class LinkUnknown(Exception):
    """The token is not one of ours, or was altered."""


class LinkEnded(Exception):
    """The link was ours and has expired or been renewed."""

    def __init__(self, link: SignedLink) -> None:
        super().__init__("This link has ended.")
        self.link = link


def make(purpose: str, *, job: Job, person: Person, about: str = "", days: int | None = None) -> str:
    """The token of this person's link; made again it is the same link with a later end."""
    expires = clock.now() + dt.timedelta(days=days or rules.number("link_days"))
    link, _ = SignedLink.objects.update_or_create(purpose=purpose, job=job, person=person, about=about, defaults={"expires_at": expires})
    return token_of(link)


def token_of(link: SignedLink) -> str:
    named = link.uid.bytes + link.version.to_bytes(VERSION)
    return base64.urlsafe_b64encode(named + _signature(named, settings.LINK_KEYS[0])).decode()


def _signature(named: bytes, key: str) -> bytes:
    return salted_hmac(SALT, named, secret=key, algorithm="sha256").digest()[:SIGNATURE]


def _read(token: str) -> tuple[uuid.UUID, int]:
    """The uid and version that a token names. Raises ValueError where it is not one of ours."""
    octets = base64.urlsafe_b64decode(token.encode("ascii"))
    if base64.urlsafe_b64encode(octets).decode() != token:
        raise ValueError("what is in no alphabet was passed over: a token is written in one way only")
    named, signed = octets[: UID + VERSION], octets[UID + VERSION :]
    # Each key is asked: those of before count while they are kept.
    if not any(constant_time_compare(signed, _signature(named, key)) for key in settings.LINK_KEYS):
        raise ValueError("not our signature")
    return uuid.UUID(bytes=named[:UID]), int.from_bytes(named[UID:])


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
    """The link a token stands for. Raises LinkUnknown or LinkEnded.

    Whoever is no party of the home any more, after a change of owner for instance, opens nothing: their link has ended.
    """
    try:
        uid, version = _read(token)
        link = SignedLink.objects.select_related("job__site", "person").get(uid=uid, purpose=purpose)
    except (ValueError, SignedLink.DoesNotExist) as fault:
        raise LinkUnknown("This link is not complete; copy it whole from the message.") from fault
    belongs = link.job.parties.on(clock.today_in(link.job.site.zone)).filter(person=link.person_id).exists()
    if link.version != version or link.expires_at <= clock.now() or not belongs:
        raise LinkEnded(link)
    return link
