"""What a verifier may press on a call, in its order, what is said and looked for, and which of it is possible now. Pure.

Evidence (evidence.py) rests on some of it; the rest is the record of the call: the line lost, the test stopped, the return awaited.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from jobs.appointments.evidence import LOAD_LOST, LOAD_SERVED, MID_CLOSED, MID_OPEN, NOT_RETURNED, UTILITY_POWER

BALANCE: Final = "balance"
RETURN_BEGUN: Final = "return_begun"
NOT_YET: Final = "not_yet"
NORMAL: Final = "normal"
STOPPED: Final = "stopped"
LINE_LOST: Final = "line_lost"
LINE_BACK: Final = "line_back"

# IEEE 1547-2018, 4.10: a system waits 300 s by default before it enters service again (servicesize.py, row R12).
RETURN_MINUTES: Final = 5


@dataclass(frozen=True)
class Sight:
    """One thing to see or to note; the time is the server's."""

    what: str
    title: str  # what is seen: "MID reported open"
    say: str = ""  # what to say, aloud
    look: str = ""  # what to look for
    watts: bool = False
    load: bool = False
    words: str = ""  # label of a line of own words; empty where none is asked
    press: str = "Seen now"


ISLAND: Final = (
    Sight(
        MID_OPEN,
        "MID reported open",
        "“I begin now. The power may drop for a moment.”",
        "The gateway reports the MID open.",
    ),
    Sight(UTILITY_POWER, "Utility power", "", "Power from or to the utility; within 30 W either way is none.", watts=True),
    Sight(
        LOAD_SERVED,
        "Load served",
        "“Are the lights still on? Is it still running?”",
        "The load noted before still runs.",
        watts=True,
        load=True,
    ),
    Sight(LOAD_LOST, "Load went off", "“Did anything go off that was on before?”", "Something that ran before is off.", load=True),
)
RETURN: Final = (
    Sight(
        RETURN_BEGUN,
        "Return begun",
        "“The home goes back to the utility now. It may take five minutes.”",
        "You began the return by the equipment's own means.",
    ),
    Sight(NOT_YET, "Not yet returned", "“It may take five minutes. Please stay on the line.”", "Looked, and not yet.", press="Not yet"),
    Sight(MID_CLOSED, "Return seen", "", "The gateway reports the MID closed."),
    Sight(
        NORMAL,
        "Import or export as usual",
        "“Is everything on again, the pumps and the clocks too?”",
        "Power from or to the utility is what it was before; PV may come back minutes later.",
        watts=True,
    ),
    Sight(
        NOT_RETURNED,
        "Return not seen",
        "",
        "Not after five minutes and more. This opens the emergency page.",
        press="Not seen",
    ),
)
ASIDE: Final = (
    Sight(STOPPED, "The test was stopped", look="", words="What was it, in their words", press="The test was stopped"),
    Sight(LINE_LOST, "The line was lost", press="The line was lost"),
    Sight(LINE_BACK, "The line is back", press="The line is back"),
)
READ: Final = (Sight(BALANCE, "Readings in island mode"),)
SIGHTS: Final = {sight.what: sight for sight in (*ISLAND, *READ, *RETURN, *ASIDE)}

IN_ISLAND: Final = (UTILITY_POWER, LOAD_SERVED, LOAD_LOST, BALANCE, RETURN_BEGUN, NOT_YET, MID_CLOSED, NOT_RETURNED)
# Never refused for want of something earlier: it must be on record whatever was corrected meanwhile.
WHENEVER: Final = (RETURN_BEGUN, NOT_YET, MID_CLOSED, NORMAL, NOT_RETURNED, STOPPED, LINE_LOST, LINE_BACK)


@dataclass(frozen=True)
class Stand:
    """Where the call stands, from the presses that stand."""

    ready: bool  # cautions, answers and readings are there
    islanded: bool
    opened: bool  # the MID was reported open on this call
    line_lost: bool = False
    stopped: bool = False
    returned: bool = False
    usual: bool = False


def why_not(what: str, stand: Stand) -> str:
    """Why this cannot be pressed now, a sentence; empty where it can."""
    if what == MID_OPEN:
        if stand.islanded:
            return "The MID is reported open already."
        if stand.stopped:
            return "The test was stopped; end this call, and book another."
        if stand.line_lost:
            return "The line was lost. Telephone the home, and record that the line is back."
    elif what in IN_ISLAND and not stand.islanded:
        return "The MID has not been reported open, so this cannot have been seen in island mode."
    elif what == NORMAL and (stand.islanded or not stand.opened):
        return "The return to the utility source comes first; then what its power is."
    elif what == LINE_LOST and stand.line_lost:
        return "The line is on record as lost already. Telephone the home."
    elif what == LINE_BACK and not stand.line_lost:
        return "The line is not on record as lost."
    return ""


def possible(what: str, stand: Stand) -> bool:
    return (stand.ready or what in WHENEVER) and not why_not(what, stand)


def line_is_lost(in_order: Iterable[str]) -> bool:
    """Of the presses by time: the newest word on the line."""
    lost = False
    for what in in_order:
        lost = what == LINE_LOST or (lost and what != LINE_BACK)
    return lost
