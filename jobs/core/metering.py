"""Acts on the temporary metering: the consumption CTs as fitted, what they read when PV comes on, and the utility's meter timed."""

from __future__ import annotations

import dataclasses
import datetime as dt

from jobs.core import ctpv, homefacts, servicesize, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.dayone import note_seal
from jobs.core.facts import Said, When
from jobs.core.metertiming import Direction, Mark, Timed, signed_w, timed, timed_by_taps, wh_of
from jobs.core.models import Fact, Job
from jobs.core.refusals import Refused

NO_CTS = "This home has no battery, so it has no consumption CTs."


@act(right="core.record_day_one", on=Job)
def record_cts_fitted(
    job: Job,
    *,
    on: dt.date,
    place: str,
    rated_a: int,
    ratio_set_a: int,
    older_pv: str,
    by: Actor,
    seal: str = "",
    accuracy_class: str = "",
    arrows: str = "",
    serial_a: str = "",
    serial_b: str = "",
) -> Fact:
    """The CTs as they hang. The arrow is only a note: makers differ, and the signed reading during a known import decides."""
    if not job.has_battery:
        raise Refused(NO_CTS)
    note_seal(job, seal, on=on, by=by)
    surveyed = job.facts.standing().of_kind(k.SURVEYED).order_by("day", "pk").last()
    service_a = surveyed.value.get("service_a") if surveyed else None
    if service_a and not servicesize.ct_is_large_enough(rated_a, service_a=service_a):
        raise Refused(
            f"The survey found a service of {service_a} A; a CT rated {rated_a} A is too small for it. "
            "Read both again, or ask the electrician.",
            field="rated_a",
        )
    value = {
        "place": place,
        "rated_a": rated_a,
        "ratio_set_a": ratio_set_a,
        "accuracy_class": accuracy_class.strip(),
        "arrows": arrows.strip(),
        "serial_a": serial_a.strip(),
        "serial_b": serial_b.strip(),
        "older_pv": older_pv,
    }
    return homefacts.write(job, k.CTS_FITTED, when=When(on=on), said_by=Said("crew", by.name), by=by, value=value)


@act(right="core.record_day_one", on=Job)
def record_pv_check(job: Job, *, on: dt.date, test: ctpv.PVTest, by: Actor, seal: str = "") -> Fact:
    """What the CTs read when PV came on. The verdict is computed here; it is never typed."""
    if not job.has_battery:
        raise Refused(NO_CTS)
    if not job.has_pv:
        raise Refused("This home has no PV that could come on.")
    note_seal(job, seal, on=on, by=by)
    value = ctpv.fact_value(test, ctpv.check_pv(test))
    return homefacts.write(job, k.PV_CHECK, when=When(on=on), said_by=Said("crew", by.name), by=by, value=value)


@dataclasses.dataclass(frozen=True)
class Pulses:
    """What was read off the closed meter's face: its constant, and either each tap or a count and its time."""

    mark: Mark
    constant: float
    taps: tuple[float, ...] = ()
    count: float | None = None
    seconds: float | None = None
    factor: float = 1.0

    def power(self) -> Timed:
        kh = wh_of(self.mark, self.constant)
        if self.taps:
            return timed_by_taps(self.taps, kh=kh, factor=self.factor)
        if self.count is None or self.seconds is None:
            raise ValueError("Either a tap at each pulse is wanted, or the number of pulses and the seconds they took.")
        return timed(kh=kh, count=self.count, seconds=self.seconds, factor=self.factor)


@act(right="core.record_day_one", on=Job)
def record_meter_timed(
    job: Job, *, on: dt.date, pulses: Pulses, direction: str, by: Actor, ct_total_w: int | None = None, seal: str = ""
) -> Fact:
    """Power from the utility's meter, with the direction its face showed; beside it what the CTs read at the same time, if noted."""
    try:
        found = pulses.power()
    except ValueError as fault:
        raise Refused(str(fault), field="taps" if pulses.taps else "count") from None
    note_seal(job, seal, on=on, by=by)
    meter_w = signed_w(found, Direction(direction))
    numbers: dict[str, float] = {"power_w": round(found.power_w, 1), "expanded_w": round(found.expanded_w, 1), "tap_s": found.tap_s}
    told = found.words
    if ct_total_w is not None:
        numbers["ct_total_w"] = ct_total_w
        if meter_w is not None:
            numbers["difference_w"] = round(ct_total_w - meter_w, 1)
            told += f" The CTs read {words.watts(ct_total_w)} then, the meter {words.watts(meter_w)}."
    readings = {**dataclasses.asdict(pulses), "mark": pulses.mark.value, "taps": list(pulses.taps)}
    return homefacts.write(
        job,
        k.METER_TIMED,
        when=When(on=on),
        said_by=Said("crew", by.name),
        by=by,
        value={"direction": direction, "told": told, "readings": readings, "numbers": numbers},
    )
