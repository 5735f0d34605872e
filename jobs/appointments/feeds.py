"""A verifier's calls as a calendar that other programs read, at a secret address that can be renewed (RFC 5545, RFC 7986)."""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets

from django.conf import settings

from jobs.appointments import times
from jobs.appointments.models import TAKING, Appointment, AppointmentState, CalendarFeed
from jobs.core import clock, rules
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import User
from jobs.core.refusals import NotAllowed, Refused
from jobs.notices import calendarpart

BACK, FORWARD = dt.timedelta(days=30), dt.timedelta(days=180)


@act(right="core.book_calls", on=User)
def renew_feed(verifier: User, *, by: Actor) -> str:
    """A new secret; the address before opens nothing from now on. It is told once: only its hash is kept."""
    if by.user is not None and by.user.pk != verifier.pk and not by.may("core.set_hours"):
        raise NotAllowed("A verifier makes an address for the own calendar only.")
    if verifier not in times.verifiers():
        raise Refused(f"{verifier.name} does not hold calls; a calendar is kept for verifiers.")
    token = secrets.token_urlsafe(32)
    CalendarFeed.objects.update_or_create(
        verifier=verifier, defaults={"token_hash": hashed(token), "made_at": clock.now(), "made_by_name": by.name}
    )
    return token


def verifier_of(token: str) -> User | None:
    """Whose calendar this is; nobody's where the address was renewed or the person holds no calls any more."""
    feed = CalendarFeed.objects.filter(token_hash=hashed(token), verifier__is_active=True).select_related("verifier").first()
    return feed.verifier if feed and feed.verifier in times.verifiers() else None


def hashed(token: str) -> str:
    # A secret of 256 random bits needs no slow hash.
    return hashlib.sha256(token.encode()).hexdigest()


def calendar_of(verifier: User) -> bytes:
    """The calls of the last month and the next half year. No name, number, address, gate code or medical word stands in it: whoever the
    verifier shares a calendar with reads it. What is needed on a call stands behind its link, after signing in."""
    now = clock.now()
    calls = Appointment.objects.filter(verifier=verifier, starts_at__gte=now - BACK, starts_at__lte=now + FORWARD)
    shown = calls.exclude(state=AppointmentState.DECLINED).select_related("job__site").order_by("starts_at", "pk")
    company = rules.text("company_name")
    return calendarpart.published(
        [_entry(call) for call in shown],
        name=f"Calls of {verifier.name}, {company}",
        refresh=dt.timedelta(minutes=30),
    )


def _entry(call: Appointment) -> calendarpart.Entry:
    open_now = call.state in TAKING
    changed = call.ended_at or call.made_at
    return calendarpart.Entry(
        uid=calendarpart.uid_of(str(call.uid), settings.EMAIL_FROM),
        # A cancelled call is one above the last invitation, as the mail that withdrew it was (RFC 5546, 3.2.5).
        sequence=call.sequence + (call.state == AppointmentState.CANCELLED),
        stamp=changed,
        starts=call.local_start,
        ends=call.call_ends_at,
        summary=f"{'Offered call' if call.state == AppointmentState.OFFERED else 'Backup test by telephone'}, job {call.job.code}",
        description=f"{settings.BASE_URL}/calls/{call.uid}/",
        status="CANCELLED"
        if call.state == AppointmentState.CANCELLED
        else "TENTATIVE"
        if call.state == AppointmentState.OFFERED
        else "CONFIRMED",
        busy=open_now,
    )
