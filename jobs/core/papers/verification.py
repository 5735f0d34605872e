"""The verification record on paper: what was seen during a test, to the second, and every correction. Plain values in, bytes out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from jobs.core.papers import fonts
from jobs.core.papers.sheet import INK_2, UNDER, Block, Cells, Entry, Row, Stack, Text, plain, sheet, style

BOUNDS: Final = (
    "This records what was seen during a test on that day. It is not an inspection, a permission to operate, a warranty or an approval of "
    "electrical work. Local codes, the serving utility's requirements and the judgment of licensed persons come before anything shown here."
)
_SMALL: Final = style(9, leading=12)
_HEAD: Final = style(8, color=INK_2)


@dataclass(frozen=True)
class Seen:
    """One line of what was seen or answered. corrected: why it does not stand."""

    time: str
    what: str
    told: str
    note: str = ""
    corrected: bool = False


@dataclass(frozen=True)
class Record:
    company: str
    phone: str
    job: str
    home: str
    day: str
    where: str  # "by telephone", "on site, with Ana Ortiz, license EL 1177"
    result: str  # "Passed", "Not passed: the load went off"
    voided: str  # why it proves nothing any more; empty where it stands
    verifier: str
    attendee: str
    statement: str
    serial: str
    software: str
    times: tuple[tuple[str, str], ...]  # the stretches: disconnected, load served, both together
    put_back: str
    answers: tuple[Seen, ...]
    seen: tuple[Seen, ...]
    balance: tuple[tuple[str, str], ...]  # of the newest readings in island mode
    additions: tuple[tuple[str, str], ...]  # (day and name, words)
    as_of: str


def verification(record: Record) -> bytes:
    """One or more US Letter pages."""
    entries = [*_head(record), *_proved(record)]
    entries += _listed("Seen", record.seen)
    if record.balance:
        rows = tuple(Row(((0.4, Text(plain(what), _SMALL)), (0.6, Text(plain(figure), _SMALL)))) for what, figure in record.balance)
        entries.append(_section("Balance", Stack((_title("Balance in island mode, the last readings"), *rows))))
    entries += _listed("Asked", record.answers)
    for whom, words in record.additions:
        entries.append(_section("Added", Stack((Text(plain(whom), UNDER), Text(plain(words), style(10), after=3)))))
    entries.append(_section("", Text(plain(BOUNDS), style(9.5, leading=13))))
    return sheet(
        entries,
        title=f"Verification record, job {record.job}",
        author=record.company,
        foot=f"{record.company}, verification record, job {record.job}, as of {record.as_of}",
    )


def _head(record: Record) -> list[Entry]:
    third, half = 1 / 3, 0.5
    cells = Cells(
        (
            ((half, "Home", record.home), (0.25, "Job", record.job), (0.25, "Day of the test", record.day)),
            ((third, "Held", record.where), (third, "Verifier", record.verifier), (third, "At home", record.attendee)),
            ((half, "Collar", record.serial), (half, "Software", record.software)),
        )
    )
    margin = Stack((Text(plain(record.job), style(13, font=fonts.SERIF_BOLD)), Text("verification record", UNDER)))
    return [
        Entry(margin, Text(plain(f"Verification record, {record.company}"), style(17, leading=21, font=fonts.SERIF_BOLD), after=6)),
        Entry(None, cells),
    ]


def _proved(record: Record) -> list[Entry]:
    lead = [Text(f"<b>{plain(record.result)}</b>", style(14, leading=18, font=fonts.SERIF), after=4)]
    if record.voided:
        lead.insert(0, Text(f"<b>Voided. This record proves nothing any more:</b> {plain(record.voided)}", style(11, leading=14), after=4))
    lines = [Text(plain(f"{what}: {when}"), style(10), after=1) for what, when in record.times]
    if record.put_back:
        lines.append(Text(plain(f"Reserve and mode put back: {record.put_back}"), style(10), after=1))
    if record.statement:
        lines.append(Text(plain(f"{record.attendee} said: “{record.statement}”"), style(10), after=1))
    return [Entry(None, Text("", style(6))), _section("Result", Stack((*lead, *lines)))]


def _listed(margin: str, rows: tuple[Seen, ...]) -> list[Entry]:
    if not rows:
        return []
    head = Entry(
        Text(plain(margin), _SMALL),
        Row(tuple((share, Text(plain(word), _HEAD)) for share, word in ((0.32, "What"), (0.34, "Told or read"), (0.34, "Note")))),
        rule="section",
        keep=True,
    )
    return [head, *(_line(row, head) for row in rows)]


def _line(row: Seen, head: Entry) -> Entry:
    def cell(text: str) -> Text:
        told = plain(text)
        return Text(f"<strike>{told}</strike>" if row.corrected and text else told, _SMALL)

    cells = ((0.32, cell(row.what)), (0.34, cell(row.told)), (0.34, Text(plain(row.note), _SMALL)))
    return Entry(Text(plain(row.time), _SMALL), Row(cells), rule="row", head=head)


def _title(words: str) -> Text:
    return Text(plain(words), style(11, font=fonts.SERIF_BOLD), after=3)


def _section(margin: str, block: Block) -> Entry:
    return Entry(Text(plain(margin), _SMALL) if margin else None, block, rule="section")
