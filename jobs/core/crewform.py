"""The crew's long form of day one: its parts in the order of the work, and what a phone has seen of the record.

The parts are the recordings of the office; a phone fills in the same fields, and the same acts record them.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.datastructures import MultiValueDict

from jobs.core import crew_es, words
from jobs.core import kinds as k
from jobs.core.models import Fact, Job
from jobs.core.record_forms import RecordForm
from jobs.core.recordings import RECORDINGS, Recording
from jobs.core.states import S

PHOTOS = "photos"
SEAL_FIRST = "Answer first, in the first part, how the utility's seal looks: it is asked on every visit."


@dataclass(frozen=True)
class Part:
    name: str  # of its recording
    kind: str = ""  # of the fact that it records; photos record none
    replaces: bool = False  # filled in anew, it takes the place of what was recorded; else both stand, each an observation of its own
    of_the_cts: bool = False  # what is right depends on the service and on what the home has

    @property
    def spec(self) -> Recording:
        return RECORDINGS[self.name]

    def is_of(self, job: Job) -> bool:
        return (job.has_battery or not self.spec.battery_only) and (job.has_pv or not self.spec.pv_only)


PARTS = (
    Part("seal", k.SEAL_SEEN),
    Part("survey", k.SURVEYED, replaces=True),
    Part("installed", k.INSTALLED, replaces=True),
    Part("cts-fitted", k.CTS_FITTED, replaces=True, of_the_cts=True),
    Part("ct-check", k.CT_CHECK, of_the_cts=True),
    Part("pv-check", k.PV_CHECK, of_the_cts=True),
    Part("meter-timed", k.METER_TIMED, of_the_cts=True),
    Part("commissioned", k.COMMISSIONED, replaces=True),
    Part("collar-registered", k.COLLAR_REGISTERED),
    Part("collar-staged", k.COLLAR_STAGED),
    Part(PHOTOS),
    Part("sheet-given", k.SHEET_GIVEN, replaces=True),
)
BY_NAME = {part.name: part for part in PARTS}


def parts_of(job: Job) -> list[Part]:
    return [part for part in PARTS if part.is_of(job)]


def newest(job: Job, part: Part) -> Fact | None:
    """What stands on record of a part: the record made last."""
    return job.facts.standing().of_kind(part.kind).order_by("pk").last() if part.kind else None


@dataclass(frozen=True)
class Seen:
    """What a phone saw of the record when its part was begun. It travels with the part, however long the phone keeps it."""

    fact: str  # the uid of what stood on record, or nothing
    service: str
    has_battery: bool
    has_pv: bool
    cancelled: bool

    @classmethod
    def of(cls, job: Job, fact: Fact | None) -> Seen:
        return cls(str(fact.uid) if fact else "", job.service, job.has_battery, job.has_pv, job.state == S.CANCELLED)

    def text(self) -> str:
        return "|".join([self.fact, self.service, *("yes" if one else "no" for one in (self.has_battery, self.has_pv, self.cancelled))])

    @classmethod
    def read(cls, text: str) -> Seen | None:
        """None where it does not come from a page of ours as it stands."""
        parts = text.split("|")
        if len(parts) != 5 or not set(parts[2:]) <= {"yes", "no"}:
            return None
        return cls(parts[0], parts[1], *(one == "yes" for one in parts[2:]))


def changed_since(seen: Seen | None, now: Seen, *, part: Part, fact: Fact | None) -> list[str]:
    """What was changed since the phone began this part, in sentences; nothing if it may be recorded as it is."""
    if seen is None:
        return ["What the phone saw of the record when this was begun is not known."] if fact else []
    found = []
    if seen.fact != now.fact and part.kind:
        found.append(
            f"Recorded meanwhile by {fact.recorded_by_name}, for {words.day(fact.day)}." if fact else "What stood on record was taken back."
        )
    if part.of_the_cts and seen.service != now.service:
        found.append(f"The service was changed from {seen.service} V to {now.service} V.")
    if part.of_the_cts and (seen.has_battery, seen.has_pv) != (now.has_battery, now.has_pv):
        found.append("What the home has, battery and PV, was changed.")
    if now.cancelled and not seen.cancelled:
        found.append("The job was cancelled.")
    return found


def form_of(
    part: Part, job: Job, data: QueryDict | None = None, uploads: MultiValueDict[str, Any] | None = None, *, lang: words.Lang = "en"
) -> RecordForm:
    """The part's form. The seal is answered once, in a part of its own; the others carry that answer on."""
    if data is not None:
        data = data.copy()
    form = part.spec.form(data, uploads, job=job, lang=lang, auto_id=f"{part.name}_%s")
    del form.fields["key"]  # the phone's key travels beside the contents
    if part.name != "seal" and "seal" in form.fields:
        field = form.fields["seal"]
        field.widget = field.hidden_widget()
        field.error_messages["required"] = SEAL_FIRST
        if data is not None:
            data["seal"] = _seal_of_the_day(form, job)
    if lang == "es":
        _in_spanish(form)
    return form


def _in_spanish(form: RecordForm) -> None:
    """Labels, hints and choices; before any of them is shown, for a shown field keeps its label."""
    for field in form.fields.values():
        field.label, field.help_text = crew_es.said(str(field.label or "")), crew_es.said(str(field.help_text))
        if isinstance(field, forms.ChoiceField):
            pairs = cast("list[tuple[Any, Any]]", list(field.choices))  # type: ignore[arg-type]  # a list by now, which the stubs do not know
            field.choices = [(value, crew_es.said(str(said))) for value, said in pairs]
        if "data-taps" in field.widget.attrs:
            field.widget.attrs["data-taps"] = crew_es.said(field.widget.attrs["data-taps"])
            field.widget.attrs["data-tapped"] = "{taps} toques, {seconds} s. Vacíe el campo para empezar de nuevo."


def _seal_of_the_day(form: RecordForm, job: Job) -> str:
    """As the seal was answered on the part's own day. Where that day cannot be read, its own sentence is enough."""
    try:
        day = form.fields["on"].clean(form.data.get("on"))
    except ValidationError:
        day = None
    facts_of_seal = job.facts.standing().of_kind(k.SEAL_SEEN)
    seen = (facts_of_seal.filter(day=day) if isinstance(day, dt.date) else facts_of_seal).order_by("pk").last()
    return str(seen.value["state"]) if seen else ""


# What travels beside the contents; and the seal, which in other parts is the record's and not typed.
BESIDE = ("csrfmiddlewaretoken", "key", "seen", "filled_at", "seal")
MOST_FIELDS = 100


def as_typed(posted: QueryDict) -> dict[str, list[str]]:
    """What was typed, for keeping: as it came, whatever the form asks by now, so that the same sending stays the same."""
    names = [name for name in posted if name not in BESIDE and "\0" not in "".join([name, *posted.getlist(name)])]
    return {name: posted.getlist(name) for name in names[:MOST_FIELDS]}


def typed_again(contents: dict[str, list[str]]) -> QueryDict:
    data = QueryDict(mutable=True)
    for name, values in contents.items():
        data.setlist(name, values)
    return data


def in_words(form: RecordForm) -> list[tuple[str, str]]:
    """What a filled-in form says, label by label; choices in their words."""
    found = []
    for bound in form.visible_fields():
        typed = [str(one) for one in form.data.getlist(bound.name)] if isinstance(form.data, QueryDict) else []
        choices = {str(value): str(said) for value, said in getattr(bound.field, "choices", [])}
        said = [choices.get(one, one) for one in typed if one.strip()]
        if said:
            found.append((str(bound.label), ", ".join(said)))
    return found


def on_record(fact: Fact, form: RecordForm) -> list[tuple[str, str]]:
    """What a fact says, under the same labels as the form where it says the same things."""
    found = [("Day at the home" if form.lang == "en" else "Día en la casa", words.day_short(fact.day, today=dt.date.min))]
    for name, value in fact.value.items():
        if name == "photo":  # the name under which it is kept tells nobody anything
            found.append((_label(form, name), "guardada" if form.lang == "es" else "kept"))
        elif isinstance(value, str | int) and value != "":
            found.append((_label(form, name), _said(form, name, value)))
    return found


def _label(form: RecordForm, name: str) -> str:
    field = form.fields.get(name)
    label = str(field.label) if field and field.label else name.replace("_", " ")
    return label[:1].upper() + label[1:]


def _said(form: RecordForm, name: str, value: str | int) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    choices: Iterable[tuple[object, object]] = getattr(form.fields.get(name), "choices", [])
    return {str(one): str(said) for one, said in choices}.get(str(value), str(value))
