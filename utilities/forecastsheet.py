"""The forecast sheet of a utility on paper: the same charts and figures as its page. Plain values in, bytes out."""

from __future__ import annotations

from dataclasses import dataclass, field

from reportlab.lib.styles import ParagraphStyle

from jobs.core.charts.marks import Chart
from jobs.core.charts.paper import Drawn
from jobs.core.papers import fonts
from jobs.core.papers.sheet import INK_2, Block, Cells, Entry, Row, Stack, Text, plain, sheet, style

# Pixels of a chart that the sheet holds with its text at 7.5 points or more.
WIDE = 700.0
PITCH = 30.0
RANGE = 250.0


@dataclass(frozen=True)
class Request:
    """One open request; every text as it is printed."""

    sent: str
    home: str
    code: str
    half: str
    nine: str
    drawn: Chart | None


@dataclass(frozen=True)
class Plain:
    """All that the sheet says."""

    company: str
    utility: str
    as_of: str
    cells: tuple[tuple[str, str], ...]  # four: label, value
    sentence: str
    why: str
    waits: Chart | None = None
    shares: tuple[tuple[str, str, str], ...] = ()  # share, day of all years, day of the last sixty days
    waits_note: str = ""
    weeks: Chart | None = None
    week_rows: tuple[tuple[str, str, str], ...] = ()  # week, fittings, range
    range_head: Chart | None = None
    requests: tuple[Request, ...] = ()
    requests_note: str = ""
    promises: Chart | None = None
    promises_sentence: str = ""
    caption: str = field(default="")  # of the range rows


_NAME = style(17, leading=20, font=fonts.SERIF_BOLD)
_SENTENCE = style(12.5, leading=17, font=fonts.SERIF)
_H2 = style(12.5, leading=16, font=fonts.SERIF_BOLD)
_CELL = style(9, leading=11.5)
_ITALIC = style(9, leading=11.5, font=f"{fonts.SANS}-It")
_SMALL = style(8, leading=10.5, color=INK_2)
_COUNT = style(12.5, leading=16, font=fonts.SERIF_BOLD, right=True)


def forecast_sheet(paper: Plain) -> bytes:
    """One or more US Letter pages; the same values give the same bytes."""
    return sheet(
        [*_head(paper), *_waits(paper), *_weeks(paper), *_requests(paper), *_promises(paper)],
        title=f"Forecast sheet, {paper.utility}",
        author=paper.company,
        foot=f"{paper.company}, forecast sheet of {paper.utility}, as of {paper.as_of}",
    )


def _head(paper: Plain) -> list[Entry]:
    cells = Cells((tuple((1 / len(paper.cells), label, value) for label, value in paper.cells),))
    return [
        Entry(
            Stack((Text("Forecast sheet", style(10)), Text(plain(paper.as_of), _SMALL))),
            Stack((Text(plain(paper.utility), _NAME, after=2), Text(plain(paper.company), _SMALL, after=10), cells)),
        ),
        Entry(None, Stack((Text("", _SMALL, after=4), Text(plain(paper.sentence), _SENTENCE, after=4)))),
        Entry(None, Text(plain(paper.why), style(10), after=10)),
    ]


def _section(title: str, *, count: str = "") -> Entry:
    return Entry(Text(plain(count), _COUNT) if count else None, Text(plain(title), _H2, after=4), rule="section", keep=True)


def _chart(chart: Chart) -> list[Entry]:
    return [Entry(None, Drawn(chart, after=4), keep=True), Entry(None, Text(plain(chart.caption), _SMALL, after=8))]


def _row(*cells: tuple[float, str], kind: ParagraphStyle = _CELL) -> Row:
    return Row(tuple((share, Text(plain(words), kind)) for share, words in cells))


def _waits(paper: Plain) -> list[Entry]:
    if paper.waits is None:
        return []
    head = Entry(None, _row((0.3, "Fitted"), (0.3, "All years"), (0.4, "Last 60 days"), kind=_SMALL), keep=True)
    rows = [Entry(None, _row((0.3, share), (0.3, day), (0.4, lately)), rule="row", keep=True) for share, day, lately in paper.shares]
    return [
        _section("How long requests wait here"),
        *_chart(paper.waits),
        head,
        *rows,
        Entry(None, Text(plain(paper.waits_note), _SMALL, after=8)),
    ]


def _weeks(paper: Plain) -> list[Entry]:
    if paper.weeks is None:
        return []
    head = Entry(None, _row((0.3, "Week of"), (0.3, "Fittings"), (0.4, "Low to high, eight times in ten"), kind=_SMALL), keep=True)
    rows = [
        Entry(
            None,
            Row(
                (
                    (0.3, Text(plain(week), _CELL)),
                    (0.3, Text(plain(much), _ITALIC if low_high else _CELL)),
                    (0.4, Text(plain(low_high), _CELL)),
                )
            ),
            rule="row",
            head=head,
        )
        for week, much, low_high in paper.week_rows
    ]
    return [_section("Fittings week by week"), *_chart(paper.weeks), head, *rows, Entry(None, Text("", _SMALL, after=8))]


_SHARES = (0.29, 0.37, 0.17, 0.17)


def _requests(paper: Plain) -> list[Entry]:
    if not paper.requests:
        return [_section("Open requests"), Entry(None, Text("No home waits for this utility.", style(10), after=8))]
    axis: Block = Drawn(paper.range_head) if paper.range_head else Text("", _SMALL)
    heads = (Text("Home", _SMALL), axis, Text("Half by", _SMALL), Text("Nine in ten by", _SMALL))
    head = Entry(Text("Sent", _SMALL), Row(tuple(zip(_SHARES, heads, strict=True))), keep=True)
    rows = [Entry(Text(plain(each.sent), _CELL), _request(each), rule="row", head=head) for each in paper.requests]
    notes = [Text(plain(words), _SMALL, after=4) for words in (paper.requests_note, paper.caption) if words]
    return [_section("Open requests", count=str(len(paper.requests))), head, *rows, Entry(None, Stack((*notes, Text("", _SMALL, after=4))))]


def _request(each: Request) -> Row:
    cells = (
        Stack((Text(plain(each.home), _CELL), Text(plain(each.code), _SMALL))),
        Drawn(each.drawn) if each.drawn else Text("no forecast yet", _SMALL),
        Text(plain(each.half), _ITALIC),
        Text(plain(each.nine), _ITALIC),
    )
    return Row(tuple(zip(_SHARES, cells, strict=True)), after=1)


def _promises(paper: Plain) -> list[Entry]:
    if paper.promises is None:
        return []
    return [_section("Promises"), Entry(None, Text(plain(paper.promises_sentence), style(10), after=4), keep=True), *_chart(paper.promises)]
