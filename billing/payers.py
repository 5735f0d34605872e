"""Who is billed."""

from __future__ import annotations

from billing.models import Payer, PayerKind
from jobs.core import clock
from jobs.core.actors import Actor
from jobs.core.acts import act, one_at_a_time
from jobs.core.models import Job
from jobs.core.models.people import PartyRole
from jobs.core.refusals import Refused


def of_home(job: Job) -> Payer:
    """The payer of a home where the plan names nobody else: its party that pays, else its owner. Called inside an act."""
    parties = job.parties.on(clock.today_in(job.site.zone)).select_related("person")
    for role in (PartyRole.PAYER, PartyRole.OWNER):
        party = parties.of_role(role).first()
        if party is not None:
            payer, _ = Payer.objects.get_or_create(person=party.person, defaults={"name": party.person.name, "kind": PayerKind.HOMEOWNER})
            return payer
    raise Refused("This home has no owner on record, so nobody can be billed; add the owner or choose who pays.", field="payer")


@act(right="core.set_plan")
def add_payer(name: str, *, kind: str, by: Actor, email: str = "", address: str = "", terms_days: int | None = None) -> Payer:
    """A lender or third-party owner, with the address of its desk and its own terms."""
    name = " ".join(name.split())
    if not name:
        raise Refused("The payer's name is empty; wanted a name.", field="name")
    if kind not in PayerKind.values:
        raise Refused(f"“{kind}” is not a kind of payer; wanted one of: {', '.join(PayerKind.values)}.", field="kind")
    if terms_days is not None and not 0 <= terms_days <= 365:
        raise Refused(f"Payment within {terms_days} days is outside 0 to 365 days.", field="terms_days")
    one_at_a_time(f"payer {name.lower()}")
    if Payer.objects.filter(name__iexact=name, person__isnull=True).exists():
        raise Refused(f"There is already a payer named {name}; choose it in the plan.", field="name")
    return Payer.objects.create(name=name, kind=kind, email=email.strip(), address=address.strip(), terms_days=terms_days)
