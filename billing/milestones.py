"""The plan: which part of the price falls due for what. And what the books before ours had already billed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from billing import deposits, earning, local, payers, shares, terms
from billing.models import Agreement, ChangeOrder, Invoice, Milestone, MilestoneKind, Payer
from billing.triggers import AFTER_THE_UTILITY, TRIGGERS
from jobs.core import clock, facts, journal, money, rules, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import Contract, Job
from jobs.core.refusals import Refused
from jobs.core.states import S


@dataclass(frozen=True)
class Part:
    """One milestone as the plan says it: a share of the price, or an amount that is taken off before the shares divide the rest.

    payer: who pays this part, where it is not the plan's payer; payer_name: what that payer calls it; wants: the papers it asks for.
    """

    name: str
    clause: str
    share_millionths: int
    triggers: tuple[str, ...]
    payer_triggers: tuple[str, ...] = ()
    payer: Payer | None = None
    amount_minor: int | None = None
    deposit: bool = False
    payer_name: str = ""
    wants: tuple[str, ...] = ()


@dataclass(frozen=True)
class Frame:
    """What holds for the whole plan. The retainage is kept back from each part but the deposit, and billed once its own facts are met."""

    retainage_millionths: int = 0
    retainage_clause: str = ""
    retainage_triggers: tuple[str, ...] = (S.BACKUP_VERIFIED.value,)
    funding_reference: str = ""
    funding_expires_on: dt.date | None = None
    proceed_on: dt.date | None = None


# Two parts, since the practice lives on being paid for what works on the first day. Our own choice, no source.
DEFAULT_PARTS = (
    Part("First milestone", "Due when the system is installed and commissioned grid-tied.", 800_000, (S.GRID_TIED.value,)),
    Part("Final milestone", "Due when the backup function has been tested and verified.", 200_000, (S.BACKUP_VERIFIED.value,)),
)


@act(right="core.set_plan", on=Job)
def set_plan(
    job: Job,
    *,
    contract_minor: int,
    signed_on: dt.date | None,
    parts: Sequence[Part],
    by: Actor,
    payer: Payer | None = None,
    frame: Frame = Frame(),
) -> Contract:
    """Set the contract's price and its milestones; set anew as long as nothing is invoiced. Without a payer the home's is billed."""
    contract, _ = put_plan(job, contract_minor=contract_minor, signed_on=signed_on, parts=parts, payer=payer, frame=frame, by=by)
    return contract


def put_plan(
    job: Job,
    *,
    contract_minor: int,
    signed_on: dt.date | None,
    parts: Sequence[Part],
    by: Actor,
    payer: Payer | None = None,
    frame: Frame | None = None,
) -> tuple[Contract, bool]:
    """The rule behind set_plan, shared with the import: the contract, and whether anything changed. Called inside an act.

    frame: None leaves what holds for the whole plan as it is.
    """
    parts = [_checked(part) for part in parts]
    if contract_minor <= 0:
        raise Refused("The contract's amount must be more than zero.", field="contract_minor")
    if signed_on and signed_on > clock.today_in(job.site.zone):
        raise Refused(f"{words.day(signed_on)} has not come yet; wanted the day on which the contract was signed.", field="signed_on")
    agreement = Agreement.objects.filter(job=job).first() or Agreement(job=job)
    if frame is not None:
        agreement = _agreed(agreement, frame)
    amounts = _amounts(contract_minor, parts)
    agreement.deposit_limit = _deposit_limit(job, contract_minor, parts, amounts, signed_on)
    wanted = _milestones(job, parts, amounts, payer or payers.of_home(job), agreement, frame)

    before = list(job.milestones.all())
    contract = Contract.objects.filter(job=job).first()
    if contract and (contract.amount_minor, contract.signed_on) == (contract_minor, signed_on) and _same(before, wanted):
        agreement.save()
        return contract, False

    _refuse_if_fixed(job, before)
    for milestone in before:
        if milestone.earned_on is not None:
            earning.take_back(milestone, because="the plan was set anew", by=by)
    job.milestones.all().delete()
    agreement.save()
    contract, _ = Contract.objects.update_or_create(job=job, defaults={"amount_minor": contract_minor, "signed_on": signed_on})
    journal.wrote(Milestone.objects.bulk_create(wanted))
    earning.bring_up_to_date(job, facts.of(job), by=by)
    return contract, True


def _agreed(agreement: Agreement, frame: Frame) -> Agreement:
    if not 0 <= frame.retainage_millionths < shares.MILLION // 2:
        raise Refused("A retainage of half the price or more is no retainage; wanted less than 50 %.", field="retainage")
    if frame.retainage_millionths:
        _known_triggers(frame.retainage_triggers, "The retainage")
    agreement.retainage_millionths = frame.retainage_millionths
    agreement.funding_reference = frame.funding_reference.strip()
    agreement.funding_expires_on, agreement.proceed_on = frame.funding_expires_on, frame.proceed_on
    return agreement


def _amounts(contract_minor: int, parts: Sequence[Part]) -> list[int]:
    for part in parts:
        if part.amount_minor is not None and (part.amount_minor < 0 or part.share_millionths):
            raise Refused(f"{part.name}: give either a share or an amount of zero or more.", field="parts")
    try:
        return shares.plan_amounts(contract_minor, [(part.share_millionths, part.amount_minor) for part in parts])
    except shares.DoNotAddUp as fault:
        off = f"{money.shown(abs(fault.off_minor))} too {'little' if fault.off_minor > 0 else 'much'}"
        raise Refused(f"The amounts of the parts are {off} for a contract of {money.shown(contract_minor)}.", field="shares") from fault
    except ValueError as fault:
        raise Refused(str(fault), field="shares") from fault


def _deposit_limit(job: Job, contract_minor: int, parts: Sequence[Part], amounts: Sequence[int], signed_on: dt.date | None) -> str:
    """What the deposit was set under, in words. Raises Refused above the state's cap."""
    asked = sum(amount for part, amount in zip(parts, amounts, strict=True) if part.deposit)
    cap = local.cap_for(job.site.region, on=signed_on or clock.office_today()) if asked else None
    most = deposits.most(contract_minor, cap) if cap else None
    if cap is None or most is None:
        return ""
    if asked > most:
        raise Refused(
            f"A deposit of {money.shown(asked)} is above the {money.shown(most)} allowed in {job.site.region}: "
            f"{local.cap_words(cap)} ({cap.source}).",
            field="parts",
        )
    return f"{job.site.region}: {local.cap_words(cap)}, here {money.shown(most)} ({cap.source})"


def _milestones(
    job: Job, parts: Sequence[Part], amounts: Sequence[int], payer: Payer, agreement: Agreement, frame: Frame | None
) -> list[Milestone]:
    rate = agreement.retainage_millionths
    rows = []
    for position, (part, amount) in enumerate(zip(parts, amounts, strict=True), start=1):
        kept = 0 if part.deposit else retained(amount, rate)
        rows.append(
            Milestone(
                job=job,
                position=position,
                name=part.name,
                kind=MilestoneKind.DEPOSIT if part.deposit else MilestoneKind.PART,
                payer_name=part.payer_name,
                wants=list(part.wants),
                clause=part.clause,
                triggers=list(part.triggers),
                payer_triggers=list(part.payer_triggers),
                needs_utility=not AFTER_THE_UTILITY.isdisjoint(part.triggers),
                share_millionths=0 if part.amount_minor is not None else part.share_millionths,
                fixed=part.amount_minor is not None,
                amount_minor=amount - kept,
                retained_minor=kept,
                payer=part.payer or payer,
            )
        )
    if rate:
        rows.append(_retainage(job, rows, payer, frame))
    return rows


def retained(amount_minor: int, rate_millionths: int) -> int:
    """What is kept back of a part, halves to the even cent."""
    return money.tax(amount_minor, rate_millionths=rate_millionths, rounding=money.Rounding.HALF_EVEN)


def _retainage(job: Job, rows: Sequence[Milestone], payer: Payer, frame: Frame | None) -> Milestone:
    """The part that bills what the others kept back: on its own facts, after all of them."""
    old = job.milestones.filter(kind=MilestoneKind.RETAINAGE).first()
    if frame is None and old is not None:
        frame = Frame(retainage_clause=old.clause, retainage_triggers=tuple(old.triggers))
    frame = frame or Frame()
    triggers = list(frame.retainage_triggers)
    return Milestone(
        job=job,
        position=len(rows) + 1,
        name="Retainage",
        kind=MilestoneKind.RETAINAGE,
        clause=frame.retainage_clause,
        triggers=triggers,
        payer_triggers=[],
        needs_utility=not AFTER_THE_UTILITY.isdisjoint(triggers),
        share_millionths=0,
        fixed=True,
        amount_minor=sum(row.retained_minor for row in rows),
        payer=payer,
    )


def _checked(part: Part) -> Part:
    if not part.name.strip():
        raise Refused("A milestone has no name; wanted a name for each.", field="parts")
    _known_triggers(part.triggers, part.name.strip(), also=part.payer_triggers)
    return part


def _known_triggers(triggers: Sequence[str], named: str, *, also: Sequence[str] = ()) -> None:
    for name in (*triggers, *also):
        if name not in TRIGGERS:
            raise Refused(f"“{name}” is not a fact that can earn a milestone; wanted any of: {', '.join(TRIGGERS)}.", field="parts")
    if not triggers:
        raise Refused(f"{named}: say which facts earn it; at least one.", field="parts")


def _same(before: Sequence[Milestone], wanted: Sequence[Milestone]) -> bool:
    fields = (
        "position", "name", "kind", "payer_name", "wants", "clause", "triggers", "payer_triggers", "share_millionths", "fixed",
        "amount_minor", "retained_minor", "payer_id",
    )  # fmt: skip
    return [[getattr(m, name) for name in fields] for m in before] == [[getattr(m, name) for name in fields] for m in wanted]


def _refuse_if_fixed(job: Job, before: Sequence[Milestone]) -> None:
    released = Invoice.objects.released().filter(job=job).order_by("number").first()
    if released is not None:
        raise Refused(f"Invoice {released.number} of this job is released, so its plan stands. What changes after it is a change order.")
    opening = next((milestone for milestone in before if milestone.opening), None)
    if opening is not None:
        raise Refused(f"{opening.name} was invoiced before this job was brought in, so its plan stands.")
    change = ChangeOrder.objects.filter(job=job).first()
    if change is not None:
        raise Refused(f"{change} is on record, so the plan stands. What changes after it is a further change order.")


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
