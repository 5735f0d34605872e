"""What booking ahead needs of the scheduler today: homes likely ready, tentative times that are near, calls that nobody answered."""

from __future__ import annotations

import datetime as dt

from django.db.models import Exists, OuterRef
from django.urls import reverse

from jobs.appointments import likely, shown
from jobs.appointments.models import TAKING, Appointment, AppointmentState, Tentative
from jobs.core import clock, words
from jobs.core.attention import Row, Section, says
from jobs.core.models import Job, User
from jobs.core.states import S
from utilities import said

MOST = 10
NEAR = dt.timedelta(days=3)  # a tentative time so near is offered or given up


def sections(user: User) -> list[Section]:
    return [_likely(user), _near(user), _missed(user)]


def _likely(user: User) -> Section:
    rows, today = likely.likely(Job.objects.seen_by(user)), clock.office_today()
    return Section(
        name="likely",
        title="Likely ready in the next two weeks",
        headings=("Half by", "Home", "Chance", "Tentative time", "Next act"),
        kinds=("expected", "expected"),
        rows=[
            Row(
                margin=said.day_short(row.shown.q50, as_of=row.shown.as_of, today=today),
                title=row.job.homeowner or row.job.code,
                under=row.job.site.street,
                url=reverse("calls_ready") + "#s-likely" if row.kept else reverse("hold_time", kwargs={"code": row.job.code}),
                cells=(words.in_hundred(row.chance), _kept(row.kept) if row.kept else "none"),
                next_act="Open" if row.kept else "Hold a time",
            )
            for row in rows[:MOST]
        ],
        nothing="No home that waits is likely to have its collar within two weeks.",
        note="the chance that the collar is in by then",
        all_url=reverse("calls_ready") + "#s-likely",
        total=len(rows),
        order=40,
        says=says("home is likely ready in two weeks", "homes are likely ready in two weeks"),
        homes=frozenset(row.job.pk for row in rows),
    )


def _near(user: User) -> Section:
    """Kept places that somebody else could have, if their home is not ready."""
    found = list(
        Tentative.objects.seen_by(user)
        .standing()
        .filter(starts_at__lte=clock.now() + NEAR)
        .select_related("job__site", "person", "verifier")
    )
    return Section(
        name="tentative",
        title="Tentative times that are near",
        headings=("Time at the site", "Home", "Verifier", "Home now", "Next act"),
        rows=[
            Row(
                margin=f"{shown.day_of(row.local_date)}, {words.time_office(row.local_time)}",
                title=row.person.name,
                under=row.job.site.street,
                url=reverse("calls_ready"),
                cells=(row.verifier.name, row.job.state_words),
                next_act="Offer or give up",
            )
            for row in found[:MOST]
        ],
        nothing="No tentative time lies in the next three days.",
        note="offered once the home is ready, else given up",
        total=len(found),
        order=24,
        says=says("tentative time is near", "tentative times are near"),
        homes=frozenset(row.job_id for row in found),
    )


def _missed(user: User) -> Section:
    """Homes whose last call nobody answered, and that have no other."""
    later = Appointment.objects.filter(job=OuterRef("job"), starts_at__gt=OuterRef("starts_at"))
    open_call = Appointment.objects.filter(job=OuterRef("job"), state__in=TAKING)
    rows = Appointment.objects.seen_by(user).filter(state=AppointmentState.MISSED, job__state=S.COLLAR_ENERGIZED)
    found = list(rows.filter(~Exists(later), ~Exists(open_call)).with_names().order_by("starts_at", "pk"))
    return Section(
        name="missed",
        title="Nobody answered, to be booked again",
        headings=("Call", "Home", "Verifier", "Next act"),
        rows=[
            Row(
                margin=shown.day_of(row.local_date),
                title=row.person.name,
                under=row.job.site.street,
                url=reverse("call_book", kwargs={"code": row.job.code}),
                cells=(row.verifier.name,),
                next_act="Book again",
            )
            for row in found[:MOST]
        ],
        nothing="Every home that did not answer has another call.",
        all_url=reverse("calls_missed"),
        total=len(found),
        order=26,
        says=says("home did not answer its call and has no other", "homes did not answer their calls and have no other"),
        homes=frozenset(row.job_id for row in found),
    )


def _kept(row: Tentative) -> str:
    return f"{shown.day_of(row.local_date)}, {words.time_office(row.local_time)}, {row.verifier.name}"
