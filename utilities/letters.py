"""Letters to a utility's desk about one request. They name meter, address and numbers, and nobody of the home (TRADE.md C4)."""

from __future__ import annotations

from jobs.core import clock
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.refusals import Refused
from jobs.notices import outbox
from jobs.notices.models import Message
from utilities import notices, requests
from utilities.models import FitRequest

LONGEST = 600


@act(right=requests.RIGHT, on=FitRequest)
def write_to_desk(request: FitRequest, *, asks: str, by: Actor) -> Message:
    """Owe a letter to the desk, to be read and released. asks: what we want to know, in our own words."""
    requests.refuse_if_ended(request)
    said = " ".join(asks.split())
    if not said or len(said) > LONGEST:
        raise Refused(f"Say what the desk is asked, in 1 to {LONGEST} letters.", field="asks")
    if not request.utility.desk_email:
        raise Refused(
            f"{request.utility} has no e-mail address of its desk on record; enter it with its profile, or telephone.", field="asks"
        )
    cause = f"letter {request.uid} {clock.today_in(request.utility.zone)}"
    if Message.objects.filter(job=request.job, kind=notices.LETTER, cause=cause).exists():
        raise Refused(f"{request.utility} was written to about this request today already; a desk asked twice a day stops answering.")
    [message] = outbox.owe(notices.LETTER, job=request.job, cause=cause, about={"request": str(request.uid), "asks": said}, by=by)
    return message
