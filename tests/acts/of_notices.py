from __future__ import annotations

from typing import Any

from jobs.core import clock, links
from jobs.core.actors import Actor
from jobs.core.models import Party, SignedLink
from jobs.core.states import S as State
from jobs.notices import consent, outbox
from jobs.notices.models import Message, Received
from jobs.notices.models import State as MessageState
from tests.acts.examples import BOTH, Example, M, S, roles
from tests.make import PNG, SYSTEM, make_job
from tests.notices.make import claimed, released, removed

# Whoever may release may do all of these.
WHO = roles(M, S)


def _owed(by: Actor) -> tuple[Any, dict[str, Any]]:
    return removed(), {}


def _several(by: Actor) -> tuple[Any, dict[str, Any]]:
    return [str(removed().uid), str(removed().uid)], {}


def _in_its_minute(by: Actor) -> tuple[Any, dict[str, Any]]:
    return outbox.release(removed(), by=SYSTEM), {}


def _unsure(by: Actor) -> Any:
    message = claimed()
    Message.objects.filter(pk=message.pk).update(state=MessageState.MAY_HAVE_BEEN_SENT, claimed_until=None)
    message.refresh_from_db()
    return message


def _nobody(by: Actor) -> tuple[Any, dict[str, Any]]:
    job = make_job(State.BACKUP_VERIFIED)
    owner = job.parties.get(role="owner").person
    job.parties.all().delete()
    message = removed(job)
    Party.objects.create(job=job, person=owner, role="owner", from_on=clock.office_today())
    return message, {}


def _ended(by: Actor) -> tuple[Any, dict[str, Any]]:
    message = released()
    consent.end(message, how="on the telephone", by=SYSTEM)
    return message, {"how": "by letter"}


def _consents(by: Actor) -> tuple[Any, dict[str, Any]]:
    job = make_job()
    person = job.parties.get(role="owner").person
    return job, {"person": person, "channel": "text", "scope": "notices", "words": "May we text you?", "how": "on paper, 4 May"}


def _ends(by: Actor) -> tuple[Any, dict[str, Any]]:
    job, told = _consents(by)
    return job, {"person": told["person"], "channel": "text", "how": "on the telephone"}


def _called(by: Actor) -> tuple[Any, dict[str, Any]]:
    told = {"direction": "out", "at": clock.now(), "outcome": "spoke", "words": "Friday suits them", "name": "Sam Uttley"}
    return make_job(), told | {"number": "(303) 555-0142"}


def _reply(by: Actor) -> tuple[Any, dict[str, Any]]:
    row = Received.objects.create(
        channel="text",
        event=f"E-{Received.objects.count()}",
        kind="reply",
        address="+13035550142",
        text="Friday?",
        raw="{}",
        at=clock.now(),
        for_person=True,
    )
    return row, {"how": "telephoned them"}


def _bag_link(by: Actor) -> tuple[Any, dict[str, Any]]:
    job = make_job(State.AWAITING_UTILITY)
    person = job.parties.get(role="owner").person
    links.make("bag_photo", job=job, person=person)
    return SignedLink.objects.get(job=job, person=person), {}


EXAMPLES: dict[str, Example] = {
    "jobs.notices.bagphotos.send_picture": Example(
        roles(), lambda by: (_bag_link(by)[0], {"name": "bag.png", "data": PNG}), BOTH, link=True
    ),
    "jobs.notices.bagphotos.say_unseen": Example(roles(), _bag_link, BOTH, link=True),
    "jobs.notices.outbox.release": Example(WHO, _owed),
    "jobs.notices.outbox.release_at_once": Example(WHO, lambda by: (removed(), {"why": "the house is without power"}), BOTH),
    "jobs.notices.consent.give": Example(WHO, _consents),
    "jobs.notices.consent.revoke": Example(WHO, _ends),
    "jobs.notices.calls.record_call": Example(WHO, _called, BOTH),
    "jobs.notices.asking.ask_for_photo": Example(WHO, lambda by: (make_job(State.AWAITING_UTILITY), {})),
    "jobs.notices.asking.ask_for_paper": Example(WHO, lambda by: (make_job(), {"paper": "bill"})),
    "jobs.notices.received.settle": Example(WHO, _reply),
    "jobs.notices.outbox.release_many": Example(WHO, _several),
    "jobs.notices.outbox.take_back": Example(WHO, _in_its_minute),
    "jobs.notices.outbox.withdraw_message": Example(WHO, lambda by: (removed(), {"reason": "settled on the telephone"})),
    "jobs.notices.outbox.send_again": Example(WHO, lambda by: (_unsure(by), {})),
    "jobs.notices.outbox.record_arrived": Example(WHO, lambda by: (_unsure(by), {"how": "they said so on the telephone"})),
    "jobs.notices.outbox.look_again": Example(WHO, _nobody),
    "jobs.notices.consent.end": Example(WHO, lambda by: (released(), {"how": "on the telephone"})),
    "jobs.notices.consent.give_again": Example(WHO, _ended),
}
