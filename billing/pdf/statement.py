"""A payer's statement on paper. Plain values in, bytes out."""

from __future__ import annotations

from dataclasses import dataclass

from billing.pdf.invoice import Company
from jobs.core.papers import fonts
from jobs.core.papers.sheet import INK_2, Cells, Entry, Pair, Row, Stack, Text, plain, sheet, style


@dataclass(frozen=True)
class Movement:
    day: str
    what: str
    under: str
    amount: str
    balance: str


@dataclass(frozen=True)
class OpenItem:
    due: str
    name: str
    under: str
    left: str


@dataclass(frozen=True)
class Stated:
    """All that a statement says; every text as it is printed."""

    company: Company
    to: str
    to_address: str
    as_of: str
    period: str
    asked: str
    later: str
    before: str
    movements: tuple[Movement, ...]
    balance: str
    balance_under: str
    items: tuple[OpenItem, ...]
    buckets: tuple[tuple[str, str], ...]
    open_total: str
    how_to_pay: str
    foot: str


_HEAD = style(17, leading=20, font=fonts.SERIF_BOLD)
_SENTENCE = style(13.5, leading=18.5, font=fonts.SERIF)
_H2 = style(12.5, leading=16, font=fonts.SERIF_BOLD)
_DAY = style(9.5, leading=12.6)
_CELL = style(9.5, leading=12.6)
_NUM = style(9.5, leading=12.6, right=True)
_SMALL = style(8.5, leading=11.5, color=INK_2)
_SMALL_NUM = style(8.5, leading=11.5, color=INK_2, right=True)
_WIDTHS = (0.56, 0.22, 0.22)


def statement(paper: Stated) -> bytes:
    """One or more US Letter pages."""
    company = paper.company
    reach = ", ".join(part for part in (company.phone, company.email) if part)
    under = "\n".join(line for line in (company.address, reach) if line)
    to = paper.to + (f"\n{paper.to_address}" if paper.to_address else "")
    block = Cells((((0.4, "To", to), (0.25, "As of", paper.as_of), (0.35, "Period", paper.period)),))
    later = f" {plain(paper.later)}" if paper.later else ""
    return sheet(
        [
            Entry(
                Text("Statement", style(14, leading=18, font=fonts.SERIF_BOLD)),
                Stack((Text(plain(company.name), _HEAD, after=2), Text(plain(under), _SMALL, after=12))),
            ),
            Entry(None, Stack((block, Text("", style(10), after=4)))),
            Entry(None, Text(f"<b>{plain(paper.asked)}</b>{later}", _SENTENCE, after=12)),
            *_open(paper),
            *_movements(paper),
            *_how_to_pay(paper),
        ],
        title=f"Statement, {paper.to}",
        author=company.name,
        foot=paper.foot,
    )


def _open(paper: Stated) -> list[Entry]:
    if not paper.items:
        return []
    head = Entry(Text("Due", _SMALL), Pair(Text("What is open", _SMALL), ""), rule="row", keep=True)
    rows = [
        Entry(
            Text(plain(item.due), _DAY),
            Pair(Stack((Text(plain(item.name), _CELL), Text(plain(item.under), _SMALL))), item.left),
            rule="row",
            head=head,
        )
        for item in paper.items
    ]
    ages = Row(
        tuple((1 / len(paper.buckets), Stack((Text(plain(name), _SMALL), Text(plain(sum_), _CELL)))) for name, sum_ in paper.buckets)
    )
    return [
        Entry(None, Text("Open now", _H2, after=4), rule="section", keep=True),
        head,
        *rows,
        Entry(None, Pair(Text("<b>Open</b>", style(10)), paper.open_total, total=True)),
        Entry(Text("Days past due", _SMALL), ages, rule="row"),
        Entry(None, Text("", style(6), after=4)),
    ]


def _line(what: str, under: str, amount: str, balance: str) -> Row:
    first, second, third = _WIDTHS
    words = Stack((Text(what, _CELL), *((Text(plain(under), _SMALL),) if under else ())))
    return Row(((first, words), (second, Text(plain(amount), _NUM)), (third, Text(plain(balance), _NUM))))


def _movements(paper: Stated) -> list[Entry]:
    head = Entry(
        Text("Day", _SMALL),
        Row(((_WIDTHS[0], Text("What", _SMALL)), (_WIDTHS[1], Text("Amount", _SMALL_NUM)), (_WIDTHS[2], Text("Balance", _SMALL_NUM)))),
        rule="row",
        keep=True,
    )
    return [
        Entry(None, Text(plain(f"From {paper.period}"), _H2, after=4), rule="section", keep=True),
        head,
        Entry(None, _line("Balance before", "", "", paper.before), rule="row", head=head),
        *(
            Entry(Text(plain(m.day), _DAY), _line(plain(m.what), m.under, m.amount, m.balance), rule="row", head=head)
            for m in paper.movements
        ),
        Entry(None, _line("<b>Balance</b>", paper.balance_under, "", paper.balance), rule="row"),
        Entry(None, Text("", style(6), after=4)),
    ]


def _how_to_pay(paper: Stated) -> list[Entry]:
    if not paper.how_to_pay:
        return []
    return [Entry(None, Stack((Text("How to pay", _H2, after=2), Text(plain(paper.how_to_pay), style(10)))), rule="section")]
