"""A waiver of lien on paper: the contractor's wording, its blanks filled in, and a line to sign on. Plain values in, bytes out."""

from __future__ import annotations

from dataclasses import dataclass

from billing.pdf.invoice import Company
from jobs.core.papers import fonts
from jobs.core.papers.sheet import INK_2, Cells, Entry, Stack, Text, plain, sheet, style


@dataclass(frozen=True)
class Waived:
    """Every text as it is printed. source: whose wording it is."""

    company: Company
    title: str
    invoice: str
    job: str
    to: str
    home: str
    amount: str
    through: str
    cleared: str
    text: str
    source: str
    foot: str


_HEAD = style(17, leading=20, font=fonts.SERIF_BOLD)
_H1 = style(14, leading=18, font=fonts.SERIF_BOLD)
_BODY = style(11, leading=15.5)
_SMALL = style(8.5, leading=11.5, color=INK_2)


def waiver(paper: Waived) -> bytes:
    """One or more US Letter pages."""
    block = Cells(
        (
            ((0.5, "Given to", paper.to), (0.5, "Home", paper.home)),
            ((0.25, "Amount", paper.amount), (0.35, "Work through", paper.through), (0.4, "Money cleared", paper.cleared)),
        )
    )
    # A paragraph at a time, so that a long wording goes on over the page.
    paragraphs = [part.strip() for part in paper.text.split("\n\n") if part.strip()]
    line = "_" * 46
    signed = "\n\n".join((f"Signed: {line}", f"Name and title: {line}", f"Date: {line}"))
    return sheet(
        [
            Entry(
                Stack((Text("Invoice", style(10)), Text(plain(paper.invoice), style(20, leading=23, font=fonts.SERIF_BOLD)))),
                Stack((Text(plain(paper.company.name), _HEAD, after=2), Text(plain(paper.company.address), _SMALL, after=12))),
            ),
            Entry(None, Stack((block, Text("", style(10), after=6)))),
            Entry(None, Text(plain(paper.title), _H1, after=8), keep=True),
            *(Entry(None, Text(plain(part), _BODY, after=8)) for part in paragraphs),
            Entry(None, Text(plain(signed), _BODY, after=8), rule="section"),
            Entry(None, Text(plain(f"Wording: {paper.source}. Job {paper.job}."), _SMALL)),
        ],
        title=f"{paper.title}, invoice {paper.invoice}",
        author=paper.company.name,
        foot=paper.foot,
    )
