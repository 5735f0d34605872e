"""Why a forecast says what it says, in words: own and borrowed history, pace, service in order of filing, promises, district. Pure."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Self

from jobs.core import words

_STILL: Final = 0.3  # of a day of filing in each working day; below it the front has stood still (FORECASTING.md section 7a)
_STOPPED: Final = 0.1  # of the past's pace
_COUNTS_LESS: Final = 0.9  # own fittings that count below this share of those on record are told apart


@dataclass(frozen=True)
class Why:
    """What stands behind one stored forecast (`Forecast.why`). What is not to be said is None; older rows lack some of it.

    own: fittings of this utility on record. counted: of them those that still count, faded by age. borrowed: fittings of other utilities,
    0 unless `pooled`. lent: requests borrowed from all utilities. pace: fittings now for each that the past would have brought.
    front_on: filing day that is served now. promise: first and last day that the utility has named for this request.
    """

    own: int = 0
    borrowed: int = 0
    pooled: bool = False
    thin: bool = False
    counted: float | None = None
    lent: float | None = None
    own_weight: float | None = None
    pace: float | None = None
    district_factor: float | None = None
    front_on: dt.date | None = None
    front_days_a_week: float | None = None
    promises_kept: int = 0
    promises_made: int = 0
    promise: tuple[dt.date, dt.date] | None = None

    @classmethod
    def from_kept(cls, kept: Mapping[str, Any]) -> Self:
        front, promise = kept.get("front_on"), kept.get("promise")
        return cls(
            own=kept.get("own", 0),
            borrowed=kept.get("borrowed", 0),
            pooled=kept.get("pooled", False),
            thin=kept.get("thin", False),
            counted=kept.get("counted"),
            lent=kept.get("lent"),
            own_weight=kept.get("own_weight"),
            pace=kept.get("pace"),
            district_factor=kept.get("district_factor"),
            front_on=dt.date.fromisoformat(front) if front else None,
            front_days_a_week=kept.get("front_days_a_week"),
            promises_kept=round(kept.get("promises_kept") or 0),
            promises_made=round(kept.get("promises_made") or 0),
            promise=(dt.date.fromisoformat(promise[0]), dt.date.fromisoformat(promise[1])) if promise else None,
        )

    @property
    def thin_words(self) -> str:
        """How little stands behind the days, said plainly; nothing where there is enough."""
        if self.own + self.borrowed == 0:
            return "No request is finished anywhere yet, so these days say little."
        finished = words.count(self.own, "request")
        here = f"{'only ' if self.own else ''}{finished} {'is' if self.own == 1 else 'are'} finished here"
        here = here[:1].upper() + here[1:]
        if self.pooled:
            return f"{here}, so these days come from all utilities together ({words.count(self.own + self.borrowed, 'fitting')})."
        return f"{here}, so these days are rough." if self.thin else ""

    @property
    def sentence(self) -> str:
        """ "From 31 own fittings and borrowed history worth 12; this utility now works 1.4 times slower than in its past; promises kept:
        5 of 9."
        """
        parts = [] if self.pooled or not self.own else [f"from {self.own_words}"]
        parts += [part for part in (self.pace_words, self.promises_words, self.district_words) if part]
        told = "; ".join(parts)
        return f"{told[:1].upper()}{told[1:]}." if told else ""

    @property
    def whole(self) -> str:
        """The thin history first, then the rest."""
        return " ".join(part for part in (self.thin_words, self.sentence) if part)

    @property
    def own_words(self) -> str:
        """ "31 own fittings, which count as 24 today, and borrowed history worth 12"."""
        told = words.count(self.own, "own fitting")
        if self.counted is not None and self.counted < _COUNTS_LESS * self.own:
            told += f", which {'counts' if self.own == 1 else 'count'} as {words.number(max(round(self.counted), 1))} today,"
        lent = round(self.lent) if self.lent else 0
        return f"{told} and borrowed history worth {words.number(lent)}" if lent else told.rstrip(",")

    @property
    def pace_words(self) -> str:
        """ "this utility now works 1.4 times slower than in its past"."""
        if self.pace is None:
            return ""
        if self.pace < _STOPPED:
            return "this utility now fits almost nothing, beside its past"
        return f"this utility now works {_times(self.pace)} than in its past"

    @property
    def promises_words(self) -> str:
        return f"promises kept: {self.promises_kept} of {self.promises_made}" if self.promises_made else ""

    @property
    def district_words(self) -> str:
        """ "its district is served 1.3 times faster than the whole utility"."""
        factor = self.district_factor
        if factor is None or factor <= 0:
            return ""
        return f"its district is served {_times(factor)} than the whole utility"

    @property
    def promise_words(self) -> str:
        """ "It has promised to come on 2 December 2026.", of this request."""
        if self.promise is None:
            return ""
        first, last = self.promise
        return f"It has promised to come {'on' if first == last else f'from {words.day(first)} to'} {words.day(last)}."

    def front_words(self, *, as_of: dt.date, weekdays: int = 5) -> str:
        """ "This utility serves in order of filing. It is now at requests sent in mid-May and has lately moved 4 days a week."

        weekdays: that it works in a week.
        """
        if self.front_on is None:
            return ""
        at = part_of_month(self.front_on, as_of=as_of)
        return f"This utility serves in order of filing. It is now at requests sent in {at} and {self._moved(weekdays)}."

    def _moved(self, weekdays: int) -> str:
        days = self.front_days_a_week or 0.0
        if days < _STILL * weekdays:
            return "has lately stood still"
        return f"has lately moved {_amount(round(days), 'day')} a week"

    def rows(self, *, as_of: dt.date, weekdays: int = 5) -> list[tuple[str, str]]:
        """The same as a small table: what, and how much."""
        found = [("Own fittings on record", words.number(self.own))]
        if self.counted is not None:
            found.append(("Of them counting today, faded by age", words.number(round(self.counted))))
        if self.lent is not None:
            found.append(("Borrowed from all utilities, worth", _amount(round(self.lent), "request")))
        if self.own_weight is not None:
            found.append(("Weight of its own history", f"{round(100 * self.own_weight)} in 100"))
        if self.front_on is not None:
            found.append(("Now at requests sent in", part_of_month(self.front_on, as_of=as_of)))
            found.append(("In a week that front", self._moved(weekdays).removesuffix(" a week")))
        else:
            found.append(("Pace beside its past", self._pace_cell()))
        found.append(("Promises kept", f"{self.promises_kept} of {self.promises_made}" if self.promises_made else "none has come due"))
        if said := self.district_words:
            found.append(("District", said.removeprefix("its district is ")))
        return found

    def _pace_cell(self) -> str:
        return self.pace_words.removeprefix("this utility now ").removesuffix(" than in its past") or "as before, or too little to tell"


def _times(ratio: float) -> str:
    """ "1.4 times slower", of a ratio of paces."""
    return f"{1 / ratio:.1f} times slower" if ratio < 1 else f"{ratio:.1f} times faster"


def _amount(n: int, noun: str) -> str:
    return f"{words.number(n)} {noun if n == 1 else words.plural(noun)}"


def part_of_month(day: dt.date, *, as_of: dt.date) -> str:
    """ "mid-May", "late October 2025": rough on purpose, and without the year of the as-of day."""
    _, month, year = words.day(day).split()
    part = "early" if day.day <= 10 else "mid" if day.day <= 20 else "late"
    said = f"mid-{month}" if part == "mid" else f"{part} {month}"
    return said if day.year == as_of.year else f"{said} {year}"
