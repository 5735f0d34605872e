"""A history of waits in a CSV file, and the forecasts of its open requests in another.

Pure: no Django, no database, no clock. Every row is checked before anything is forecast; the file of forecasts appears whole or not
at all, and the same files give the same bytes. Columns and meaning: DESIGN.md section 9, FORECASTING.md section 2.
"""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import BinaryIO, Final

import numpy as np
import numpy.typing as npt

from jobs.core.csvout import guarded, unguarded
from utilities.leadtimes import (
    CANCELLED,
    FITTED,
    HORIZON,
    NO_DAY,
    NO_DISTRICT,
    OPEN,
    PERCENTS,
    Calendars,
    Forecasts,
    History,
    OpenRequests,
    fit,
    forecast,
    open_rows,
)
from utilities.workdays import FEDERAL, FIRST_DAY, LAST_DAY, date_of, day_number

HISTORY_COLUMNS: Final = ("request_id", "utility", "district", "filed_on", "known_from", "outcome", "outcome_on")
MAY_BE_LEFT_OUT: Final = ("district", "known_from", "kind")
CLOSURE_COLUMNS: Final = ("utility", "day", "kind")
EVERY_UTILITY: Final = "*"
LAST_AS_OF: Final = date_of(day_number(LAST_DAY) - HORIZON)

FORECAST_HEADINGS: Final = ("request_id", "as_of", *(f"q{percent:02}" for percent in PERCENTS), "p_never", "own_weight")

# Rows read, and requests forecast, at a time: enough to be quick, few enough to be small.
ROWS_AT_ONCE: Final = 50_000
NAMED_AT_MOST: Final = 20

_DAY: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_BAD: Final = -2
_OUTCOMES: Final = {"open": OPEN, "fitted": FITTED, "cancelled": CANCELLED}
_KINDS: Final = {"": "closed", "closed": "closed", "open": "open"}

Days = npt.NDArray[np.int32]


@dataclass(frozen=True)
class Fault:
    """What is wrong with a line of the file, and what is wanted."""

    line: int
    says: str


class FaultyFile(ValueError):
    """A file that cannot be used as it is. faults: the first of them by line, one a line; total: how many lines are wrong."""

    def __init__(self, name: str, faults: Sequence[Fault]) -> None:
        named = sorted(faults, key=lambda fault: fault.line)[:NAMED_AT_MOST]
        self.faults, self.total = named, len(faults)
        says = [f"{name}, line {fault.line}: {fault.says}" for fault in named]
        if left := len(faults) - len(named):
            says.append(f"{left} more lines are wrong.")
        super().__init__("\n".join(says))


@dataclass(frozen=True)
class HistoryFile:
    """A history that was read and checked, with the names that its indices stand for.

    request_ids: in the order of the file. utilities: by index. dropped: rows left out because they had ended before they became known.
    """

    request_ids: list[str]
    utilities: list[str]
    history: History
    dropped: int


@dataclass(frozen=True)
class Day:
    """What was forecast as of a day. fitted: fittings known on it; blank: requests whose median lies beyond the horizon."""

    as_of: date
    open: int
    fitted: int
    blank: int


def read_history(path: Path) -> HistoryFile:
    """Read and check a history.

    Raises FaultyFile naming every wrong line, OSError if the file cannot be read.
    """
    reading = _Reading(path.name)
    for part in _parts(path, HISTORY_COLUMNS):
        reading.take(part)
    return reading.whole()


def read_calendars(history: HistoryFile, as_of: Sequence[date], closures: Path | None) -> Calendars:
    """The working days of every utility, for all as-of days: federal business days, less and plus what the closures say.

    Raises FaultyFile naming every wrong line of the closures.
    """
    days = [day_number(day) for day in as_of]
    filed = history.history.filed
    first, last = min(days), max(days) + HORIZON
    if len(filed):
        first = min(first, int(filed.min()))
    base = FEDERAL.worked_between(date_of(first), date_of(last))
    told = _closures(closures) if closures else {}

    for_all = _with(base, told.get(EVERY_UTILITY, {}), first)
    # What a utility's own row says goes before what is said for every utility.
    worked = [_with(for_all, told[name], first) if name in told else for_all for name in history.utilities]
    return Calendars.of(worked, first)


def write_forecasts(history: HistoryFile, calendars: Calendars, *, as_of: Sequence[date], out: Path) -> list[Day]:
    """Forecast the requests open at the end of each day, and write them in the order of the history, day after day."""
    done = []
    with _whole(out) as file:
        file.write((",".join(FORECAST_HEADINGS) + "\r\n").encode())
        # Every day that a date can fall on is written once, each with its comma.
        day_texts = _day_texts(calendars.first, calendars.last)
        for day in as_of:
            done.append(_write_day(history, calendars, day, day_texts, file))
    return done


def _write_day(history: HistoryFile, calendars: Calendars, as_of: date, day_texts: npt.NDArray[np.bytes_], file: BinaryIO) -> Day:
    number = day_number(as_of)
    fitted = fit(history.history, calendars, number)
    rows = open_rows(history.history, number)
    blank = 0
    for start in range(0, rows.size, ROWS_AT_ONCE):
        chosen = rows[start : start + ROWS_AT_ONCE]
        forecasts = forecast(fitted, OpenRequests.of(history.history, chosen))
        blank += int(np.count_nonzero(forecasts.q_at(50) == NO_DAY))
        file.writelines(_lines([history.request_ids[row] for row in chosen.tolist()], as_of, forecasts, day_texts))
    known = (history.history.outcome == FITTED) & (history.history.by <= number)
    return Day(as_of=as_of, open=int(rows.size), fitted=int(np.count_nonzero(known)), blank=blank)


def _lines(request_ids: list[str], as_of: date, forecasts: Forecasts, day_texts: npt.NDArray[np.bytes_]) -> Iterator[bytes]:
    known = (forecasts.q != NO_DAY).sum(axis=1).tolist()
    p_never, own = forecasts.p_never.tolist(), forecasts.own_weight.tolist()
    texts = day_texts[np.where(forecasts.q == NO_DAY, forecasts.calendars.first, forecasts.q) - forecasts.calendars.first]
    width = texts.itemsize
    for row, request_id in enumerate(request_ids):
        # Dates only grow, so the blank ones stand together at the end.
        dates = texts[row].tobytes()[: known[row] * width] + b"," * (PERCENTS.size - known[row])
        yield b"%s,%s,%s%.6f,%.6f\r\n" % (_field(request_id), as_of.isoformat().encode(), dates, p_never[row], own[row])


def _field(text: str) -> bytes:
    text = guarded(text)
    if any(mark in text for mark in ',"\r\n'):
        text = '"' + text.replace('"', '""') + '"'
    return text.encode()


def _day_texts(first: int, last: int) -> npt.NDArray[np.bytes_]:
    days = np.datetime_as_string(np.arange(first, last + 1).astype("datetime64[D]"))
    return np.strings.add(days.astype("S10"), b",")


@contextmanager
def _whole(out: Path) -> Iterator[BinaryIO]:
    """A file beside `out` that takes its place once all is written, and is gone if anything fails."""
    out = out.resolve()
    draft = out.with_name(f".{out.name}.{os.getpid()}.part")
    try:
        with draft.open("wb", buffering=1 << 20) as file:
            yield file
        draft.replace(out)
    finally:
        draft.unlink(missing_ok=True)


@dataclass(frozen=True)
class _Part:
    """Some rows of a file: the line each begins on, and each column's texts without blanks around them."""

    lines: list[int]
    columns: dict[str, list[str]]
    faults: list[Fault]


def _parts(path: Path, columns: tuple[str, ...]) -> Iterator[_Part]:
    with path.open("rb") as raw:
        file = csv.reader(_decoded(raw, path.name), strict=True)
        try:
            headings = [heading.strip().lower() for heading in next(file, [])]
            if not headings:
                raise FaultyFile(path.name, [Fault(1, f"the first line is empty. Wanted: {', '.join(columns)}, separated by commas.")])
            _check_headings(path.name, headings, columns)
            places = [(name, headings.index(name)) for name in columns if name in headings]
            width, lines, rows, faults = len(headings), [], [], []
            begins = file.line_num + 1
            for row in file:
                if len(row) == width or (len(row) > width and not any(row[width:])):
                    lines.append(begins)
                    rows.append(row)
                elif any(row):
                    faults.append(Fault(begins, f"it has {len(row)} cells, the first line names {width} columns."))
                begins = file.line_num + 1
                if len(rows) == ROWS_AT_ONCE:
                    yield _part(places, columns, lines, rows, faults)
                    lines, rows, faults = [], [], []
            yield _part(places, columns, lines, rows, faults)
        except csv.Error as fault:
            raise FaultyFile(path.name, [Fault(file.line_num, _not_csv(str(fault)))]) from fault


def _not_csv(fault: str) -> str:
    # What the library says of old Macintosh line ends is advice for a programmer.
    if "new-line" in fault:
        return "a line ends in a carriage return alone. Save the file as CSV UTF-8."
    return f"it is not CSV ({fault})."


def _part(places: list[tuple[str, int]], columns: tuple[str, ...], lines: list[int], rows: list[list[str]], faults: list[Fault]) -> _Part:
    # A row of empty cells is no row: spreadsheets leave such lines at the end.
    if not all(map(any, rows)):
        kept = [place for place, row in enumerate(rows) if any(row)]
        lines, rows = [lines[place] for place in kept], [rows[place] for place in kept]
    texts = {name: [row[place].strip() for row in rows] for name, place in places}
    return _Part(lines, {name: texts.get(name) or [""] * len(rows) for name in columns}, faults)


def _decoded(raw: BinaryIO, name: str) -> Iterator[str]:
    for number, line in enumerate(raw, start=1):
        try:
            text = line.decode("utf-8-sig" if number == 1 else "utf-8")
        except UnicodeDecodeError as fault:
            raise FaultyFile(name, [Fault(number, "it is not UTF-8. Save the file as CSV UTF-8.")]) from fault
        yield text


def _check_headings(name: str, headings: list[str], columns: tuple[str, ...]) -> None:
    wanted = ", ".join(columns)
    for column in columns:
        if headings.count(column) > 1:
            raise FaultyFile(name, [Fault(1, f"two columns are named {column}. Wanted: {wanted}.")])
        if column not in headings and column not in MAY_BE_LEFT_OUT:
            raise FaultyFile(name, [Fault(1, f"no column is named {column}. Wanted: {wanted}, separated by commas.")])


class _DayNumbers(dict[str, int]):
    """Text to day number: each text is looked at once. NO_DAY if blank, _BAD if it is no day."""

    def __missing__(self, text: str) -> int:
        self[text] = _as_day(text)
        return self[text]


def _as_day(text: str) -> int:
    if not text:
        return NO_DAY
    day = as_date(text)
    return day_number(day) if day is not None and FIRST_DAY <= day <= LAST_DAY else _BAD


def as_date(text: str) -> date | None:
    """Of 2026-06-03 alone: fromisoformat would read 20260603 and 2026-W23-3 too."""
    try:
        return date.fromisoformat(text) if _DAY.fullmatch(text) else None
    except ValueError:
        return None


def _no_day(column: str, text: str) -> str:
    return f"{column} “{text}” is not a day. Write it as 2026-06-03, from {FIRST_DAY} to {LAST_DAY}."


@dataclass
class _Reading:
    """The history as far as it was read. Of each wrong line the first fault is kept."""

    name: str
    request_ids: list[str] = field(default_factory=list)
    columns: dict[str, list[Days]] = field(default_factory=lambda: {name: [] for name in HISTORY_COLUMNS})
    utilities: dict[str, int] = field(default_factory=dict)
    districts: dict[tuple[str, str], int] = field(default_factory=dict)
    lines: list[Days] = field(default_factory=list)
    days: _DayNumbers = field(default_factory=_DayNumbers)
    faults: dict[int, Fault] = field(default_factory=dict)

    def take(self, part: _Part) -> None:
        texts = {**part.columns, "outcome": [text.lower() for text in part.columns["outcome"]]}
        numbers = {name: self._numbers([self.days[text] for text in texts[name]]) for name in ("filed_on", "known_from", "outcome_on")}
        numbers["outcome"] = self._numbers([_OUTCOMES.get(text, _BAD) for text in texts["outcome"]])
        for fault in part.faults:
            self._fault(fault.line, fault.says)
        self._check_names(part, texts)
        self._check_days(part, texts, numbers)
        # The same id again for the output: as it was before a spreadsheet's apostrophe was put before it.
        self.request_ids += [unguarded(text) if text[:1] == "'" else text for text in texts["request_id"]]
        self.lines.append(self._numbers(part.lines))

        numbers["utility"] = self._numbers([self.utilities.setdefault(name, len(self.utilities)) for name in texts["utility"]])
        # A district is a part of its utility: two utilities may use the same name.
        pairs = zip(texts["utility"], texts["district"], strict=True)
        numbers["district"] = self._numbers(
            [self.districts.setdefault(pair, len(self.districts)) if pair[1] else NO_DISTRICT for pair in pairs]
        )
        for name, column in numbers.items():
            self.columns[name].append(column)

    def whole(self) -> HistoryFile:
        """All that was read. Raises FaultyFile if any line is wrong."""
        self._check_ids()
        if self.faults:
            raise FaultyFile(self.name, list(self.faults.values()))

        none = self._numbers([])
        read = {name: np.concatenate(parts) if parts else none for name, parts in self.columns.items() if name != "request_id"}
        # Such a row could not have been in the list had it ended later: it tells nothing about how long waits are.
        told_nothing = (read["outcome"] != OPEN) & (read["outcome_on"] < read["known_from"])
        kept = np.flatnonzero(~told_nothing)
        history = History.from_columns(
            utility=read["utility"][kept],
            district=read["district"][kept],
            filed=read["filed_on"][kept],
            known_from=read["known_from"][kept],
            outcome=read["outcome"][kept],
            by=read["outcome_on"][kept],
        )
        ids = self.request_ids if kept.size == len(self.request_ids) else [self.request_ids[row] for row in kept.tolist()]
        return HistoryFile(ids, list(self.utilities), history, dropped=int(np.count_nonzero(told_nothing)))

    def _check_names(self, part: _Part, texts: dict[str, list[str]]) -> None:
        for name in ("request_id", "utility"):
            if not all(texts[name]):
                for line, text in zip(part.lines, texts[name], strict=True):
                    if not text:
                        self._fault(line, f"{name} is blank. Every request needs one.")

    def _check_ids(self) -> None:
        if len(set(self.request_ids)) == len(self.request_ids):
            return
        first: dict[str, int] = {}
        for line, request_id in zip(np.concatenate(self.lines).tolist(), self.request_ids, strict=True):
            if first.setdefault(request_id, line) != line and request_id:
                self._fault(line, f"request_id “{request_id}” stands on line {first[request_id]} too. Give every request its own.")

    def _check_days(self, part: _Part, texts: dict[str, list[str]], numbers: dict[str, Days]) -> None:
        filed, ended, outcome = numbers["filed_on"], numbers["outcome_on"], numbers["outcome"]

        def refuse(bad: npt.NDArray[np.bool_], says: Callable[[int], str]) -> None:
            for row in np.flatnonzero(bad).tolist():
                self._fault(part.lines[row], says(row))

        refuse(filed == NO_DAY, lambda row: "filed_on is blank. Give the day on which the request was sent.")
        for name in ("filed_on", "known_from", "outcome_on"):
            for row in np.flatnonzero(numbers[name] == _BAD).tolist():
                self._fault(part.lines[row], _no_day(name, texts[name][row]))
        refuse(outcome == _BAD, lambda row: f"outcome “{part.columns['outcome'][row]}” is not known. Write fitted, cancelled or open.")
        closed = outcome > OPEN
        refuse(closed & (ended == NO_DAY), lambda row: f"outcome_on is blank. Give the day on which it was {texts['outcome'][row]}.")
        refuse((outcome == OPEN) & (ended != NO_DAY), lambda row: "it is open and has an outcome_on. Remove the day, or say what happened.")
        refuse(
            closed & (ended >= 0) & (ended < filed),
            lambda row: f"outcome_on {texts['outcome_on'][row]} comes before filed_on {texts['filed_on'][row]}. It must not.",
        )

    def _fault(self, line: int, says: str) -> None:
        self.faults.setdefault(line, Fault(line, says))

    @staticmethod
    def _numbers(values: list[int]) -> Days:
        return np.array(values, dtype=np.int32)


def _closures(path: Path) -> dict[str, dict[int, bool]]:
    """Utility to day number to whether it is worked."""
    days, faults = _DayNumbers(), []
    told: dict[str, dict[int, bool]] = {}
    for part in _parts(path, CLOSURE_COLUMNS):
        faults += part.faults
        for line, utility, day, kind in zip(part.lines, *(part.columns[name] for name in CLOSURE_COLUMNS), strict=True):
            number, known = days[day], _KINDS.get(kind.lower())
            if not utility:
                faults.append(Fault(line, f"utility is blank. Name one, or write {EVERY_UTILITY} for every utility."))
            elif number < 0:
                faults.append(Fault(line, _no_day("day", day)))
            elif known is None:
                faults.append(Fault(line, f"kind “{kind}” is not known. Write closed or open, or leave it blank for closed."))
            elif told.setdefault(utility, {}).setdefault(number, known == "open") != (known == "open"):
                faults.append(Fault(line, f"{day} is both closed and open for “{utility}”. Keep one of the two."))
    if faults:
        raise FaultyFile(path.name, faults)
    return told


def _with(worked: npt.NDArray[np.bool_], told: dict[int, bool], first: int) -> npt.NDArray[np.bool_]:
    changed = worked.copy()
    for day, is_worked in told.items():
        if first <= day < first + worked.size:
            changed[day - first] = is_worked
    return changed
