"""Acts of the crew's phone form: a part sent with a key made on the phone, and the choice between two versions."""

from __future__ import annotations

import dataclasses
import datetime as dt
from typing import Any

from django.db import transaction

from jobs.core import acts, clock, crewform, files, homefacts
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.crewform import Part, Seen
from jobs.core.dayone import Photo
from jobs.core.models import Fact, Job, PhonePart
from jobs.core.models.phone import Outcome
from jobs.core.refusals import NotAllowed, Refused

OTHER_CONTENTS = "This was sent before with other contents; nothing was recorded this time. Open the page anew."


@dataclasses.dataclass(frozen=True)
class Sending:
    """What travels with a part: its key, what the phone had seen of the record, the contents as typed, and when it was filled in."""

    part: str
    key: str
    seen: str
    contents: dict[str, list[str]]
    photos: dict[str, Photo] = dataclasses.field(default_factory=dict)
    filled_at: dt.datetime | None = None


def honoured(job: Job, sending: Sending) -> PhonePart | None:
    """The row of a key that came before: its answer is given again, and nothing is done twice."""
    row = PhonePart.objects.select_related("job").filter(key=sending.key).first()
    if row is not None and (row.job_id, row.part, row.contents) != (job.pk, sending.part, sending.contents):
        raise Refused(OTHER_CONTENTS)
    return row


@act(right="core.record_day_one", on=Job)
def receive(job: Job, *, sending: Sending, given: dict[str, Any], by: Actor) -> PhonePart:
    """Record a part by its own act, once for its key; or keep it beside what was recorded meanwhile, until a person chooses.

    given: what the part's act takes. A part that says what is on record already records nothing more.
    """
    part = crewform.BY_NAME[sending.part]
    if (row := honoured(job, sending)) is not None:
        return row
    on_record = crewform.newest(job, part)
    now = Seen.of(job, on_record)
    changed = crewform.changed_since(Seen.read(sending.seen), now, part=part, fact=on_record)
    if not changed and on_record is not None and part.replaces:
        try:
            homefacts.refuse_correction(on_record, by=by)
        except (Refused, NotAllowed) as refusal:
            changed = [str(refusal)]
    outcome, fact = Outcome.RECORDED, None
    if on_record is not None and (changed or part.replaces) and _says_the_same(_on_trial(job, part, given, sending.key, by), on_record):
        outcome, fact = Outcome.SAME, on_record
    elif changed:
        _on_trial(job, part, given, sending.key, by)  # a version that could never be recorded is refused now, not when it is chosen
        outcome = Outcome.WAITING
    else:
        fact = _record(job, part, given, sending.key, by, instead_of=on_record)
    return PhonePart.objects.create(
        job=job,
        part=part.name,
        key=sending.key,
        contents=sending.contents,
        photos=_kept(sending.photos) if outcome == Outcome.WAITING else [],
        changed=changed,
        outcome=outcome,
        fact=fact,
        filled_at=sending.filled_at,
        received_at=clock.now(),
        sent_by=by.user,
        sent_by_name=by.name,
    )


@act(right="core.record_day_one", on=PhonePart)
def choose(row: PhonePart, *, phones: bool, given: dict[str, Any] | None = None, by: Actor) -> PhonePart:
    """A person chooses between two versions: the phone's is recorded now, or what is on record stays and the phone's is put aside."""
    if row.outcome != Outcome.WAITING:
        raise Refused(f"{row.chosen_by_name or 'Somebody'} has chosen meanwhile; nothing was changed.")
    if phones:
        part = crewform.BY_NAME[row.part]
        assert given is not None
        row.fact = _record(row.job, part, given, row.key, by, instead_of=crewform.newest(row.job, part))
    row.outcome = Outcome.RECORDED if phones else Outcome.DROPPED
    row.chosen_by_name, row.chosen_at = by.name, clock.now()
    row.save(update_fields=["fact", "outcome", "chosen_by_name", "chosen_at"])
    return row


def _record(job: Job, part: Part, given: dict[str, Any], key: str, by: Actor, *, instead_of: Fact | None = None) -> Fact | None:
    phone = dataclasses.replace(by, source="phone", sending=key)
    made = acts.steps(part.spec.act, by=phone)(job, **given, by=phone)
    if instead_of is not None and part.replaces:
        # After the new one: the home is never a step further back in between.
        acts.steps(homefacts.correct, by=by)(instead_of, withdraw=True, reason="filled in anew on the phone", by=by)
    return made if isinstance(made, Fact) else None


class _TakenBack(Exception):
    pass


def _on_trial(job: Job, part: Part, given: dict[str, Any], key: str, by: Actor) -> Fact | None:
    """What would be recorded; nothing of it stays. On a job of its own: an act changes the one that it is given."""
    made = None
    try:
        with transaction.atomic():
            made = _record(Job.objects.select_related("site").get(pk=job.pk), part, given, key, by)
            raise _TakenBack
    except _TakenBack:
        return made


def _says_the_same(one: Fact | None, other: Fact) -> bool:
    def says(fact: Fact) -> tuple[object, ...]:
        # A photo has a name of its own each time it is sent.
        return fact.kind, fact.day, {name: value for name, value in fact.value.items() if name != "photo" and value != ""}

    return one is not None and says(one) == says(other)


def _kept(photos: dict[str, Photo]) -> list[dict[str, str]]:
    """The photos of a version that waits: kept as all photos are, and not yet among the home's documents."""
    return [{"field": name, "name": photo.name, "sha256": files.keep(photo.name, photo.data)[0].sha256} for name, photo in photos.items()]
