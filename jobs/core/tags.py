"""Bag tags and what is told by them: a token of its own on each, and proposals for the office, never facts.

The token stands on the paper only. Sixteen letters drawn from 29 are 77 bits: not to be guessed, so a wrong one is simply unknown.
"""

from __future__ import annotations

import datetime as dt
import hashlib

from jobs.core import clock, codes, facts
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.models import BagReport, BagTag, Job, SignedLink
from jobs.core.refusals import Refused

LENGTH = 16
MOST_AN_HOUR, MOST_A_DAY = 4, 10  # reports by one tag; a crew that comes needs one


def hash_of(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


@act(right="core.record_custody", on=Job)
def make_tag(job: Job, *, by: Actor, end_older: bool = False) -> BagTag:
    """A new tag for this home's collar; its `token` is known now and never again.

    end_older: the tags printed before open nothing any more; else one that hangs already goes on.
    """
    serial = facts.of(job).serial
    if not serial:
        raise Refused("No collar is registered for this home yet; register the serial first, then print its tag.")
    if end_older:
        BagTag.objects.filter(job=job, ended_at__isnull=True).update(ended_at=clock.now(), ended_why="a newer tag was printed")
    source = codes.source()
    token = "".join(source.choice(codes.ALPHABET) for _ in range(LENGTH))
    tag = BagTag.objects.create(job=job, token_hash=hash_of(token), serial=serial, made_at=clock.now(), made_by_name=by.name)
    tag.token = token
    return tag


def opened(token: str) -> BagTag | None:
    """The tag of a token as it was typed or scanned; None where it is none of ours."""
    return BagTag.objects.filter(token_hash=hash_of(token.upper())).select_related("job__site").first()


@act(right="core.tell_by_tag", on=BagTag)
def tell(tag: BagTag, *, what: str, by: Actor, order_number: str = "") -> BagReport:
    """Whoever stands at the bag tells what they found. Told again while it waits, it is the same report."""
    if tag.ended_at is not None:
        raise Refused("This tag is out of use. Please telephone the number printed on it.")
    if what not in BagReport.What.values:
        raise Refused("Please choose what you found.", field="what")
    waiting = BagReport.objects.waiting().filter(job=tag.job, told_by=BagReport.From.TAG, what=what).first()
    if waiting is not None:
        return waiting
    now = clock.now()
    lately = BagReport.objects.filter(tag=tag)
    hour, day = (lately.filter(told_at__gt=now - dt.timedelta(hours=hours)).count() for hours in (1, 24))
    if hour >= MOST_AN_HOUR or day >= MOST_A_DAY:
        raise Refused("This tag has told us several things today already. Please telephone the number printed on it.")
    return BagReport.objects.create(
        job=tag.job, tag=tag, told_by=BagReport.From.TAG, what=what, order_number=order_number.strip()[:40], told_at=now
    )


def told_from_home(link: SignedLink) -> BagReport:
    """The person at home does not see the bag. Called inside an act."""
    report, _ = BagReport.objects.get_or_create(
        job=link.job,
        told_by=BagReport.From.HOME,
        what=BagReport.What.NOT_FOUND,
        settled_at=None,
        defaults={"told_at": clock.now()},
    )
    return report


@act(right="core.record_requests", on=BagReport)
def settle_report(report: BagReport, *, how: str, by: Actor) -> BagReport:
    """Somebody of the office has judged a report: recorded what it says, or set it aside."""
    if report.settled_at is not None:
        raise Refused(f"{report.settled_by_name} has settled this report meanwhile: {report.settled_how}.")
    if not how.strip():
        raise Refused("Say what was done with it: recorded as a visit, or set aside and why.", field="how")
    report.settled_at, report.settled_how, report.settled_by_name = clock.now(), how.strip(), by.name
    report.save(update_fields=["settled_at", "settled_how", "settled_by_name"])
    return report
