"""Change orders: the price changes, what is invoiced stays, and the parts add up to the new price. A job that ends is closed by one."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from billing import earning, shares
from billing.milestones import Part, retained
from billing.models import Agreement, ChangeKind, ChangeOrder, Invoice, Milestone, MilestoneKind
from billing.triggers import AFTER_THE_UTILITY, TRIGGERS
from jobs.core import clock, facts, money, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import Contract, Job
from jobs.core.refusals import Refused
from jobs.core.states import S


@act(right="core.bill", on=Job)
def change_order(job: Job, *, amount_minor: int, agreed_on: dt.date, words: str, by: Actor, part: Part | None = None) -> ChangeOrder:
    """The price rises or falls (below zero) by an amount. With a part it is billed by itself; else spread over what is not invoiced."""
    contract = _contract(job)
    if amount_minor == 0:
        raise Refused("A change of nothing is no change order; wanted the amount by which the price rises or falls.", field="amount_minor")
    _refuse_day(agreed_on)
    if not words.strip():
        raise Refused("Say what was agreed; it stands on the papers.", field="words")
    if part is not None and amount_minor < 0:
        raise Refused("A part of its own is for work that is added; a lower price is spread over what is not invoiced.", field="part")
    change = _enter(job, contract, amount_minor, agreed_on=agreed_on, words=words, kind=ChangeKind.CHANGE, by=by)
    if part is None:
        _spread(job, amount_minor, change, by=by)
    else:
        _add(job, amount_minor, part, change)
        earning.bring_up_to_date(job, facts.of(job), by=by)
    return change


@act(right="core.bill", on=Job)
def close(job: Job, *, kind: str, agreed_on: dt.date, words: str, by: Actor) -> ChangeOrder:
    """The contract was cancelled, or its backup dropped: what will never be earned leaves the price.

    What is invoiced stays; what is given back of it is a credit note, and a refund.
    """
    contract = _contract(job)
    if kind not in (ChangeKind.BACKUP_DROPPED, ChangeKind.CANCELLED):
        raise Refused("Say what ends: the backup alone, or the whole contract.", field="kind")
    if kind == ChangeKind.CANCELLED and job.state != S.CANCELLED:
        raise Refused("The job is not cancelled: the operations manager records that first, with its reason.", field="kind")
    _refuse_day(agreed_on)
    if not words.strip():
        raise Refused("Say what was agreed; it stands on the papers.", field="words")
    open_parts = not_billed(job)
    retainage = next((m for m in open_parts if m.kind == MilestoneKind.RETAINAGE), None)
    ending = [milestone for milestone in open_parts if _ends(milestone, kind)]
    kept = sum(milestone.retained_minor for milestone in ending) if retainage else 0
    amount = sum(milestone.amount_minor for milestone in ending) + kept
    if not amount:
        raise Refused("Nothing that is not earned is left in the price, so there is nothing to take out of it.")
    change = _enter(job, contract, -amount, agreed_on=agreed_on, words=words, kind=kind, by=by)
    because = str(change).lower()
    for milestone in ending:
        milestone.retained_minor = 0 if retainage else milestone.retained_minor
        earning.changed(milestone, 0, because=because, by=by)
    if retainage is not None:
        _release_retainage(retainage, kept, because=because, by=by)
        earning.bring_up_to_date(job, facts.of(job), by=by)
    return change


def _release_retainage(retainage: Milestone, kept_minor: int, *, because: str, by: Actor) -> None:
    """What was kept back of work that is done falls due with it: the facts it waited for can no longer come.

    Common practice, no source.
    """
    earning.changed(retainage, retainage.amount_minor - kept_minor, because=because, by=by)
    done = retainage.job.milestones.filter(retained_minor__gt=0, earned_on__isnull=False).order_by("-earned_on", "-position").first()
    if done is None:
        return
    retainage.triggers, retainage.needs_utility = done.triggers, done.needs_utility
    retainage.save(update_fields=["triggers", "needs_utility"])


def _ends(milestone: Milestone, kind: str) -> bool:
    """Whether it leaves the price: not earned, and for a dropped backup, resting on the backup."""
    if milestone.earned_on is not None or not milestone.amount_minor:
        return False
    # What was kept back of work that is done is still owed.
    if milestone.kind == MilestoneKind.RETAINAGE:
        return False
    return kind == ChangeKind.CANCELLED or milestone.needs_utility


def not_billed(job: Job) -> list[Milestone]:
    """Ours, and with no released invoice: what a change order may touch."""
    billed = Invoice.objects.released().filter(job=job, bills__isnull=False).values("bills")
    return list(job.milestones.ours().exclude(pk__in=billed).order_by("position"))


def _contract(job: Job) -> Contract:
    contract = Contract.objects.filter(job=job).first()
    if contract is None:
        raise Refused("This job has no contract and plan yet; set the plan first.")
    return contract


def _refuse_day(agreed_on: dt.date) -> None:
    if agreed_on > clock.office_today():
        raise Refused(f"{words.day(agreed_on)} has not come yet; wanted the day on which it was agreed.", field="agreed_on")


def _enter(job: Job, contract: Contract, amount_minor: int, *, agreed_on: dt.date, words: str, kind: str, by: Actor) -> ChangeOrder:
    before, after = contract.amount_minor, contract.amount_minor + amount_minor
    if after < 0:
        raise Refused(f"The price is {money.shown(before)}; it cannot fall by {money.shown(-amount_minor)}.", field="amount_minor")
    contract.amount_minor = after
    contract.save(update_fields=["amount_minor"])
    return ChangeOrder.objects.create(
        job=job,
        number=ChangeOrder.objects.filter(job=job).count() + 1,
        kind=kind,
        agreed_on=agreed_on,
        words=words.strip(),
        amount_minor=amount_minor,
        before_minor=before,
        after_minor=after,
        recorded_at=clock.now(),
        by_name=by.name,
    )


def _spread(job: Job, amount_minor: int, change: ChangeOrder, *, by: Actor) -> None:
    """Over the parts that are not invoiced, in proportion to what they are; a deposit stands, and the retainage follows its parts."""
    open_parts = not_billed(job)
    retainage = next((m for m in open_parts if m.kind == MilestoneKind.RETAINAGE), None)
    spread = [m for m in open_parts if m.kind not in (MilestoneKind.DEPOSIT, MilestoneKind.RETAINAGE)]
    rate = Agreement.objects.filter(job=job).values_list("retainage_millionths", flat=True).first() or 0
    # Where the retainage is invoiced already, nothing more is kept back.
    rate = rate if retainage is not None else 0
    whole = [m.amount_minor + (m.retained_minor if retainage else 0) for m in spread]
    total = sum(whole) + amount_minor
    if not spread or (not sum(whole) and amount_minor < 0) or total < 0:
        raise Refused(
            f"{money.shown(sum(whole))} is not invoiced and can change. A higher price can be a part of its own; "
            "for a lower one credit an invoice first.",
            field="amount_minor",
        )
    weights = whole if sum(whole) else [1] * len(spread)
    kept_before = sum(m.retained_minor for m in spread)
    because = str(change).lower()
    for milestone, amount in zip(spread, shares.apportion(total, weights), strict=True):
        if retainage is not None:
            milestone.retained_minor = retained(amount, rate)
            amount -= milestone.retained_minor
        earning.changed(milestone, amount, because=because, by=by)
    if retainage is not None:
        kept = sum(m.retained_minor for m in spread)
        earning.changed(retainage, retainage.amount_minor + kept - kept_before, because=because, by=by)


def _add(job: Job, amount_minor: int, part: Part, change: ChangeOrder) -> None:
    _refuse_triggers(part.triggers)
    last = job.milestones.order_by("-position").first()
    assert last is not None, "a contract has milestones"
    Milestone.objects.create(
        job=job,
        position=last.position + 1,
        name=part.name.strip() or str(change),
        kind=MilestoneKind.CHANGE,
        clause=part.clause.strip() or change.words,
        triggers=list(part.triggers),
        payer_triggers=list(part.payer_triggers),
        payer_name=part.payer_name,
        wants=list(part.wants),
        needs_utility=not AFTER_THE_UTILITY.isdisjoint(part.triggers),
        share_millionths=0,
        fixed=True,
        amount_minor=amount_minor,
        payer=part.payer or last.payer,
    )


def _refuse_triggers(triggers: Sequence[str]) -> None:
    if not triggers or any(name not in TRIGGERS for name in triggers):
        raise Refused(f"Say which facts earn the new part; any of: {', '.join(TRIGGERS)}.", field="triggers")
