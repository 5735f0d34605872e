"""How good the forecasts were, as the page and its file say it: sentences first, then rows of figures beside the two plain ways."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from jobs.core import words
from jobs.core.charts import outcomes
from jobs.core.charts.marks import Chart
from utilities.leadtimes.scores import BARS, LEVELS, SHARES
from utilities.models import Utility
from utilities.models.scores import Source
from utilities.scoring import FORECASTERS, LEAD, MONTH, WHOLE, Part, Table

FEW: Final = 30  # requests; below it chance decides most of what is seen
_NINE_IN_TEN: Final = 1.645  # standard errors on either side of the middle of a normal law
NOT_YET: Final = "none yet"


def lead(table: Table) -> str:
    """What a person could say aloud of the whole of it."""
    whole = table.whole
    if not whole.n:
        return "No forecast can be judged here yet."
    passed = int(whole.ours.passed[SHARES.index(80)])
    if not passed:
        return f"{words.count(whole.n, 'forecast').capitalize()} are followed, but no 80 % day has passed yet."
    seen, right = (words.percent(value[SHARES.index(80)]) for value in (whole.ours.coverage, whole.ours.stated_there))
    return f"Of {words.count(passed, 'forecast')} whose 80 % day has passed, {seen} were fitted by it; {right} would be right."


def against(table: Table) -> str:
    """How the whole forecast stands beside the two plain ways."""
    whole = table.whole
    if not whole.n:
        return ""
    told = [
        f"{_less(whole.ours.skill(other))} {name}"
        for name, other in (
            ("the mean of completed waits", whole.spreadsheet),
            ("a Kaplan-Meier curve of each utility", whole.kaplan_meier),
        )
    ]
    return f"The forecast is off by {_days(whole.ours.mean_crps)}, counted over all its chances: {words.listed(told)}."


def few(table: Table) -> str:
    whole = table.whole
    if not whole.n or whole.homes >= FEW:
        return ""
    stands = "stands" if whole.homes == 1 else "stand"
    return f"Only {words.count(whole.homes, 'request')} {stands} behind this, so chance decides most of it."


def _less(skill: float) -> str:
    if math.isnan(skill):
        return "not to be compared with"
    if abs(skill) < 0.005:
        return "as much as"
    return f"{words.percent(abs(skill))} {'less' if skill > 0 else 'more'} than"


def _days(value: float) -> str:
    return "not known" if math.isnan(value) else f"{value:,.1f} days"


def figure(value: float) -> str:
    """Days in a table: "12.3"; blank where nothing stands behind it."""
    return "" if math.isnan(value) else f"{value:,.1f}"


def share(value: float) -> str:
    return "" if math.isnan(value) else words.percent(value)


@dataclass(frozen=True)
class Measure:
    """One measure of the three ways, in words and figures."""

    name: str
    note: str
    ours: str
    spreadsheet: str
    kaplan_meier: str


def measures(part: Part) -> list[Measure]:
    three = [part.ours, part.spreadsheet, part.kaplan_meier]
    told = [
        Measure("Whole forecast", "days off, over all its chances (CRPS)", *(figure(one.mean_crps) for one in three)),
        Measure("Middle of it", "from the even-chance day to the fitting, days", *(figure(one.median_error) for one in three)),
    ]
    for place, level in enumerate(LEVELS):
        how = f"a day named too early counts {level} in 100, too late {100 - level} in 100 (pinball loss)"
        told.append(Measure(f"{level} % day", how, *(figure(one.mean_pinball[place]) for one in three)))
    compared = (_signed(one.skill(part.spreadsheet)) for one in three)
    return [*told, Measure("Less error", "of the whole forecast, than the mean of completed waits", *compared)]


def _signed(skill: float) -> str:
    return "" if math.isnan(skill) else words.percent(skill)


@dataclass(frozen=True)
class Stated:
    """What was stated with one chance: how many of its days have passed, and what share was fitted by them."""

    stated: int  # in a hundred
    passed: int
    seen: str
    right: str
    low: str
    high: str
    plain_passed: int
    plain_seen: str
    outside: bool  # further off than chance alone puts it nine times in ten


def stated(part: Part) -> list[Stated]:
    told = []
    for place, level in enumerate(SHARES):
        right, seen = part.ours.stated_there[place], part.ours.coverage[place]
        low, high = _chance(right, min(part.homes, int(part.ours.passed[place])))
        told.append(
            Stated(
                stated=level,
                passed=int(part.ours.passed[place]),
                seen=share(seen) or NOT_YET,
                right=share(right),
                low=share(low),
                high=share(high),
                plain_passed=int(part.kaplan_meier.passed[place]),
                plain_seen=share(part.kaplan_meier.coverage[place]) or NOT_YET,
                outside=not low <= seen <= high and not math.isnan(seen),
            )
        )
    return told


def _chance(right: float, homes: int) -> tuple[float, float]:
    """Where nine in ten shares of so many homes lie. One home forecast on many days counts once: its days go together."""
    if not homes or math.isnan(right):
        return math.nan, math.nan
    around = _NINE_IN_TEN * math.sqrt(right * (1 - right) / homes)
    return max(right - around, 0.0), min(right + around, 1.0)


def bars(part: Part) -> list[tuple[str, float]]:
    """ "0 to 10 in 100" and the share of the outcomes there."""
    return [(f"{10 * place} to {10 * place + 10}", value) for place, value in enumerate(part.ours.bars.tolist())]


def stated_chart(part: Part) -> Chart | None:
    rows = [row for row in range(len(SHARES)) if part.ours.passed[row]]
    if not rows:
        return None
    shares = []
    for row in rows:
        right, seen = float(part.ours.stated_there[row]), float(part.ours.coverage[row])
        low, high = _chance(right, min(part.homes, int(part.ours.passed[row])))
        shares.append(outcomes.Share(right, seen, low, high, title=f"stated {words.percent(right)}, seen {words.percent(seen)}"))
    plain = part.spreadsheet.coverage[0]
    beside = (
        []
        if math.isnan(plain)
        else [outcomes.Share(0.5, float(plain), 0, 0, title=f"the spreadsheet's day: {words.percent(plain)} fitted by it")]
    )
    label = (
        f"Of what was stated with 80 chances in 100, {stated(part)[1].seen} was seen"
        if part.ours.passed[1]
        else "Stated chance and share fitted"
    )
    return outcomes.stated_and_seen(name="stated", shares=shares, beside_it=beside, label=label)


def pit_chart(part: Part) -> Chart | None:
    if not part.n:
        return None
    low, high = _chance(1 / BARS, part.homes)
    label = "Where in what was said the outcomes fell, in ten bars"
    return outcomes.pit(name="pit", shares=[value for _, value in bars(part)], low=low, high=high, label=label)


@dataclass(frozen=True)
class Line:
    """One part of the whole: a utility, a month, days waited."""

    name: str
    utility: Utility | None
    part: Part

    @property
    def ours(self) -> str:
        return figure(self.part.ours.mean_crps)

    @property
    def spreadsheet(self) -> str:
        return figure(self.part.spreadsheet.mean_crps)

    @property
    def kaplan_meier(self) -> str:
        return figure(self.part.kaplan_meier.mean_crps)

    @property
    def less(self) -> str:
        return _signed(self.part.ours.skill(self.part.spreadsheet))

    @property
    def passed(self) -> int:
        return int(self.part.ours.passed[SHARES.index(80)])

    @property
    def seen(self) -> str:
        return share(self.part.ours.coverage[SHARES.index(80)]) or NOT_YET

    @property
    def thin(self) -> bool:
        return self.part.homes < FEW


# The file

HEADINGS: Final = (
    "source", "utility", "part", "of", "known_to", "forecasts", "requests",
    *(f"crps_days_{who}" for who in FORECASTERS),
    *(f"median_error_days_{who}" for who in FORECASTERS),
    *(f"pinball_{level}_days_{who}" for level in LEVELS for who in FORECASTERS),
    *(f"{what}_{level}_{who}" for who in FORECASTERS for level in SHARES for what in ("days_passed", "share_fitted", "share_stated")),
    *(f"pit_{place}" for place in range(1, BARS + 1)),
)  # fmt: skip


def file_rows(tables: Sequence[tuple[Source, Utility | None, Table]]) -> Iterator[Sequence[object]]:
    for source, utility, table in tables:
        order = {WHOLE: 0, MONTH: 1, LEAD: 2}
        for key, part in sorted(table.parts.items(), key=lambda told: (order[told[0].partition(" ")[0]], told[0])):
            kind, _, of = key.partition(" ")
            yield (source.value, utility.name if utility else "", kind, of, table.known_to, part.n, part.homes, *_figures(part))


def _figures(part: Part) -> Iterator[object]:
    by = [getattr(part, who) for who in FORECASTERS]
    yield from (_rounded(totals.mean_crps) for totals in by)
    yield from (_rounded(totals.median_error) for totals in by)
    yield from (_rounded(totals.mean_pinball[place]) for place in range(len(LEVELS)) for totals in by)
    for totals in by:
        for place in range(len(SHARES)):
            yield from (int(totals.passed[place]), _rounded(totals.coverage[place]), _rounded(totals.stated_there[place]))
    yield from (_rounded(value) for value in part.ours.bars.tolist())


def _rounded(value: float) -> float | None:
    return None if math.isnan(value) else round(float(value), 4)
