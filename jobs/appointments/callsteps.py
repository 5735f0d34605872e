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
    say: str
    answers: tuple[Answer, ...]

    def answer(self, value: str) -> Answer | None:
        return next((answer for answer in self.answers if answer.value == value), None)


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
        "storm",
        "Storm or outage, today",
        "Is a storm warning, a safety shutoff or an outage in force at the home today?",
        (
            Answer("no", "No", safe=True),
            Answer("yes", "Yes", reason="a storm warning, a safety shutoff or an outage was in force"),
            Answer("not sure", "Not sure", reason="it was not sure that no warning or outage was in force"),
        ),
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
        beyond = [name for name in ("load_w", "battery_w", "pv_w", "grid_w") if abs(getattr(self, name)) > 100_000]
        if beyond:
            return beyond[0], "More than 100,000 W cannot be at a home; read it again, in watts."
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
