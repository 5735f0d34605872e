"""Which debts a line of a bank's file may have paid: by number, by amount, by name. Pure; a person confirms."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

By = Literal["number", "amount", "name"]

LIKE = 0.5  # of the words of a name; below it two names are not taken for one
_WORD = re.compile(r"[^\W_]+")
_PLAIN_WORDS = frozenset({"the", "and", "of", "inc", "llc", "co", "trust", "bank", "credit", "payment", "ach", "wire", "check", "from"})


@dataclass(frozen=True)
class Open:
    """A debt with what is left of it. number: as its payer writes it; names: of the payer and of the home's people."""

    key: str
    payer: str  # whose it is; debts of one payer have the same
    number: str
    left_minor: int
    names: tuple[str, ...]


@dataclass(frozen=True)
class Line:
    """What the bank tells of a payment. text: reference and numbers as they came."""

    payer_text: str
    text: str
    amount_minor: int


@dataclass(frozen=True)
class Proposal:
    """parts: key and amount, the longest due first, never more than came or than is open; rest_minor: what would stay unapplied."""

    payer: str
    parts: tuple[tuple[str, int], ...]
    by: tuple[By, ...]
    rest_minor: int
    short_minor: int  # of the debts it touches: what would stay open

    @property
    def even(self) -> bool:
        """It settles what it touches, to the cent."""
        return not self.rest_minor and not self.short_minor


class Book:
    """The open debts, in the order in which they are to be paid, found by number, amount and word."""

    def __init__(self, debts: Iterable[Open]) -> None:
        self._debts = {debt.key: debt for debt in debts}
        self._place = {key: place for place, key in enumerate(self._debts)}
        self._by_number: dict[str, set[str]] = {}
        self._by_amount: dict[int, set[str]] = {}
        self._by_payer: dict[str, set[str]] = {}
        self._by_word: dict[str, set[str]] = {}  # word of a name: payers
        self._names: dict[str, set[frozenset[str]]] = {}
        for debt in self._debts.values():
            if debt.number:
                self._by_number.setdefault(debt.number.casefold(), set()).add(debt.key)
            self._by_amount.setdefault(debt.left_minor, set()).add(debt.key)
            self._by_payer.setdefault(debt.payer, set()).add(debt.key)
            for name in debt.names:
                told = words_of(name)
                self._names.setdefault(debt.payer, set()).add(told)
                for word in told:
                    self._by_word.setdefault(word, set()).add(debt.payer)

    def take(self, proposal: Proposal) -> None:
        """Keep what a proposal would settle from being proposed to the next line."""
        for key, minor in proposal.parts:
            debt = self._debts[key]
            self._by_amount[debt.left_minor].discard(key)
            less = replace(debt, left_minor=debt.left_minor - minor)
            self._debts[key] = less
            self._by_amount.setdefault(less.left_minor, set()).add(key)

    def propose(self, line: Line) -> Proposal | None:
        """The likeliest debts, or nothing where none is likelier than another."""
        alike = self._alike(line.payer_text)
        if numbered := self._numbered(line, alike):
            return _proposal(line, numbered, "number", alike)
        same = [debt for debt in self._open(self._by_amount.get(line.amount_minor, set())) if not alike or debt.payer in alike]
        if len({debt.payer for debt in same}) == 1:
            # Of one payer and one amount, the longest due.
            return _proposal(line, same[:1], "amount", alike)
        if len(alike) == 1:
            [payer] = alike
            theirs = self._open(self._by_payer[payer])
            return _proposal(line, theirs, "name", alike) if theirs else None
        return None

    def _open(self, keys: Iterable[str]) -> list[Open]:
        """In the order of payment, without what is settled."""
        return [self._debts[key] for key in sorted(keys, key=self._place.__getitem__) if self._debts[key].left_minor > 0]

    def _numbered(self, line: Line, alike: set[str]) -> list[Open]:
        """The debts whose numbers stand in the text; of several payers those of the one that is named."""
        told = {part.casefold() for part in re.findall(r"[\w-]+", line.text)}
        told |= {word for part in told for word in part.split("-")}
        found = self._open({key for number in told for key in self._by_number.get(number, ())})
        payers = {debt.payer for debt in found}
        if len(payers) > 1:
            payers &= alike
        return [debt for debt in found if debt.payer in payers] if len(payers) == 1 else []

    def _alike(self, name: str) -> set[str]:
        """The payers whose name is likest: all of the likest, if two are equally like."""
        told = words_of(name)
        near = {payer for word in told for payer in self._by_word.get(word, ())}
        scores = {payer: max(likeness(told, own) for own in self._names[payer]) for payer in near}
        best = max(scores.values(), default=0.0)
        return {payer for payer, score in scores.items() if score == best} if best >= LIKE else set()


def words_of(name: str) -> frozenset[str]:
    """The words of a name without accents and case, and without those that many names share; "HERNANDEZ G" is {hernandez, g}."""
    plain = "".join(c for c in unicodedata.normalize("NFKD", name.casefold()) if not unicodedata.combining(c))
    found = frozenset(_WORD.findall(plain))
    return found - _PLAIN_WORDS or found


def likeness(one: frozenset[str], other: frozenset[str]) -> float:
    """0 to 1: the share of the shorter name's words that stand in the longer; an initial counts half for a word that begins with it."""
    short, long = sorted((one, other), key=len)
    if not short:
        return 0.0
    score = 0.0
    for word in short:
        if word in long:
            score += 1
        elif any(len(min(word, rest, key=len)) == 1 and rest[0] == word[0] for rest in long):
            score += 0.5
    return score / len(short)


def _proposal(line: Line, debts: Sequence[Open], first: By, alike: set[str]) -> Proposal:
    parts: list[tuple[str, int]] = []
    rest, short = line.amount_minor, 0
    for debt in debts:
        part = min(rest, debt.left_minor)
        if part:
            parts.append((debt.key, part))
        # What is named is expected to be settled, also where nothing is left for it.
        if part or first == "number":
            short += debt.left_minor - part
        rest -= part
    even = not rest and not short
    by: list[By] = [first]
    if first == "number" and even:
        by.append("amount")
    if debts[0].payer in alike and first != "name":
        by.append("name")
    return Proposal(debts[0].payer, tuple(parts), tuple(by), rest, short)
