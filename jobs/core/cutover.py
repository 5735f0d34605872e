"""Acts after the fitting: the metering cut over to the collar with paired readings, and the limits that somebody entered."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Sequence
from typing import Any

from jobs.core import facts, homefacts, pairs, words
from jobs.core import kinds as k
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.facts import OLD_CTS, SITE_METERS, Said, When
from jobs.core.models import Fact, Job
from jobs.core.pairs import Pair
from jobs.core.refusals import Refused
from jobs.core.states import told_serial

MOST_W = 100_000
COLLAR, CTS = SITE_METERS
WITHDRAWN, REMOVED, LEFT, STILL = OLD_CTS
NOTHING_ENTERED = "Enter one limit at least, or leave the page: an entry without figures says nothing."


@dataclasses.dataclass(frozen=True)
class Read:
    """A pair with its time at the home, "14:05"."""

    time: str
    pair: Pair


@act(right="core.record_gateway", on=Job)
def record_cut_over(
    job: Job, *, at: dt.datetime, readings: Sequence[Read], meter: str, old_cts: str, by: Actor, electrician: str = ""
) -> Fact:
    """Exactly one source is named as the site's meter: two would count the house twice, none would leave the battery blind."""
    if not job.has_battery:
        raise Refused("This home has no battery, so it has no consumption CTs to compare with the collar.")
    if facts.of(job).fitted is None:
        raise Refused("The collar is not on record as fitted; its metering cannot have been read.")
    told = told_serial(facts.of(job))
    if told is not None and told.value["serial"] != facts.of(job).serial:
        raise Refused(
            f"Another collar is reported here: {told.value['serial']}, registered is {facts.of(job).serial}. Clear the serial first: "
            "a battery must not follow another home's meter."
        )
    _refuse_two_meters_or_none(meter, old_cts)
    if old_cts in (REMOVED, LEFT) and not electrician.strip():
        raise Refused("Name the electrician: anything physical at the CTs is an electrician's, and so is its record.", field="electrician")
    if len(readings) < 2:
        raise Refused("Two pairs at least are wanted to compare; six over low and high load say something.", field="readings")
    if any(max(abs(read.pair.cts_w), abs(read.pair.collar_w)) > MOST_W for read in readings):
        raise Refused(f"More than {words.watts(MOST_W)} cannot be at a home; read it again, in watts.", field="readings")
    found = pairs.compared([read.pair for read in readings], has_pv=job.has_pv)
    numbers = {name: round(value, 1) for name, value in dataclasses.asdict(found.agreement).items()}
    value: dict[str, Any] = {
        "meter": meter,
        "old_cts": old_cts,
        "electrician": electrician.strip(),
        "verdict": found.verdict,
        "told": found.told,
        "pairs": [[read.time, read.pair.cts_w, read.pair.collar_w] for read in readings],
        "numbers": numbers,
    }
    return homefacts.write(job, k.METER_CUT_OVER, when=When(at=at), said_by=Said("us", by.name), by=by, value=value)


def _refuse_two_meters_or_none(meter: str, old_cts: str) -> None:
    if meter == COLLAR and old_cts == STILL:
        raise Refused(
            "That names two meters: the collar, and the old CTs as still counting. Withdraw the CTs from metering, or name them alone.",
            field="old_cts",
        )
    if meter == CTS and old_cts != STILL:
        raise Refused("That leaves no meter: the CTs are named, and said to be withdrawn or removed. Name one source.", field="old_cts")


@act(right="core.record_gateway", on=Job)
def record_backup_limits(
    job: Job,
    *,
    on: dt.date,
    entered_by: str,
    by: Actor,
    read_from: str = "",
    continuous_w: int | None = None,
    leg_a: int | None = None,
    start_va: int | None = None,
    usable_wh: int | None = None,
    floor_percent: int | None = None,
    charge_w: int | None = None,
    taper_percent: int | None = None,
    efficiency_percent: int | None = None,
) -> Fact:
    """The figures that load and charge are compared with on the call, and who answers for them."""
    figures = {
        "continuous_w": continuous_w,
        "leg_a": leg_a,
        "start_va": start_va,
        "usable_wh": usable_wh,
        "floor_percent": floor_percent,
        "charge_w": charge_w,
        "taper_percent": taper_percent,
        "efficiency_percent": efficiency_percent,
    }
    given = {name: figure for name, figure in figures.items() if figure is not None}
    if not given:
        raise Refused(NOTHING_ENTERED, field="continuous_w")
    for name, figure in given.items():
        if name.endswith("_percent") and not 0 <= figure <= 100:
            raise Refused(f"{figure} % cannot be; wanted 0 to 100.", field=name)
        if not name.endswith("_percent") and figure <= 0:
            raise Refused("A limit of nothing cannot be meant; leave it empty where it is not known.", field=name)
    floor, taper = given.get("floor_percent"), given.get("taper_percent")
    if floor is not None and taper is not None and floor >= taper:
        raise Refused("The floor must lie below the charge from which the battery takes less.", field="floor_percent")
    if not entered_by.strip():
        raise Refused("Say who read the limits from nameplate and settings; the page names them.", field="entered_by")
    value: dict[str, Any] = {**given, "read_from": read_from.strip()}
    return homefacts.write(job, k.BACKUP_LIMITS, when=When(on=on), said_by=Said("us", entered_by.strip()), by=by, value=value)


@act(right="core.record_gateway", on=Job)
def record_sheet_two_given(job: Job, *, on: dt.date, to: str, language: str, by: Actor, how: str = "") -> Fact:
    """What the home was told in writing once its backup was verified."""
    if facts.of(job).verified is None:
        raise Refused("The backup of this home is not verified; sheet two says that it is. Give sheet one.", field="on")
    value = {"to": to.strip(), "language": language, "how": how.strip()}
    return homefacts.write(job, k.SHEET_TWO_GIVEN, when=When(on=on), said_by=Said("us", by.name), by=by, value=value)
