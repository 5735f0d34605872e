"""The plan: which part of the price falls due for what. And what the books before ours had already billed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from billing import earning, payers, shares, terms
from billing.models import Invoice, Milestone, Payer
from billing.triggers import AFTER_THE_UTILITY, TRIGGERS
from jobs.core import clock, facts, journal, money, rules, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import Contract, Job
from jobs.core.refusals import Refused
from jobs.core.states import S


@dataclass(frozen=True)
class Part:
    """One milestone as the plan says it. `payer`: who pays this part, where it is not the plan's payer."""

    name: str
    clause: str
    share_millionths: int
    triggers: tuple[str, ...]
    payer_triggers: tuple[str, ...] = ()
    payer: Payer | None = None


# Two parts, since the practice lives on being paid for what works on the first day. Our own choice, no source.
DEFAULT_PARTS = (
    Part("First milestone", "Due when the system is installed and commissioned grid-tied.", 800_000, (S.GRID_TIED.value,)),
    Part("Final milestone", "Due when the backup function has been tested and verified.", 200_000, (S.BACKUP_VERIFIED.value,)),
)


@act(right="core.set_plan", on=Job)
def set_plan(
    job: Job, *, contract_minor: int, signed_on: dt.date | None, parts: Sequence[Part], by: Actor, payer: Payer | None = None
) -> Contract:
    """Set the contract's price and its milestones; set anew as long as nothing is invoiced. Without a payer the home's is billed."""
    contract, _ = put_plan(job, contract_minor=contract_minor, signed_on=signed_on, parts=parts, payer=payer, by=by)
    return contract


def put_plan(
    job: Job, *, contract_minor: int, signed_on: dt.date | None, parts: Sequence[Part], by: Actor, payer: Payer | None = None
) -> tuple[Contract, bool]:
    """The rule behind set_plan, shared with the import: the contract, and whether anything changed. Called inside an act."""
    parts = [_checked(part) for part in parts]
    if contract_minor <= 0:
        raise Refused("The contract's amount must be more than zero.", field="contract_minor")
    if signed_on and signed_on > clock.today_in(job.site.zone):
        raise Refused(f"{words.day(signed_on)} has not come yet; wanted the day on which the contract was signed.", field="signed_on")
    try:
        amounts = shares.split(contract_minor, [part.share_millionths for part in parts])
    except ValueError as fault:
        raise Refused(str(fault), field="shares") from fault

    payer = payer or payers.of_home(job)
    wanted = [
        Milestone(
            job=job,
            position=position,
            name=part.name,
            clause=part.clause,
            triggers=list(part.triggers),
            payer_triggers=list(part.payer_triggers),
            needs_utility=not AFTER_THE_UTILITY.isdisjoint(part.triggers),
            share_millionths=part.share_millionths,
            amount_minor=amount,
            payer=part.payer or payer,
        )
        for position, (part, amount) in enumerate(zip(parts, amounts, strict=True), start=1)
    ]
    before = list(job.milestones.all())
    contract = Contract.objects.filter(job=job).first()
    if contract and (contract.amount_minor, contract.signed_on) == (contract_minor, signed_on) and _same(before, wanted):
        return contract, False

    _refuse_if_invoiced(job, before)
    for milestone in before:
        if milestone.earned_on is not None:
            earning.take_back(milestone, because="the plan was set anew", by=by)
    job.milestones.all().delete()
    contract, _ = Contract.objects.update_or_create(job=job, defaults={"amount_minor": contract_minor, "signed_on": signed_on})
    journal.wrote(Milestone.objects.bulk_create(wanted))
    earning.bring_up_to_date(job, facts.of(job), by=by)
    return contract, True


def _checked(part: Part) -> Part:
    if not part.name.strip():
        raise Refused("A milestone has no name; wanted a name for each.", field="parts")
    for name in (*part.triggers, *part.payer_triggers):
        if name not in TRIGGERS:
            raise Refused(f"“{name}” is not a fact that can earn a milestone; wanted any of: {', '.join(TRIGGERS)}.", field="parts")
    if not part.triggers:
        raise Refused(f"{part.name.strip()}: say which facts earn it; at least one.", field="parts")
    return part


def _same(before: Sequence[Milestone], wanted: Sequence[Milestone]) -> bool:
    fields = ("position", "name", "clause", "triggers", "payer_triggers", "share_millionths", "amount_minor", "payer_id")
    return [[getattr(m, name) for name in fields] for m in before] == [[getattr(m, name) for name in fields] for m in wanted]


def _refuse_if_invoiced(job: Job, before: Sequence[Milestone]) -> None:
    released = Invoice.objects.released().filter(job=job).order_by("number").first()
    if released is not None:
        raise Refused(f"Invoice {released.number} of this job is released, so its plan stands. What changes after it is a change order.")
    opening = next((milestone for milestone in before if milestone.opening), None)
    if opening is not None:
        raise Refused(f"{opening.name} was invoiced before this job was brought in, so its plan stands.")


@dataclass(frozen=True)
class Opening:
    """What the books before ours say of one milestone. `position`: its place in the plan, 1 is the first."""

    position: int
    earned_on: dt.date
    invoice_ref: str
    invoiced_minor: int
    paid_minor: int = 0
    due_on: dt.date | None = None


def bring_in_opening(job: Job, openings: Sequence[Opening], *, by: Actor) -> bool:
    """Take over what was billed before. Called inside the import's act, after the plan; says whether anything changed.

    It ages and is paid like an invoice and is never drafted, numbered or sent by us. With nothing invoiced there is no opening
    balance: the milestone is earned here, by its facts.
    """
    changed = False
    for opening in openings:
        if opening.invoiced_minor == 0 and opening.paid_minor == 0:
            continue
        milestone = job.milestones.filter(position=opening.position).first()
        if milestone is None:
            raise Refused(f"The plan has no milestone {opening.position}; set the plan first.", field="openings")
        changed |= _open(milestone, opening, by=by)
    return changed


def _open(milestone: Milestone, opening: Opening, *, by: Actor) -> bool:
    _refuse_odd(milestone, opening)
    due_on = opening.due_on or terms.due_on(opening.earned_on, net_days=terms_of(milestone.payer))
    values = {
        "earned_on": opening.earned_on,
        "opening_ref": opening.invoice_ref,
        "opening_invoiced_minor": opening.invoiced_minor,
        "opening_paid_minor": opening.paid_minor,
    }
    if milestone.opening:
        if all(getattr(milestone, name) == value for name, value in values.items()):
            return False
        raise Refused(
            f"{milestone.name} already has an opening balance of {money.shown(milestone.opening_invoiced_minor)}; "
            "what changed since is a payment or a credit.",
            field="openings",
        )
    if Invoice.objects.released().filter(milestone=milestone).exists():
        raise Refused(f"{milestone.name} is invoiced here already; it cannot be an opening balance too.", field="openings")
    if milestone.earned_on is not None:
        earning.take_back(milestone, because="brought in as an opening balance", by=by)
    for name, value in values.items():
        setattr(milestone, name, value)
    milestone.opening, milestone.recorded_on, milestone.opening_due_on = True, clock.office_today(), due_on
    milestone.save()
    return True


def _refuse_odd(milestone: Milestone, opening: Opening) -> None:
    invoiced, paid = opening.invoiced_minor, opening.paid_minor
    if opening.earned_on > clock.today_in(milestone.job.site.zone):
        raise Refused(f"{milestone.name}: {words.day(opening.earned_on)} has not come yet.", field="openings")
    if invoiced < 0 or paid < 0:
        raise Refused(f"{milestone.name}: an opening balance cannot be below zero.", field="openings")
    if paid > invoiced:
        raise Refused(
            f"{milestone.name}: {money.shown(paid)} paid is more than the {money.shown(invoiced)} that were invoiced.", field="openings"
        )
    if invoiced > milestone.amount_minor:
        raise Refused(
            f"{milestone.name}: {money.shown(invoiced)} invoiced is more than its {money.shown(milestone.amount_minor)} in the plan.",
            field="openings",
        )


def terms_of(payer: Payer) -> int:
    """Days within which this payer pays: its own, else the rule's."""
    return rules.number("payment_days") if payer.terms_days is None else payer.terms_days
