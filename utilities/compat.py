"""Survey facts against the list that a utility takes: fits the list, does not, cannot tell. The utility alone approves. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from utilities.terms import ANY, Terms

FITS, DOES_NOT, CANNOT_TELL = "fits the list", "does not fit the list", "cannot tell"


@dataclass(frozen=True)
class Surveyed:
    """What is known of a home's meter, socket and collar; empty or None where it is not. in_socket: "none" where nothing stands there."""

    meter_form: str = ""
    meter_class: int | None = None
    socket: str = ""
    voltage: str = ""
    in_socket: str = ""
    revision: str = ""


@dataclass(frozen=True)
class Point:
    """One line of the comparison. seen, takes: as said; missing: the fact that is wanted, empty where none is."""

    name: str
    seen: str
    takes: str
    answer: str
    missing: str = ""


@dataclass(frozen=True)
class Compared:
    points: tuple[Point, ...]

    @property
    def answer(self) -> str:
        """One that does not fit outweighs all that is missing."""
        answers = {point.answer for point in self.points}
        return DOES_NOT if DOES_NOT in answers else CANNOT_TELL if CANNOT_TELL in answers else FITS

    @property
    def missing(self) -> tuple[str, ...]:
        return tuple(point.missing for point in self.points if point.missing)

    @property
    def against(self) -> tuple[str, ...]:
        return tuple(f"{point.name} {point.seen}, taken: {point.takes}" for point in self.points if point.answer == DOES_NOT)


_NOT_SAID: Final = "not known", "not seen"


def compare(surveyed: Surveyed, terms: Terms) -> Compared:
    """Each point of the utility's list. Nothing is guessed: a list that was not told, or a fact that was not seen, is missing."""
    other = "" if surveyed.in_socket.casefold() in ("none", "nothing") else surveyed.in_socket
    points = [
        _point("meter form", surveyed.meter_form, terms.meter_forms),
        _point("meter class", str(surveyed.meter_class or ""), terms.meter_classes),
        _point("socket", surveyed.socket, terms.sockets),
        _point("service voltage", surveyed.voltage, terms.voltages),
        _point("collar revision", surveyed.revision, terms.revisions),
    ]
    if other:
        points.append(_point("device in the socket", other, terms.in_socket))
    return Compared(tuple(points))


def _point(name: str, seen: str, takes: Sequence[str]) -> Point:
    known = "" if seen.strip().casefold() in _NOT_SAID else seen.strip()
    said = ", ".join(takes) if takes else "not told"
    if [one.casefold() for one in takes] == [ANY]:
        return Point(name, known or "not known", ANY, FITS)
    if not takes:
        return Point(name, known or "not known", said, CANNOT_TELL, f"which {name} the utility takes")
    if not known:
        return Point(name, "not known", said, CANNOT_TELL, f"the {name} of this home")
    fits = _plain(known) in {_plain(one) for one in takes}
    return Point(name, known, said, FITS if fits else DOES_NOT)


def _plain(text: str) -> str:
    """CL200 and 200, "FM 2S" and "2s", are the same word on a meter's face."""
    word = "".join(letter for letter in text.casefold() if letter.isalnum() or letter == "/")
    for before in ("form", "fm", "class", "cl"):
        if word.startswith(before) and word[len(before) : len(before) + 1].isdigit():
            return word[len(before) :]
    return word
