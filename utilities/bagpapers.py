"""What the tag of a bag and hand-over sheet one say of a home: its own facts, as plain values for the papers."""

from __future__ import annotations

from django.conf import settings
from django.urls import reverse

from jobs.core import clock, codes, custody, facts, files, phones, rules, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.dayone import SHEET_SUBJECT
from jobs.core.models import BagTag, Document, Job
from jobs.core.models.people import Language
from jobs.core.papers import bagtag, handover, qr
from jobs.core.papers.bagtag import Tag
from jobs.core.papers.handover import Handover
from jobs.core.refusals import Refused
from utilities import said, services
from utilities.models import Forecast, Outcome, Utility
from utilities.terms import UTILITY_ONLY


def tag_of(tag: BagTag) -> Tag:
    """What is printed on a tag just made; its token is known now only."""
    job = tag.job
    service = services.service_of(job)
    request = job.fit_requests.exclude(outcome=Outcome.VOID).order_by("-filed_on", "-pk").first()
    return Tag(
        company=rules.text("company_name"),
        phone=_phone(rules.text("company_phone")),
        address=qr.written(settings.BASE_URL, reverse("tag_page", args=[tag.token])),
        code=codes.on_tag(job.code),
        request=(request.utility_reference or request.code) if request else "",
        meter=service.meter_number if service else "",
        unit=job.site.unit,
    )


def printed(tag: BagTag, *, two: bool) -> bytes:
    told = tag_of(tag)
    return bagtag.two_on_letter(told) if two else bagtag.tag(told)


@act(right="core.record_day_one", on=Job)
def keep_sheet(job: Job, *, language: str, by: Actor) -> Document:
    """Make hand-over sheet one from the home's facts of today, and keep the copy: what is handed over is what was kept."""
    if language not in Language.values:
        raise Refused("The sheet is there in English and Spanish; choose one of them.", field="language")
    data = handover.handover(sheet_of(job, language=language))
    # Said to a person outside: kept for good, and judged by what happened.
    if (row := said.of_homes([job.pk]).get(job.pk)) is not None:
        Forecast.objects.filter(pk=row.pk).update(quoted=True)
    named = Language(language).label
    return files.add_document(job, name=f"hand-over-one-{job.code}-{language}.pdf", data=data, subject=f"{SHEET_SUBJECT}, {named}", by=by)


def sheet_of(job: Job, *, language: str) -> Handover:
    lang: words.Lang = "es" if language == "es" else "en"
    known, utility = facts.of(job), services.utility_of(job)
    staged = known.latest(k.COLLAR_STAGED)
    today = clock.today_in(job.site.zone)
    home = words.day_long_home(today, lang=lang)
    return Handover(
        lang=lang,
        company=rules.text("company_name"),
        phone=_phone(rules.text("company_phone")),
        job=job.code,
        home=job.site.line,
        given_on=f"{home} de {today.year}" if lang == "es" else f"{home}, {today.year}",
        utility=utility.name if utility else "",
        utility_phone=phones.shown(utility.emergency_phone) if utility and utility.emergency_phone else "",
        who_may_fit=_others_who_may_fit(utility),
        bag=str(staged.value.get("place") or "") if staged is not None and custody.hangs(known) else "",
        has_battery=job.has_battery,
        permitted=bool(known.of(k.PERMISSION_TO_OPERATE)),
        days=_days(job, lang),
    )


def _others_who_may_fit(utility: Utility | None) -> str:
    told = services.terms_now(utility).who_may_fit if utility else UTILITY_ONLY
    return "" if told == UTILITY_ONLY else told


def _days(job: Job, lang: words.Lang) -> str:
    """How long it takes there, with its range; nothing where no forecast is stored."""
    row = said.of_homes([job.pk]).get(job.pk)
    if row is None:
        return ""
    shown = said.shown(row)
    half, nine = shown.q50, shown.q90
    if half is None or nine is None or said.is_far(nine, as_of=shown.as_of):
        return ""
    first, last = (words.day_long_home(day, lang=lang).partition(", " if lang == "en" else " ")[2] for day in (half, nine))
    if lang == "es":
        return f"a la mitad de las casas les llega antes del {first} de {half.year}, y a nueve de cada diez antes del {last} de {nine.year}"
    return f"half of such homes have it by {first}, {half.year}, nine in ten by {last}, {nine.year}"


def _phone(typed: str) -> str:
    try:
        return phones.shown(phones.e164(typed).number) if typed else ""
    except ValueError:
        return typed
