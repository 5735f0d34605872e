"""What is known of past and open waits: one row per request to fit, in arrays."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Self

import numpy as np
import numpy.typing as npt

Days = npt.NDArray[np.int32]
Floats = npt.NDArray[np.float64]
Rows = npt.NDArray[np.intp]
Flags = npt.NDArray[np.bool_]

# Stands for "no day" where a day is blank. As a day number it would be 1969-12-31, before any request.
NO_DAY = -1
NO_DISTRICT = -1

OPEN, FITTED, CANCELLED = 0, 1, 2


@dataclass(frozen=True)
class History:
    """One row per wait; all arrays (n,), kept as int32 and read-only. Days are numbered from 1970-01-01.

    utility: index of the utility (0 ... ). district: index, NO_DISTRICT if blank.
    filed: day the request was sent; the wait starts on the next working day.
    known_from: first day the row was under observation; NO_DAY = from `filed` on.
    outcome: OPEN, FITTED or CANCELLED. by: day of the outcome, of a bracket its last day; NO_DAY while open.
    after: of a bracketed fitting the last day it was seen not fitted, the fitting lies in (after, by]; NO_DAY = fitted on `by`.

    Raises ValueError if shapes differ, an outcome has no day or one before `filed`, an open row has one, or a bracket is empty.
    """

    utility: Days
    district: Days
    filed: Days
    known_from: Days
    after: Days
    by: Days
    outcome: Days

    def __post_init__(self) -> None:
        _freeze(self)
        ended = self.outcome != OPEN
        if not np.isin(self.outcome, (OPEN, FITTED, CANCELLED)).all():
            raise ValueError("An outcome must be open, fitted or cancelled.")
        _refuse(self.utility < 0, "name no utility. Every request needs one.")
        _refuse(self.filed < 0, "have no filing day, or one before 1970.")
        _refuse(ended & (self.by == NO_DAY), "are fitted or cancelled on no day. Give the day, or leave them open.")
        _refuse(~ended & (self.by != NO_DAY), "are open and have a day of outcome. Remove the day, or say what happened on it.")
        _refuse(ended & (self.by < self.filed), "end before they were filed. The outcome must come on or after the filing day.")
        bracketed = (self.outcome == FITTED) & (self.after != NO_DAY)
        _refuse(bracketed & (self.after >= self.by), "have a bracket that ends before it begins.")

    @classmethod
    def from_columns(
        cls,
        *,
        utility: npt.ArrayLike,
        filed: npt.ArrayLike,
        outcome: npt.ArrayLike,
        by: npt.ArrayLike,
        after: npt.ArrayLike | None = None,
        known_from: npt.ArrayLike | None = None,
        district: npt.ArrayLike | None = None,
    ) -> Self:
        """From lists or arrays; a column that is left out is blank in every row."""
        sent = _column(filed)
        return cls(
            utility=_column(utility),
            district=np.full_like(sent, NO_DISTRICT) if district is None else _column(district),
            filed=sent,
            known_from=np.full_like(sent, NO_DAY) if known_from is None else _column(known_from),
            after=np.full_like(sent, NO_DAY) if after is None else _column(after),
            by=_column(by),
            outcome=_column(outcome),
        )

    def __len__(self) -> int:
        return int(self.utility.size)

    def rows(self, chosen: Rows | Flags) -> Self:
        return type(self)(**{field.name: getattr(self, field.name)[chosen] for field in fields(self)})


@dataclass(frozen=True)
class OpenRequests:
    """The requests to forecast; arrays (n,), kept as int32 and read-only.

    filed: day the request was sent. A day after the as-of day is a planned sending: it is forecast as if filed then.
    district: NO_DISTRICT if blank. promise_first, promise_last: first and last day that the utility has named for the request and that
    still stand, NO_DAY if none do.
    """

    utility: Days
    district: Days
    filed: Days
    promise_first: Days
    promise_last: Days

    def __post_init__(self) -> None:
        _freeze(self)
        _refuse(self.utility < 0, "name no utility. Every request needs one.")
        _refuse(self.filed < 0, "have no filing day, or one before 1970.")
        _refuse(self.promise_first > self.promise_last, "have a promise that ends before it begins.")

    def __len__(self) -> int:
        return int(self.utility.size)

    @classmethod
    def from_columns(
        cls,
        *,
        utility: npt.ArrayLike,
        filed: npt.ArrayLike,
        district: npt.ArrayLike | None = None,
        promise_first: npt.ArrayLike | None = None,
        promise_last: npt.ArrayLike | None = None,
    ) -> Self:
        """From lists or arrays; a column that is left out is blank in every row. A promise needs both of its days."""
        sent = _column(filed)
        return cls(
            utility=_column(utility),
            district=np.full_like(sent, NO_DISTRICT) if district is None else _column(district),
            filed=sent,
            promise_first=np.full_like(sent, NO_DAY) if promise_first is None else _column(promise_first),
            promise_last=np.full_like(sent, NO_DAY) if promise_last is None else _column(promise_last),
        )

    @classmethod
    def of(cls, history: History, rows: Rows, *, promises: Promises | None = None, as_of: int | None = None) -> Self:
        """Rows of a history; with promises, those that stand at the end of the as-of day.

        Raises ValueError if promises come without an as-of day.
        """
        first = last = None
        if promises is not None:
            if as_of is None:
                raise ValueError("Which promises stand depends on the as-of day. Give it.")
            first, last = promises.standing(len(history), as_of)
            first, last = first[rows], last[rows]
        return cls.from_columns(
            utility=history.utility[rows],
            district=history.district[rows],
            filed=history.filed[rows],
            promise_first=first,
            promise_last=last,
        )


@dataclass(frozen=True)
class Promises:
    """Days or windows that utilities named; one row per promise, several may belong to one wait. Arrays (n,), kept as int32 and read-only.

    row: place in the history of the wait. named_on: day it was named. first, last: the window, both days in it; one day: the same twice.

    Raises ValueError if shapes differ, a day is missing, or a window ends before it begins.
    """

    row: Days
    named_on: Days
    first: Days
    last: Days

    def __post_init__(self) -> None:
        _freeze(self)
        _refuse(self.row < 0, "belong to no request.")
        _refuse((self.named_on < 0) | (self.first < 0), "lack the day they were named on or the day they name, or it lies before 1970.")
        _refuse(self.first > self.last, "have a window that ends before it begins.")

    def __len__(self) -> int:
        return int(self.row.size)

    @classmethod
    def from_columns(cls, *, row: npt.ArrayLike, named_on: npt.ArrayLike, first: npt.ArrayLike, last: npt.ArrayLike) -> Self:
        """From lists or arrays."""
        return cls(row=_column(row), named_on=_column(named_on), first=_column(first), last=_column(last))

    def standing(self, waits: int, as_of: int) -> tuple[Days, Days]:
        """First and last day promised to each of so many waits, (waits,) each; NO_DAY where nothing stands at the end of the as-of day.

        The newest one stands until its window has passed; those before it do not come back.
        """
        chosen = np.flatnonzero(self.named_on <= as_of)
        # Of two named on one day the later window: the order of the rows must not matter.
        chosen = chosen[np.lexsort([key[chosen] for key in (self.first, self.last, self.named_on)])]
        newest = np.full(waits, NO_DAY, dtype=np.intp)
        newest[self.row[chosen]] = chosen
        stands = newest != NO_DAY
        stands[stands] = self.last[newest[stands]] > as_of
        first, last = (np.full(waits, NO_DAY, dtype=np.int32) for _ in range(2))
        first[stands], last[stands] = self.first[newest[stands]], self.last[newest[stands]]
        return first, last


def known(history: History, as_of: int) -> Flags:
    """Rows that could be in the list at the end of the as-of day: filed and under observation by then."""
    begun: Flags = (history.filed <= as_of) & (history.known_from <= as_of)
    return begun


def ended(history: History, as_of: int) -> Flags:
    """Rows whose outcome was known at the end of the as-of day; a fitting on that day is known.

    A bracket is known on its last day: until then nobody had seen the collar fitted.
    """
    done: Flags = (history.outcome != OPEN) & (history.by <= as_of)
    return done


def open_rows(history: History, as_of: int) -> Rows:
    """Row numbers of the requests open at the end of the as-of day, whatever became of them later."""
    return np.flatnonzero(known(history, as_of) & ~ended(history, as_of))


def _column(values: npt.ArrayLike) -> Days:
    return np.array(values, dtype=np.int32)


def _freeze(table: History | OpenRequests | Promises) -> None:
    # A copy, so that what the caller does to his arrays later cannot change a history that was already checked.
    shapes = set()
    for field in fields(table):
        column = _column(getattr(table, field.name))
        column.setflags(write=False)
        object.__setattr__(table, field.name, column)
        shapes.add(column.shape)
    if len(shapes) > 1 or any(len(shape) != 1 for shape in shapes):
        raise ValueError("All columns must be one-dimensional and of the same length.")


def _refuse(bad: Flags, what: str) -> None:
    if bad.any():
        raise ValueError(f"{np.count_nonzero(bad)} rows (the first is row {int(np.argmax(bad))}) {what}")
