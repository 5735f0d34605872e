"""Acts of a visit to the home: the survey of meter and service, and the utility's seal, which is looked at on every visit."""

from __future__ import annotations

import datetime as dt

from jobs.core import facts, files, homefacts, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.ctsignatures import Service
from jobs.core.dayone import Photo, note_seal
from jobs.core.facts import Said, When
from jobs.core.models import Fact, Job
from jobs.core.refusals import Refused


@act(right="core.record_day_one", on=Job)
def record_surveyed(
    job: Job,
    *,
    on: dt.date,
    service_voltage: str,
    clearance: str,
    by: Actor,
    seal: str = "",
    meter_form: str = "",
    meter_class: int | None = None,
    socket: str = "",
    jaws: str = "",
    service_a: int | None = None,
    obstruction: str = "",
    in_socket: str = "",
    generator: bool = False,
) -> Fact:
    """What was seen of meter, socket and service; nothing opened, no seal touched. The service's voltage is the CT check's from now on."""
    if clearance == "obstructed" and not obstruction.strip():
        raise Refused("Say what stands in the way of the meter: eave, door, gas meter, shelf.", field="obstruction")
    if service_voltage in [known.value for known in Service]:
        job.service = service_voltage
        job.save(update_fields=["service"])
    note_seal(job, seal, on=on, by=by)
    value = {
        "meter_form": meter_form.strip().upper(),
        "meter_class": meter_class,
        "socket": socket,
        "jaws": jaws,
        "service_voltage": service_voltage,
        "service_a": service_a,
        "clearance": clearance,
        "obstruction": obstruction.strip(),
        "in_socket": in_socket.strip(),
        "generator": generator,
    }
    return homefacts.write(job, k.SURVEYED, when=When(on=on), said_by=Said("crew", by.name), by=by, value=value)


@act(right="core.record_day_one", on=Job)
def record_seal(job: Job, *, on: dt.date, state: str, by: Actor, remark: str = "", photo: Photo | None = None) -> Fact:
    """The seal as it was seen, with its picture; broken or absent, the utility is to be told the same day."""
    document = files.add_document(job, name=photo.name, data=photo.data, subject="seal at the meter", by=by) if photo else None
    return homefacts.write(
        job,
        k.SEAL_SEEN,
        when=When(on=on),
        said_by=Said("crew", by.name),
        by=by,
        value={"state": state, "remark": remark.strip()},
        evidence=[document] if document else [],
    )


@act(right="core.record_requests", on=Job)
def record_seal_reported(job: Job, *, on: dt.date, how: str, by: Actor, who: str = "", reference: str = "") -> Fact:
    """The utility was told of the seal. It sends its own people; nobody else refits one."""
    seen = facts.of(job).latest(k.SEAL_SEEN)
    if seen is None or seen.value.get("state") == "intact":
        raise Refused("No broken or absent seal is on record here; record first what was seen.", field="how")
    if on < seen.day:
        raise Refused(
            f"The seal was seen {seen.value['state']} on {words.day(seen.day)}; it was reported on or after that day.", field="on"
        )
    value = {"how": how.strip(), "who": who.strip(), "reference": reference.strip()}
    return homefacts.write(job, k.SEAL_REPORTED, when=When(on=on), said_by=Said("us", by.name), by=by, value=value)
