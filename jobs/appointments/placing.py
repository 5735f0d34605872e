"""A place found under its verifier's row lock: for calls and for tentative times alike."""

from __future__ import annotations

from jobs.appointments import times
from jobs.appointments.models import Appointment
from jobs.appointments.slots import Slot
from jobs.appointments.times import Wish
from jobs.core import clock
from jobs.core.actors import Actor
from jobs.core.models import Job, Person, User
from jobs.core.models.people import Language, PartyRole
from jobs.core.refusals import NotAllowed, Refused


def own_only(verifier: User, by: Actor) -> None:
    if by.user is not None and by.user.pk != verifier.pk and not by.may("core.book_any_call"):
        raise NotAllowed("A verifier books own calls only; the scheduler books those of others.")


def attendee(job: Job, person: Person | None) -> Person:
    """Who will be at home: a party of this job today, with a telephone."""
    parties = job.parties.on(clock.today_in(job.site.zone)).select_related("person")
    if person is None:
        at_home = sorted(parties, key=lambda party: (party.role != PartyRole.AT_HOME, party.role != PartyRole.OWNER, party.pk))
        if not at_home:
            raise Refused("Nobody is on record for this home; add the person who will be at home.", field="person")
        person = at_home[0].person
    elif not parties.filter(person=person).exists():
        raise Refused(f"{person.name} is not one of the people of this home.", field="person")
    if not person.phone:
        raise Refused(f"{person.name} has no telephone number on record; the call needs one.", field="person")
    return person


def lock(*verifiers: int) -> None:
    """Two people may take the last place of a verifier for two homes: the second waits here, and then finds it taken."""
    for pk in sorted(set(verifiers)):
        User.objects.select_for_update(of=("self",)).get(pk=pk)


def find(wish: Wish, *, verifier: User, job: Job, person: Person, apart_from: Appointment | None = None) -> Slot:
    """The wished place of this verifier for this home, or a refusal. The caller holds the verifier's lock."""
    if verifier not in times.verifiers():
        raise Refused(f"{verifier.name} does not hold calls; a verifier is wanted.", field="verifier")
    if person.language not in times.languages_of(verifier):
        raise Refused(
            f"{person.name} speaks {Language(person.language).label}; {verifier.name} does not. Another verifier is wanted.",
            field="verifier",
        )
    return times.place(wish, verifier=verifier, job=job, person=person, apart_from=apart_from)
