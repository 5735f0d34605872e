"""The call as it is led: what is read aloud, what is asked, and which answer is the safe one. Pure.

The cautions' words are jobs.core.cautions'. Nothing here is chosen in advance, and any answer but a safe one ends the call.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

# Read to the person at home, and acknowledged one by one (TRADE.md section 4, "call script", "pre-check", "call page").
CAUTIONS: Final = ("medical", "lifts", "generator", "alarms", "pumps")
CAUTION_WORDS: Final = {
    "medical": "powered medical equipment",
    "lifts": "lifts and stair lifts",
    "generator": "generators",
    "alarms": "alarms, internet and telephone",
    "pumps": "pumps and refrigeration",
}

NOBODY: Final = "nobody"

# Why a test was not passed or not finished; counted, also of site visits. An absent homeowner is a no-show and none of these.
CAUSES: Final = {
    "communications": "communications",
    "wiring": "wiring",
    "device": "device fault",
    "load": "load too big",
    "home": "as it was at the home that day",
    "other": "another reason",
}
LEGS_W, LEGS_PERCENT = 100, 5  # as for the balance: common practice, no source
# Of the medical answer itself: the reason stands in the ledger, which more people read than may know the answer.
NOT_BY_TELEPHONE: Final = "the test is not run by telephone here"


@dataclass(frozen=True)
class Answer:
    value: str
    words: str
    safe: bool = False
    reason: str = ""  # why the call stops


@dataclass(frozen=True)
class Check:
    """One thing that must be so today, asked on the call itself."""

    name: str
    title: str
    say: str  # asked aloud, or what is looked for
    answers: tuple[Answer, ...]
    note: str = ""  # label of what may be written beside the answer
    aloud: bool = True

    def answer(self, value: str) -> Answer | None:
        return next((answer for answer in self.answers if answer.value == value), None)


_CANNOT: Final = "cannot tell"


def _looked(name: str, title: str, say: str, *, yes: str, no: str, wrong: str, unknown: str, ask: bool = False) -> Check:
    """Yes, no, cannot tell; the first alone lets the call go on."""
    return Check(
        name,
        title,
        say,
        (Answer("yes", yes, safe=True), Answer("no", no, reason=wrong), Answer(_CANNOT, "Cannot tell", reason=unknown)),
        aloud=ask,
    )


# In the order of TRADE.md D8.
CHECKS: Final = (
    Check(
        "adult",
        "An adult at home",
        "Am I speaking with an adult who is at the home now?",
        (
            Answer("yes", "Yes", safe=True),
            Answer("no", "No", reason="no adult was at home"),
            Answer(NOBODY, "Nobody answered", reason="nobody answered the telephone"),
        ),
        note="Their name",
    ),
    Check(
        "others",
        "Others at home",
        "Is anybody else at home? Has everybody heard what may happen now?",
        (
            Answer("alone", "Nobody else is at home", safe=True),
            Answer("told", "All of them were told", safe=True),
            Answer("not told", "Not all of them", reason="not everybody at home had been told"),
        ),
        note="Who else is there, if they say",
    ),
    Check(
        "consent",
        "Consent",
        "Do you agree that we begin today? You and I may each stop it at any time.",
        (Answer("yes", "Yes", safe=True), Answer("no", "No", reason="the person at home did not want it today")),
    ),
    Check(
        "medical",
        "Medical equipment, today",
        "Does anyone at home rely on powered medical equipment?",
        (
            Answer("no", "No", safe=True),
            Answer("yes", "Yes", reason=NOT_BY_TELEPHONE),
            Answer("not sure", "Not sure", reason=NOT_BY_TELEPHONE),
            Answer("declined", "Did not want to say", reason=NOT_BY_TELEPHONE),
        ),
    ),
    Check(
        "lift",
        "Lifts",
        "Is anybody in or on a lift, a stair lift or a platform lift?",
        (
            Answer("no", "No", safe=True),
            Answer("yes", "Yes", reason="somebody was in or on a lift"),
            Answer("not sure", "Not sure", reason="it was not sure that nobody was in or on a lift"),
        ),
    ),
    Check(
        "generator",
        "Generator",
        "Is there a generator at the home? Is it off and disconnected?",
        (
            Answer("none", "There is none", safe=True),
            Answer("off", "Off and disconnected", safe=True),
            Answer("on", "On, or connected", reason="a generator was on or connected"),
            Answer("not sure", "Not sure", reason="it was not sure that the generator was off and disconnected"),
        ),
    ),
    _looked(
        "communications",
        "Communications",
        "The gateway's last report is of this minute.",
        yes="Live",
        no="Not live",
        wrong="communications were not live",
        unknown="it could not be told whether communications were live",
    ),
    _looked(
        "collar",
        "Collar",
        "The gateway reports this home's collar, closed.",
        yes="Closed and reporting",
        no="Open, or not reporting",
        wrong="the collar was not reported closed",
        unknown="it could not be told whether the collar was closed",
    ),
    _looked(
        "battery",
        "Battery",
        "The state of charge is above its floor, and the battery charges, or is full: the chain works.",
        yes="Above its floor, and charging or full",
        no="Not so",
        wrong="the battery was at its floor or did not charge",
        unknown="it could not be told whether the battery charged",
    ),
    _looked(
        "load",
        "A load on the backed-up panel",
        "What is running now? Is it on the backed-up panel, as its label says?",
        yes="It runs, and is on that panel",
        no="None runs there",
        wrong="no load ran on the backed-up panel",
        unknown="it could not be told whether the load was on the backed-up panel",
        ask=True,
    ),
    Check(
        "storm",
        "Storm or outage, today",
        "Is a storm warning, a safety shutoff or an outage in force at the home today?",
        (
            Answer("no", "No", safe=True),
            Answer("yes", "Yes", reason="a storm warning, a safety shutoff or an outage was in force"),
            Answer("not sure", "Not sure", reason="it was not sure that no warning or outage was in force"),
        ),
    ),
    _looked(
        "alarms",
        "Alarms of the equipment",
        "No alarm stands at inverter, battery, gateway or collar.",
        yes="None stands",
        no="One stands",
        wrong="an alarm of the equipment stood",
        unknown="it could not be told whether an alarm stood",
    ),
    Check(
        "pv",
        "PV, as it is now",
        "What PV gives now; in island mode it may go off and come back, and a full battery takes none.",
        (
            Answer("gives", "It gives power", safe=True),
            Answer("none now", "It gives none now", safe=True),
            Answer("no pv", "There is none", safe=True),
            Answer(_CANNOT, "Cannot tell", reason="it could not be told what PV gave"),
        ),
        aloud=False,
    ),
    _looked(
        "working",
        "Nobody at work on the wiring",
        "Is nobody working on the electrical system, at the panel or at the meter?",
        yes="Nobody is",
        no="Somebody is",
        wrong="somebody was working on the electrical system",
        unknown="it could not be told whether somebody was working on the electrical system",
        ask=True,
    ),
)


def check(name: str) -> Check | None:
    return next((one for one in CHECKS if one.name == name), None)


@dataclass(frozen=True)
class Readings:
    """What was read before the island test; watts, positive out of battery, PV and utility and into the home."""

    load_w: int
    load_name: str  # which load runs on the backed-up panel
    soc_percent: int
    battery_w: int
    pv_w: int
    grid_w: int
    # The rest where somebody could read it: the legs apart, the largest start, and what must be put back afterwards.
    leg_a_w: int | None = None
    leg_b_w: int | None = None
    across_w: int | None = None
    start_lra: int | None = None
    reserve_percent: int | None = None
    mode: str = ""

    def fault(self) -> tuple[str, str] | None:
        """(field, sentence) of the first reading that cannot be, or None."""
        if not self.load_name.strip():
            return "load_name", "Name the load that runs on the backed-up panel, such as the refrigerator."
        if self.load_w <= 0:
            return "load_w", f"A load of {self.load_w} W proves nothing; have something switched on, and read it again."
        if not 0 <= self.soc_percent <= 100:
            return "soc_percent", f"A state of charge of {self.soc_percent} % cannot be; wanted 0 to 100."
        if self.pv_w < 0:
            return "pv_w", "PV power cannot be negative; wanted 0 or more."
        if self.reserve_percent is not None and not 0 <= self.reserve_percent <= 100:
            return "reserve_percent", f"A reserve of {self.reserve_percent} % cannot be; wanted 0 to 100."
        if fault := self._fault_of_legs():
            return fault
        beyond = [name for name in ("load_w", "battery_w", "pv_w", "grid_w") if abs(getattr(self, name)) > 100_000]
        if beyond:
            return beyond[0], "More than 100,000 W cannot be at a home; read it again, in watts."
        return None

    def _fault_of_legs(self) -> tuple[str, str] | None:
        legs = (self.leg_a_w, self.leg_b_w)
        if legs == (None, None) and self.across_w is None:
            return None
        if self.leg_a_w is None or self.leg_b_w is None:
            return "leg_a_w", "Read both legs, or leave both empty: one says nothing of the neutral."
        parts = (self.leg_a_w, self.leg_b_w, self.across_w or 0)
        if min(parts) < 0:
            return "leg_a_w", "A load cannot be negative; read the legs again."
        if abs(sum(parts) - self.load_w) > max(LEGS_W, self.load_w * LEGS_PERCENT // 100):
            return "leg_a_w", f"The legs add up to {sum(parts)} W, and the load was read as {self.load_w} W; read them at the same moment."
        return None


@dataclass(frozen=True)
class Progress:
    """How far the call has come, from the presses that stand."""

    acknowledged: frozenset[str]
    answered: frozenset[str]  # checks with a safe answer; an unsafe one ends the call
    has_readings: bool

    @property
    def cautions_missing(self) -> list[str]:
        return [CAUTION_WORDS[name] for name in CAUTIONS if name not in self.acknowledged]

    @property
    def checks_missing(self) -> list[str]:
        return [one.title.lower() for one in CHECKS if one.name not in self.answered]

    @property
    def before_readings(self) -> str:
        """What must come before the readings, as words; empty when nothing."""
        if self.cautions_missing:
            return f"cautions not acknowledged yet: {', '.join(self.cautions_missing)}"
        if self.checks_missing:
            return f"not answered yet: {', '.join(self.checks_missing)}"
        return ""

    @property
    def before_island(self) -> str:
        return self.before_readings or ("" if self.has_readings else "the readings before")


def progress(whats: Iterable[str]) -> Progress:
    """From the names of the standing presses: "caution:medical", "check:adult", "readings"."""
    names = set(whats)
    return Progress(
        frozenset(name for name in CAUTIONS if f"caution:{name}" in names),
        frozenset(one.name for one in CHECKS if f"check:{one.name}" in names),
        "readings" in names,
    )
