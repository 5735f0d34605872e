"""Photos of day one by subject, taken before the crew leaves: what is missing then cannot be photographed from the office."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from jobs.core import files
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.dayone import Photo
from jobs.core.models import Document, Job
from jobs.core.refusals import Refused

# Field: subject, as the documents of a job name it. The bag where it hangs belongs to staging, which asks for it itself.
SUBJECTS = {
    "meter": "meter and socket, closed",
    "panel": "main panel",
    "inverter": "inverter",
    "battery": "battery",
    "cts": "consumption CTs",
    "labels": "labels and directory",
    "cable": "end of the control cable",
    "collar": "place for the collar",
    "bag_label": "label on the bag",
}
OF_A_BATTERY = ("battery", "cts")


def subjects_of(job: Job) -> dict[str, str]:
    """Those that this kind of home has."""
    return {name: subject for name, subject in SUBJECTS.items() if job.has_battery or name not in OF_A_BATTERY}


@act(right="core.record_day_one", on=Job)
def record_photos(job: Job, *, on: dt.date, photos: Mapping[str, Photo], by: Actor) -> Document:
    """Photos by subject, several at once or one after the other; each is kept under its SHA-256 and without its position."""
    if not photos:
        raise Refused("No photo is chosen; take at least one.")
    kept = None
    for name, photo in photos.items():
        try:
            kept = files.add_document(job, name=photo.name, data=photo.data, subject=SUBJECTS[name], taken_on=on, by=by)
        except Refused as refusal:
            raise Refused(str(refusal), field=name) from None
    assert kept is not None
    return kept
