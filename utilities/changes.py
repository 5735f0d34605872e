"""What must be put right before the next visit: a change the owner signs, bag and access confirmed again, a meter exchange done with it."""

from __future__ import annotations

import datetime as dt

from jobs.core import homefacts, secrets, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.facts import Said, When
from jobs.core.models import Fact
from jobs.core.refusals import Refused
from utilities.models import ChangeOrder, FitRequest, Service
from utilities.requests import RIGHT, refuse_if_ended


@act(right=RIGHT, on=FitRequest)
def propose_change(request: FitRequest, *, on: dt.date, found: str, option: str, by: Actor) -> ChangeOrder:
    """Meter or socket cannot take the collar: what was found, and what is proposed to the owner (TRADE.md C8)."""
    refuse_if_ended(request)
    if option not in ChangeOrder.Option.values:
        raise Refused("Choose what is proposed.", field="option")
    if not found.strip():
        raise Refused("Say what was found, and by whom.", field="found")
    if on < request.filed_on:
        raise Refused(f"The request was sent on {words.day(request.filed_on)}; a change to it comes later.", field="on")
    if (unsigned := request.change_orders.filter(signed_on__isnull=True).first()) is not None:
        raise Refused(f"The change proposed on {words.day(unsigned.proposed_on)} waits for the owner's signature; record that first.")
    return ChangeOrder.objects.create(request=request, found=found.strip(), option=option, proposed_on=on, proposed_by_name=by.name)


@act(right=RIGHT, on=ChangeOrder)
def record_change_signed(change: ChangeOrder, *, on: dt.date, signed_by: str, by: Actor) -> ChangeOrder:
    """The owner signed; the new request may be sent."""
    if change.signed_on is not None:
        raise Refused(f"It was signed on {words.day(change.signed_on)} already.", field="on")
    if on < change.proposed_on:
        raise Refused(f"It was proposed on {words.day(change.proposed_on)}; it was signed on or after that day.", field="on")
    if not signed_by.strip():
        raise Refused("Name the owner who signed.", field="signed_by")
    change.signed_on, change.signed_by = on, signed_by.strip()
    change.save(update_fields=["signed_on", "signed_by"])
    return change


@act(right=RIGHT, on=FitRequest)
def confirm_site(request: FitRequest, *, on: dt.date, bag: str, access: str, name: str, by: Actor) -> Fact:
    """The homeowner says where the bag hangs and how the utility gets in; asked anew before the next window."""
    refuse_if_ended(request)
    job = request.job
    assert job is not None  # refuse_if_ended
    for field, told in (("bag", bag), ("access", access), ("name", name)):
        if not told.strip():
            raise Refused("Fill this in as the homeowner said it; “as before” is an answer too.", field=field)
        secrets.refuse_code_in(job, told, field=field)
    if on < request.filed_on:
        raise Refused(f"The request was sent on {words.day(request.filed_on)}; this comes later.", field="on")
    value = {"bag": bag.strip(), "access": access.strip(), "request": str(request.uid)}
    return homefacts.write(job, k.SITE_CONFIRMED, when=When(on=on), said_by=Said("homeowner", name.strip()), by=by, value=value)


@act(right=RIGHT, on=Service)
def record_meter_exchange(service: Service, *, asked_on: dt.date | None, done_on: dt.date | None, by: Actor) -> Service:
    """An exchange of the meter that the utility owes, or has done. While it is owed, one visit is asked for both (TRADE.md C1)."""
    if done_on is not None and asked_on is None:
        raise Refused("Say when the exchange was asked for.", field="asked_on")
    if done_on is not None and asked_on is not None and done_on < asked_on:
        raise Refused("The exchange was done before it was asked for; correct one of the days.", field="done_on")
    service.exchange_asked_on, service.exchange_done_on = asked_on, done_on
    service.save(update_fields=["exchange_asked_on", "exchange_done_on"])
    return service
