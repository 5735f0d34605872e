"""What the crew's long form shows of each part: its fields in the crew's language, what is on record, what waits for a choice."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field

from django.urls import reverse
from django.utils.http import urlencode

from jobs.core import crew_es, crewform, facts, sitephotos, verdicts_es
from jobs.core import kinds as k
from jobs.core.crewform import PHOTOS, Part, Seen
from jobs.core.models import Document, Fact, Job, PhonePart, User
from jobs.core.record_forms import RecordForm
from jobs.core.states import S, state_of
from jobs.core.words import Lang

ONCE = ("live_conductors", "seals")  # stand at the first part, for all the others too


@dataclass(frozen=True)
class Verdict:
    """What was computed from readings, in the crew's language; in English where a sentence has no Spanish."""

    words: str
    cause: str
    next_test: str
    lang: Lang


@dataclass(frozen=True)
class OnRecord:
    fact: Fact
    says: list[tuple[str, str]]
    verdict: Verdict | None


@dataclass(frozen=True)
class Shown:
    part: Part
    number: int
    job: Job
    form: RecordForm
    lang: Lang
    key: str
    seen: str
    records: list[OnRecord]
    waiting: list[PhonePart]
    photos: list[Document]
    cautions: list[str] = field(default_factory=list)
    said: str = ""  # what became of the sending that this answers

    @property
    def id(self) -> str:
        return f"part-{self.part.name}"

    @property
    def url(self) -> str:
        return f"{reverse('crew_part', kwargs={'code': self.job.code, 'name': self.part.name})}?{urlencode({'lang': self.lang})}"

    @property
    def each_photo_goes_alone(self) -> bool:
        return self.part.name == PHOTOS

    @property
    def is_check(self) -> bool:
        return self.part.kind == k.CT_CHECK


def shown(job: Job, part: Part, *, user: User, lang: Lang, form: RecordForm | None = None, said: str = "") -> Shown:
    form = form or crewform.form_of(part, job, lang=lang)
    known = list(job.facts.standing().of_kind(part.kind).order_by("day", "pk")) if part.kind else []
    newest = max(known, key=lambda fact: fact.pk, default=None)
    records = [OnRecord(fact, crewform.on_record(fact, form), verdict_of(fact, lang)) for fact in known]
    parts = crewform.parts_of(job)
    place = parts.index(part) if part in parts else len(parts)
    if lang == "es":
        refused_in_spanish(form)
        records = [OnRecord(one.fact, [(crew_es.said(a), crew_es.said(b)) for a, b in one.says], one.verdict) for one in records]
    subjects = list(sitephotos.SUBJECTS.values())
    return Shown(
        part=part,
        number=place + 1,
        job=job,
        form=form,
        lang=lang,
        key=str(uuid.uuid4()),
        seen=Seen.of(job, newest).text(),
        records=records,
        waiting=list(PhonePart.objects.waiting().filter(job=job, part=part.name)),
        photos=list(job.documents.filter(subject__in=subjects).order_by("pk")) if part.name == PHOTOS else [],
        cautions=[name for name in part.spec.cautions if place == 0 or name not in ONCE],
        said=said,
    )


def verdict_of(fact: Fact, lang: Lang) -> Verdict | None:
    verdict = fact.value.get("verdict")
    if verdict is None:
        return None
    cause, next_test = str(fact.value.get("cause", "")), str(fact.value.get("next_test", ""))
    if lang == "es":
        told = [verdicts_es.in_spanish(one) if one else "" for one in (cause, next_test)]
        if told[0] is not None and told[1] is not None:
            return Verdict(crew_es.said(str(verdict)), told[0], told[1], "es")
        return Verdict(crew_es.said(str(verdict)), cause, next_test, "en")
    return Verdict(str(verdict), cause, next_test, "en")


def missing(job: Job, *, lang: Lang) -> str:
    """What the crew still owes before the home is grid-tied complete, as one sentence; nothing once it is."""
    state = state_of(facts.of(job), job.home_kind)
    if state.state != S.IN_BUILD:
        return ""
    needs = [need.words for need in state.missing]
    if lang == "es":
        return f"Antes de que la casa quede completa conectada a la red falta: {_apart([crew_es.said(one) for one in needs], last='y')}."
    return f"Before the home is grid-tied complete, this is missing: {_apart(needs, last='and')}."


def _apart(needs: list[str], *, last: str) -> str:
    """Things that have commas of their own: "the date; the serial, registered; and the sheet"."""
    return f"; {last} ".join(["; ".join(needs[:-1]), needs[-1]]) if len(needs) > 1 else "".join(needs)


def refused_in_spanish(form: RecordForm) -> None:
    """What was refused, said in Spanish; the labels are already."""
    for name, errors in form.errors.items() if form.is_bound else ():
        form.errors[name] = form.error_class([crew_es.said(str(one)) for one in errors], renderer=form.renderer)
