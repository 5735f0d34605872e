"""The invoice and the credit note on paper. Plain values in, bytes out: it asks no database, and the same values give the same bytes."""

from __future__ import annotations

from dataclasses import dataclass, field

from jobs.core.papers import fonts
from jobs.core.papers.sheet import INK_2, Across, Cells, Entry, Notice, Pair, Stack, Text, plain, sheet, style


@dataclass(frozen=True)
class Company:
    name: str
    address: str = ""
    phone: str = ""
    email: str = ""
    licence: str = ""


@dataclass(frozen=True)
class Line:
    """What is asked for: the day it was earned, what it is, the contract's words, the amount."""

    day: str
    name: str
    words: str
    amount: str


@dataclass(frozen=True)
class Evidence:
    """A fact on which the milestone rests."""

    day: str
    fact: str
    said: str  # who said so, and what proves it


@dataclass(frozen=True)
class Plain:
    """All that an invoice says; every text as it is printed."""

    company: Company
    number: str
    job: str
    to: str
    to_address: str
    home: str
    issued: str
    due: str
    asked: str  # "$19,160.00 is due by June 27, 2026."
    later: str  # what comes after it
    lines: tuple[Line, ...]
    total: str
    evidence: tuple[Evidence, ...] = ()
    notices: tuple[tuple[str, str], ...] = ()  # the signal word and the message, one for each language
    how_to_pay: str = ""
    foot: str = field(default="")
    kind: str = "Invoice"  # or "Credit note", whose amounts are below zero
    papers: tuple[str, ...] = ()  # what goes with it


def invoice(paper: Plain) -> bytes:
    """One or more US Letter pages."""
    return sheet(
        [*_head(paper), *_asked(paper), *_why(paper), *_with_it(paper), *_notices(paper), *_how_to_pay(paper)],
        title=f"{paper.kind} {paper.number}",
        author=paper.company.name,
        foot=paper.foot or f"{paper.company.name}, {paper.kind.lower()} {paper.number}",
    )


_HEAD = style(17, leading=20, font=fonts.SERIF_BOLD)
_NUMBER = style(20, leading=23, font=fonts.SERIF_BOLD)
_SENTENCE = style(13.5, leading=18.5, font=fonts.SERIF)
_H2 = style(12.5, leading=16, font=fonts.SERIF_BOLD)
_DAY = style(9.5, leading=12.6)
_SMALL = style(8.5, leading=11.5, color=INK_2)
_SAID = style(8.5, leading=13.2, color=INK_2)


def _head(paper: Plain) -> list[Entry]:
    company = paper.company
    reach = ", ".join(part for part in (company.phone, company.email) if part)
    licence = f"License {company.licence}" if company.licence else ""
    under = "\n".join(line for line in (company.address, ", ".join(part for part in (reach, licence) if part)) if line)
    to = paper.to + (f"\n{paper.to_address}" if paper.to_address else "")
    block = Cells(
        (
            ((0.5, "To", to), (0.5, "Home", paper.home)),
            (
                (0.2, paper.kind, paper.number),
                (0.28, "Issued", paper.issued),
                *([(0.32, "Due", paper.due)] if paper.due else [(0.32, "To pay", "nothing")]),
                (0.2, "Job", paper.job),
            ),
        )
    )
    return [
        Entry(
            Stack((Text(plain(paper.kind), style(10)), Text(plain(paper.number), _NUMBER))),
            Stack((Text(plain(company.name), _HEAD, after=2), Text(plain(under), _SMALL, after=12))),
        ),
        Entry(None, Stack((block, Text("", style(10), after=4)))),
    ]


def _asked(paper: Plain) -> list[Entry]:
    later = f" {plain(paper.later)}" if paper.later else ""
    entries = [
        Entry(None, Stack((Text(f"<b>{plain(paper.asked)}</b>{later}", _SENTENCE, after=14),))),
        Entry(
            Text("Earned on" if paper.due else "Issued on", _SMALL),
            Pair(Text("For", _SMALL), ""),
            rule="section",
            keep=True,
        ),
    ]
    for line in paper.lines:
        words = [Text(f"<b>{plain(line.name)}</b>", style(10))]
        if line.words:
            words.append(Text(plain(line.words), _SMALL))
        entries.append(Entry(Text(plain(line.day), _DAY), Pair(Stack(tuple(words)), line.amount), rule="row"))
    entries.append(
        Entry(
            None,
            Stack(
                (
                    Pair(Text("<b>To pay</b>" if paper.due else "<b>Credited</b>", style(10)), paper.total, total=True),
                    Text("", style(6), after=4),
                )
            ),
        )
    )
    return entries


def _why(paper: Plain) -> list[Entry]:
    if not paper.evidence:
        return []
    entries = [Entry(None, Text("Why this is due now", _H2, after=4), rule="section", keep=True)]
    before = ""
    for fact in paper.evidence:
        words = Across(Text(plain(fact.fact), style(10)), Text(plain(fact.said), _SAID))
        # One day stands once, before all that happened on it.
        entries.append(Entry(Text(plain(fact.day), _DAY) if fact.day != before else None, words, rule="row"))
        before = fact.day
    entries.append(Entry(None, Text("", style(6), after=2)))
    return entries


def _with_it(paper: Plain) -> list[Entry]:
    """The papers that the payer asks for, and that are there."""
    if not paper.papers:
        return []
    head = Entry(None, Text("What goes with it", _H2, after=4), rule="section", keep=True)
    return [
        head,
        *(Entry(None, Text(plain(name), style(10)), rule="row") for name in paper.papers),
        Entry(None, Text("", style(6), after=8)),
    ]


def _notices(paper: Plain) -> list[Entry]:
    return [Entry(None, Notice(word, message)) for word, message in paper.notices]


def _how_to_pay(paper: Plain) -> list[Entry]:
    if not paper.how_to_pay:
        return []
    return [
        Entry(None, Text("", style(4))),
        Entry(
            None,
            Stack((Text("How to pay" if paper.due else "What happens with it", _H2, after=2), Text(plain(paper.how_to_pay), style(10)))),
            rule="section",
        ),
    ]
