"""The run sheet of a day's calls on paper: one call a block, with room for notes. Plain values in, bytes out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from reportlab.pdfgen.canvas import Canvas

from jobs.core import cautions, words
from jobs.core.papers import fonts
from jobs.core.papers.sheet import BODY, LINE, UNDER, Entry, Stack, Text, plain, rule, sheet, style

CAUTIONS: Final = ("generator", "medical", "lifts", "no_test_in_storm")
TITLE: Final = style(20, font=fonts.SERIF_BOLD, leading=24)
BIG: Final = style(15, font=fonts.SERIF_BOLD, leading=18)
NAME: Final = style(11.5, font=fonts.SANS_BOLD)


@dataclass(frozen=True)
class Line:
    """One call as it is printed; every text is ready to be read."""

    time: str  # by the clock at the home, with its zone
    office: str  # "office 12:00" where that differs
    verifier: str
    name: str
    phone: str
    language: str
    home: str  # code, street, town
    particulars: Sequence[str]  # state, relay, lift, what is still missing


@dataclass(frozen=True)
class NoteLines:
    """Dotted lines to write on."""

    count: int = 3
    apart: float = 20

    def height(self, width: float) -> float:
        return self.count * self.apart + 4

    def draw(self, canvas: Canvas, x: float, top: float, width: float) -> None:
        canvas.setDash(1, 2)
        for number in range(1, self.count + 1):
            rule(canvas, x, top - number * self.apart, x + width, 0.6, LINE)
        canvas.setDash()


def run_sheet(lines: Sequence[Line], *, day: str, company: str, as_of: str, whose: str) -> bytes:
    """whose: "all verifiers", or one's name."""
    count = words.count(len(lines), "call").capitalize() if lines else "No call"
    entries = [
        Entry(Text(plain(day), style(11, font=fonts.SERIF_BOLD)), Text(f"{count}: run sheet of {plain(whose)}", TITLE, after=6)),
        Entry(None, Text("Times are by the clock at the home. Before each test, read aloud and wait for the answer:", BODY, after=3)),
    ]
    for name in CAUTIONS:
        caution = cautions.of(name)
        text = caution.sentence("en")
        word, _, rest = text.partition(".")
        entries.append(Entry(Text(f"<b>{plain(word)}</b>", style(9.5, font=fonts.SANS_BOLD)), Text(plain(rest.strip()), BODY, after=2)))
    entries += [_block(line) for line in lines]
    return sheet(entries, title=f"Run sheet, {day}", author=company, foot=f"{company}  |  Run sheet of {whose}, {day}  |  as of {as_of}")


def _block(line: Line) -> Entry:
    margin = Stack((Text(plain(line.time), BIG), Text(plain(line.office), UNDER), Text(plain(line.verifier), UNDER)))
    told = Stack(
        (
            Text(plain(f"{line.name}, {line.phone}"), NAME, after=1),
            Text(plain(f"{line.language}. {line.home}"), BODY, after=1),
            *(Text(plain(part), UNDER) for part in line.particulars),
            NoteLines(),
        )
    )
    return Entry(margin, told, rule="section")
