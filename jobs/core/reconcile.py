"""What must hold among the core's records; each breach is a sentence."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from jobs.core import facts, files, lifecycle
from jobs.core import kinds as k
from jobs.core.crewform import PHOTOS
from jobs.core.models import Collar, ExpiringPaper, Fact, Job, PhonePart, StoredFile
from jobs.core.models.phone import Outcome
from jobs.core.states import S


def breaches() -> Iterator[str]:
    yield from _states()
    yield from _days()
    yield from _serials()
    yield from _collars()
    yield from _papers()
    yield from _files()
    yield from _phones()


def _states() -> Iterator[str]:
    within = lifecycle.limits()
    for job in Job.objects.select_related("site").prefetch_related("state_changes").iterator(chunk_size=500):
        says = lifecycle.cache_of(job, facts.of(job), within=within)
        for name in ("state", "state_since", "waiting_on", "waiting_since", "next_act", "next_role"):
            if getattr(job, name) != says[name]:
                yield f"Job {job.code}: {name} is {getattr(job, name)}, its facts say {says[name]}."
        was: str = S.IN_BUILD
        for change in job.state_changes.all():
            if change.was != was:
                yield f"Job {job.code}: a change begins at {change.was}, the one before ended at {was}."
            was = change.became
        if was != job.state:
            yield f"Job {job.code}: its history ends at {was}, its state is {job.state}."
        if says["waiting_on"] != "nobody" and not says["next_act"]:
            yield f"Job {job.code} is open and has no next act."


def _days() -> Iterator[str]:
    """The day by which facts are put in order is the day of what they say, at the home."""
    for fact in Fact.objects.select_related("job__site").iterator(chunk_size=500):
        if fact.kind not in facts.KINDS:
            yield f"Job {fact.job.code}: a fact is of the unknown kind {fact.kind}."
        said = facts.When(on=fact.happened_on, at=fact.happened_at, after=fact.after_on, by=fact.by_on)
        if said.at is None and said.on is None and said.by is None:
            yield f"Job {fact.job.code}: {fact.kind} does not say when it happened."
        elif said.day_at(fact.job.site.zone) != fact.day:
            yield f"Job {fact.job.code}: {fact.kind} happened on {said.day_at(fact.job.site.zone)} and is kept under {fact.day}."


def _serials() -> Iterator[str]:
    registered = Fact.objects.standing().of_kind(k.COLLAR_REGISTERED).exclude(job__state=S.CANCELLED).select_related("job")
    newest = {fact.job.code: str(fact.value["serial"]) for fact in registered.order_by("day", "pk")}
    for serial, count in Counter(newest.values()).items():
        if count > 1:
            holders = sorted(code for code, held in newest.items() if held == serial)
            yield f"Serial {serial} is held by {count} jobs: {', '.join(holders)}."


def _collars() -> Iterator[str]:
    """Each home's collar is the serial that its facts name, each is where its newest move says, and none that is barred hangs at a home."""
    registered = Fact.objects.standing().of_kind(k.COLLAR_REGISTERED).select_related("job").order_by("day", "pk")
    newest = {fact.job_id: (fact.job, str(fact.value["serial"])) for fact in registered}
    held: dict[int, str] = {}
    for collar in Collar.objects.select_related("job").prefetch_related("moves").iterator(chunk_size=500):
        moves = list(collar.moves.all())
        if not moves or (collar.place, collar.where) != (moves[-1].place, moves[-1].where):
            yield f"Collar {collar.serial}: it is kept as {collar.place}, its newest move says {moves[-1].place if moves else 'nothing'}."
        if collar.job_id is not None:
            held[collar.job_id] = collar.serial
            if collar.barred_on is not None:
                yield f"Collar {collar.serial} is barred and belongs to job {collar.job}."
    for job, serial in newest.values():
        # A cancelled home's collar may hang at another one by now.
        if held.get(job.pk) != serial and job.state != S.CANCELLED:
            yield f"Job {job.code}: its facts name collar {serial}, custody {held.get(job.pk, 'none')}."


def _papers() -> Iterator[str]:
    for paper in ExpiringPaper.objects.select_related("job").prefetch_related("extensions").iterator(chunk_size=500):
        days = [paper.first_expires_on, *(extension.expires_on for extension in paper.extensions.all())]
        if days != sorted(days) or paper.expires_on != days[-1]:
            yield f"Job {paper.job.code}: {paper} is kept until {paper.expires_on}, its extensions say {days[-1]}."


def _files() -> Iterator[str]:
    for file in StoredFile.objects.iterator():
        if not files.path_of(file.sha256).exists():
            yield f"File {file.sha256[:12]} is on record and not on disk."


def _phones() -> Iterator[str]:
    """Each sending of a phone that was recorded has its fact, and each fact that came from a phone its sending."""
    rows = PhonePart.objects.select_related("job", "fact")
    for row in rows.filter(outcome=Outcome.RECORDED).exclude(part=PHOTOS):
        if row.fact is None or row.fact.job_id != row.job_id or row.fact.source_key != f"{row.key}/{row.fact.kind}":
            yield f"Job {row.job.code}: what a phone sent as {row.part} is said to be recorded, and its fact is another or none."
    for row in rows.filter(outcome__in=(Outcome.WAITING, Outcome.DROPPED), fact__isnull=False):
        yield f"Job {row.job.code}: what a phone sent as {row.part} was not chosen, and a fact is named as its own."
    keys = set(rows.values_list("key", flat=True))
    for code, key in Fact.objects.filter(source="phone").values_list("job__code", "source_key"):
        if str(key).rpartition("/")[0] not in keys:
            yield f"Job {code}: a fact came from a phone, and no sending is kept of it."
