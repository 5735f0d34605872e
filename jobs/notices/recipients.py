"""To whom a message goes."""

from __future__ import annotations

from collections.abc import Iterable

from jobs.core import clock
from jobs.core.models import Job, Person
from jobs.core.refusals import Refused
from jobs.notices import kinds
from jobs.notices.kinds import NoticeKind, Owing, Recipient
from jobs.notices.models import Channel, Message


def recipients_of(kind: NoticeKind, owing: Owing) -> list[Recipient]:
    """Each once, in the kind's order: who is two things to a home gets one copy."""
    if isinstance(kind.to, tuple):
        found: Iterable[Recipient | Person] = of_roles(owing.job, *kind.to) if owing.job else ()
    else:
        found = kind.to(owing)
    people = [Recipient.of(one) if isinstance(one, Person) else one for one in found]
    return list({one.key: one for one in people}.values())


def of_roles(job: Job, *roles: str) -> list[Person]:
    """Those who hold the roles today, at the site; in the order of the roles."""
    parties = job.parties.on(clock.today_in(job.site.zone)).filter(role__in=roles).select_related("person").order_by("pk")
    return [party.person for party in sorted(parties, key=lambda party: roles.index(party.role))]


def address_anew(message: Message) -> None:
    """Set on the row, unsaved, the recipient's name, address and language as they are now: people move and mend addresses."""
    if not message.to_key:
        return
    for to in recipients_of(kinds.of(message.kind), Owing(message.job, message.cause, message.about)):
        if to.key == message.to_key:
            message.to_name, message.language, message.person = to.name, to.language, to.person
            message.address = to.phone if message.channel == Channel.TEXT else to.address
            return
    raise Refused(f"{message.to_name} is no longer one to whom this message goes. Withdraw it, and telephone whom it concerns.")
