"""Design papers of a home, revision by revision, and what of them differs from the equipment on record."""

from __future__ import annotations

import datetime as dt

from jobs.core import clock, drawn, facts, files, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.drawn import Differs, Equipment
from jobs.core.models import DesignDocument, Job
from jobs.core.refusals import Refused


@act(right="core.record_papers", on=Job)
def add_design(
    job: Job, *, kind: str, revision: str, dated_on: dt.date, name: str, data: bytes, shows: Equipment, by: Actor
) -> DesignDocument:
    """A revision of a design paper. The older ones stay: a request that was sent with one goes on referring to it."""
    if kind not in DesignDocument.Kind.values:
        raise Refused(f"“{kind}” is no design paper we know; wanted one of: {', '.join(DesignDocument.Kind.values)}.", field="kind")
    revision = "".join(revision.split()).upper()
    if not revision:
        raise Refused("Give the revision that stands on the paper; A for the first.", field="revision")
    if dated_on > clock.today_in(job.site.zone):
        raise Refused(f"{words.day(dated_on)} has not come yet; the day that stands on the paper is wanted.", field="dated_on")
    if DesignDocument.objects.filter(job=job, kind=kind, revision=revision).exists():
        raise Refused(
            f"Revision {revision} of the {kind} is on record already; a changed paper has a revision of its own.", field="revision"
        )
    document = files.add_document(job, name=name, data=data, subject=f"{kind}, revision {revision}", by=by)
    return DesignDocument.objects.create(
        job=job,
        kind=kind,
        revision=revision,
        dated_on=dated_on,
        document=document,
        shows=shows.kept(),
        recorded_at=clock.now(),
        recorded_by_name=by.name,
    )


def current(job: Job) -> list[DesignDocument]:
    """The newest revision of each paper."""
    newest = {design.kind: design for design in job.designs.select_related("document").order_by("dated_on", "pk")}
    return list(newest.values())


def on_record(job: Job) -> Equipment:
    registered = facts.of(job).latest(k.COLLAR_REGISTERED)
    battery = 0 if not job.has_battery else round(float(job.battery_kwh) * 1000) if job.battery_kwh is not None else None
    return Equipment(
        battery_wh=battery,
        inverter_w=job.inverter_w,
        pv=job.has_pv,
        service=job.service,
        collar_revision=str(registered.value.get("revision") or "") if registered else "",
    )


def differing(design: DesignDocument) -> list[Differs]:
    return drawn.differences(Equipment.from_kept(design.shows), on_record(design.job))
