"""The section of Today on desks to ask: together, desk by desk, never one home at a time."""

from __future__ import annotations

import datetime as dt

from django.urls import reverse

from jobs.core import words
from jobs.core.attention import Row, Section, late, says
from utilities import deskday
from utilities.models import Storm
from utilities.models.requests import FitRequestQuerySet

MOST = 10


def follow_ups(rows: FitRequestQuerySet, today: dt.date) -> Section:
    found = [desk for desk in deskday.desks(rows, today=today) if desk.is_today]
    return Section(
        name="follow_ups",
        title="Follow-ups due",
        headings=("Due since", "Utility", "Homes", "Who asks", "Last asked", "Next act"),
        rows=[
            Row(
                margin=words.day_short(desk.since, today=today),
                late=late(desk.since, today),
                title=desk.utility.name,
                under=desk.why,
                url=reverse("desk", kwargs={"uid": desk.utility.uid}),
                cells=(
                    words.number(len(desk.homes)),
                    desk.asks.name if desk.asks else "nobody named",
                    words.day_short(desk.last_asked, today=today) if desk.last_asked else "never",
                ),
                next_act="Ask about its homes",
            )
            for desk in found[:MOST]
        ],
        nothing="No utility is to be asked today.",
        note="together, desk by desk; not one asked a short while ago",
        all_url=reverse("desks"),
        total=len(found),
        order=25,
        kinds=("num", "", ""),
        says=says("utility is to be asked about its homes", "utilities are to be asked about their homes"),
    )


def storms_to_review(today: dt.date) -> Section:
    """Storms whose day to look again has come: a storm without an end comes back until it is lifted or goes on."""
    found = list(Storm.objects.standing().filter(review_on__lte=today).select_related("utility", "district").order_by("review_on", "pk"))
    return Section(
        name="storms",
        title="Storms to look at again",
        headings=("Since", "Where", "Declared", "Next act"),
        rows=[
            Row(
                margin=words.day_short(storm.from_on, today=today),
                late=late(storm.review_on, today),
                title=storm.area,
                url=reverse("storm", kwargs={"uid": storm.uid}),
                cells=(f"by {storm.declared_by_name}: {storm.source}",),
                next_act="Lift it, or say until when",
            )
            for storm in found[:MOST]
        ],
        nothing="No storm waits to be looked at again.",
        note="its holds stop calls and asking; the waits go on",
        total=len(found),
        order=13,
        says=says("storm is to be looked at again", "storms are to be looked at again"),
    )
