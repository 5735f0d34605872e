"""Who of us asks the desks: one clerk's absence, and all of one clerk's desks handed to another."""

from __future__ import annotations

import datetime as dt

from django.db.models import Q

from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import User
from jobs.core.refusals import Refused
from utilities.models import Utility

RIGHT = "core.edit_utilities"


@act(right=RIGHT, on=User)
def hand_over(clerk: User, *, to: User, by: Actor) -> int:
    """All desks that this person asks, or stands in for, are another's from now on. Gives how many; nothing recorded changes."""
    _refuse_who_may_not(to, clerk)
    desks = list(Utility.objects.select_for_update(of=("self",)).filter(Q(clerk=clerk) | Q(stand_in=clerk)).order_by("pk"))
    if not desks:
        raise Refused(f"{clerk.name} neither asks a desk nor stands in for one; there is nothing to hand over.", field="clerk")
    for desk in desks:
        if desk.clerk_id == clerk.pk:
            desk.clerk, desk.away_from, desk.away_to = to, None, None
            if desk.stand_in_id == to.pk:
                desk.stand_in = None
        elif desk.clerk_id == to.pk:
            # One's own stand-in is none; an absence without a stand-in would leave the desk to nobody.
            desk.stand_in, desk.away_from, desk.away_to = None, None, None
        else:
            desk.stand_in = to
        desk.save(update_fields=["clerk", "stand_in", "away_from", "away_to"])
    return len(desks)


@act(right=RIGHT, on=User)
def record_away(clerk: User, *, first: dt.date, last: dt.date, by: Actor, stand_in: User | None = None) -> int:
    """A clerk is away from one day of the office to another, both included: meanwhile the stand-in asks. stand_in: for those of the desks
    that have none. Gives how many desks.
    """
    if last < first:
        raise Refused("The absence ends before it begins.", field="last")
    if stand_in is not None:
        _refuse_who_may_not(stand_in, clerk)
    desks = list(Utility.objects.select_for_update(of=("self",)).filter(clerk=clerk).order_by("name"))
    if not desks:
        raise Refused(f"{clerk.name} asks no desk; nobody need stand in.", field="clerk")
    alone = [desk for desk in desks if desk.stand_in_id is None]
    if alone and stand_in is None:
        raise Refused(f"Nobody stands in at {alone[0].name}: name who asks there meanwhile.", field="stand_in")
    for desk in desks:
        desk.stand_in, desk.away_from, desk.away_to = desk.stand_in or stand_in, first, last
        desk.save(update_fields=["stand_in", "away_from", "away_to"])
    return len(desks)


def _refuse_who_may_not(to: User, clerk: User) -> None:
    if to.pk == clerk.pk:
        raise Refused("That is the same person; choose somebody else.", field="to")
    if not to.is_active or not to.has_perm("core.record_requests"):
        raise Refused(f"{to.name} may not record requests, so cannot ask a desk.", field="to")
