"""What we ask of the people of a home: a photo of the bag, a paper. A person of the office asks, reads the text and releases it."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

from django.conf import settings
from django.db.models import Exists, OuterRef, QuerySet, Subquery
from django.urls import reverse

from jobs.core import actors, clock, custody, facts, links, rules, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.followups import Settled
from jobs.core.models import Collar, Fact, Job, Place, SignedLink
from jobs.core.refusals import Refused
from jobs.core.states import Facts, S
from jobs.notices import kinds, outbox
from jobs.notices.kinds import NoticeKind
from jobs.notices.models import Message

PHOTO, PAPER = "bag_photo", "paper_needed"
# What a home may be asked for, as the office chooses it: English and Spanish.
PAPERS: Final[dict[str, tuple[str, str]]] = {
    "signature": ("your signature on the utility's form", "su firma en el formulario de la compañía eléctrica"),
    "bill": ("a recent electric bill, all its pages", "un recibo de luz reciente, con todas sus páginas"),
    "account number": ("the number of your account at the utility", "el número de su cuenta en la compañía eléctrica"),
    "insurance": ("the proof of your home's insurance", "el comprobante del seguro de su casa"),
    "permission": ("the owner's written permission for the work", "el permiso escrito del dueño para el trabajo"),
}
AWAITS_THE_COLLAR = (S.IN_BUILD, S.GRID_TIED, S.AWAITING_UTILITY)
# After a visit that came to nothing somebody has been at the meter: is the bag still there? What the crew did not find is no question.
MISSED = ("could not get in", "nobody home", "not the right crew or equipment", "cancelled by utility", "unknown")


@act(right="core.release_notices", on=Job)
def ask_for_photo(job: Job, *, by: Actor) -> list[Message]:
    """Ask the person at home for a picture of the bag with the collar. Nothing leaves before it is released."""
    if place_of_bag(facts.of(job), job.state) is None:
        raise Refused("No bag with a collar hangs at this home, so there is nothing to photograph.")
    return owe_photo(job, cause=f"bag photo {_today(job)}", by=by)


@act(right="core.release_notices", on=Job)
def ask_for_paper(job: Job, *, paper: str, by: Actor, by_on: dt.date | None = None) -> list[Message]:
    """Ask the account holder for a paper. by_on: the day until which it is wanted, at the home."""
    if paper not in PAPERS:
        raise Refused(f"“{paper}” is no paper that we ask for; wanted one of: {', '.join(PAPERS)}.", field="paper")
    if by_on is not None and by_on < _today(job):
        raise Refused("The day by which it is wanted has passed; give a later one, or none.", field="by_on")
    about = {"paper": paper, "by_on": by_on.isoformat() if by_on else ""}
    return _ask(job, PAPER, cause=f"paper {paper} {_today(job)}", about=about, by=by)


def owe_photo(job: Job, *, cause: str, by: Actor) -> list[Message]:
    """Owe the message, and make each one's link to the page that takes the picture. The caller holds the job's lock."""
    owed = _ask(job, PHOTO, cause=cause, about={}, by=by)
    for message in owed:
        if message.person is not None:
            links.make(PHOTO, job=job, person=message.person)
    return owed


def follow(settled: Settled) -> None:
    """After each missed visit the bag is asked about."""
    for fact in settled.new:
        if fact.kind != k.VISIT or fact.withdrawn or fact.replaces_id is not None or fact.value.get("outcome") not in MISSED:
            continue
        if place_of_bag(settled.facts, settled.state.state) is not None and not settled.quiet:
            owe_photo(settled.job, cause=f"bag photo visit {fact.uid}", by=settled.by)


def due_by_rhythm() -> QuerySet[Job]:
    """Homes whose bag nobody has seen or asked about for the days of the rule, the longest unseen first."""
    long_ago = clock.office_today() - dt.timedelta(days=rules.number("bag_photo_days"))
    seen = Fact.objects.standing().filter(job=OuterRef("pk"), kind__in=(k.COLLAR_STAGED, k.BAG_SEEN)).order_by("-day").values("day")[:1]
    asked = Message.objects.filter(job=OuterRef("pk"), kind=PHOTO, created_at__date__gt=long_ago)
    staged = Collar.objects.filter(place=Place.SITE, job__state__in=AWAITS_THE_COLLAR).values("job")
    found = Job.objects.filter(pk__in=staged).annotate(seen_on=Subquery(seen))
    return found.filter(seen_on__lte=long_ago).exclude(Exists(asked)).order_by("seen_on", "pk")


def ask_by_rhythm(*, most: int = 500) -> int:
    """Owe the messages that are due; they wait for release, unless the manager lets the kind leave by itself. May run twice."""
    by, asked = actors.rule("bag photo"), 0
    for job in due_by_rhythm()[:most]:
        try:
            asked += bool(ask_for_photo(job, by=by))
        except Refused:
            continue  # asked by a person meanwhile, or the bag is gone: nothing is due
    return asked


def _ask(job: Job, kind: str, *, cause: str, about: dict[str, Any], by: Actor) -> list[Message]:
    if job.state == S.CANCELLED:
        raise Refused("The contract of this home was cancelled; nothing is asked of its people.")
    if Message.objects.filter(job=job, kind=kind, cause=cause).exists():
        raise Refused("They were asked for this today already; the message stands on the job's page.")
    return outbox.owe(kind, job=job, cause=cause, about=about, by=by)


def _today(job: Job) -> dt.date:
    return clock.today_in(job.site.zone)


def place_of_bag(known: Facts, state: str) -> str | None:
    """Where the bag with the collar hangs, as the crew wrote it ("" where it did not); None where none hangs."""
    staged = known.latest(k.COLLAR_STAGED)
    if staged is None or not custody.hangs(known) or state not in AWAITS_THE_COLLAR:
        return None
    return str(staged.value.get("place") or "")


def _photo_context(message: Message) -> dict[str, Any]:
    signed = SignedLink.objects.filter(purpose=PHOTO, job=message.job, person=message.person, about="").first() if message.person else None
    return {"link": settings.BASE_URL + reverse("bag_photo", args=[links.token_of(signed)]) if signed else ""}


def _photo_due(message: Message) -> str | None:
    if message.job is None or place_of_bag(facts.of(message.job), message.job.state) is None:
        return "The collar hangs in its bag no more."
    return None


def _paper_context(message: Message) -> dict[str, Any]:
    spanish = message.language == "es"
    by_on = message.about.get("by_on") or ""
    return {
        "paper": PAPERS[message.about["paper"]][spanish],
        "by_on": words.day_long_home(dt.date.fromisoformat(by_on), lang="es" if spanish else "en") if by_on else "",
    }


def _paper_due(message: Message) -> str | None:
    return "The contract was cancelled." if message.job is None or message.job.state == S.CANCELLED else None


def register() -> None:
    kinds.register(
        NoticeKind(
            name=PHOTO,
            words="photo of the bag, please",
            to=("at_home",),
            context=_photo_context,
            still_due=_photo_due,
            may_go_by_itself=True,
            required=("bag_photo",),
            by_text=True,
            required_in_text=("bag_photo",),
        )
    )
    kinds.register(
        NoticeKind(
            name=PAPER,
            words="paper needed",
            to=("account_holder",),
            context=_paper_context,
            still_due=_paper_due,
            by_text=True,
        )
    )
