"""A second reader of calendar files, written from RFC 5545 alone, and a calendar that applies what it is sent by RFC 5546.

It shares nothing with the library that writes and first reads them.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

Lines = list[tuple[str, dict[str, str], str]]  # name, parameters, raw value


def content_lines(data: bytes) -> Lines:
    """Unfolded content lines (3.1). Raises ValueError for a line longer than 75 octets or not ended by CRLF."""
    if not data.endswith(b"\r\n"):
        raise ValueError("The last line is not ended.")
    for octets in data[:-2].split(b"\r\n"):
        if len(octets) > 75 or b"\n" in octets or b"\r" in octets:
            raise ValueError(f"{octets!r} is too long or not ended by CRLF.")
        octets.decode()  # no character is cut in two
    found: Lines = []
    for line in data.decode().replace("\r\n ", "").replace("\r\n\t", "").split("\r\n")[:-1]:
        head, value = _split(line)
        name, *parameters = re.split(r';(?=(?:[^"]*"[^"]*")*[^"]*$)', head)
        pairs = (parameter.split("=", 1) for parameter in parameters)
        found.append((name.upper(), {key.upper(): told.strip('"') for key, told in pairs}, value))
    return found


def _split(line: str) -> tuple[str, str]:
    quoted = False
    for place, letter in enumerate(line):
        if letter == '"':
            quoted = not quoted
        elif letter == ":" and not quoted:
            return line[:place], line[place + 1 :]
    raise ValueError(f"{line!r} has no value.")


def text(value: str) -> str:
    """A TEXT value as it is meant (3.3.11)."""
    return re.sub(r"\\(.)", lambda match: "\n" if match[1] in "nN" else match[1], value)


def events(data: bytes) -> list[dict[str, tuple[dict[str, str], str]]]:
    """Each VEVENT by the name of its properties."""
    found: list[dict[str, tuple[dict[str, str], str]]] = []
    inside = ""
    for name, parameters, value in content_lines(data):
        if name == "BEGIN":
            inside = value
            if value == "VEVENT":
                found.append({})
        elif name == "END":
            inside = ""
        elif inside == "VEVENT":
            found[-1][name] = (parameters, value)
    return found


def method(data: bytes) -> str:
    return next(value for name, _, value in content_lines(data) if name == "METHOD")


@dataclass
class Store:
    """A calendar: of one UID the highest SEQUENCE stands (RFC 5546, 2.1.5), whatever order the files come in."""

    kept: dict[str, tuple[int, str, str]] = field(default_factory=dict)  # UID: SEQUENCE, "" or "CANCELLED", DTSTART with its zone

    def apply(self, data: bytes) -> None:
        [event] = events(data)
        uid, sequence = event["UID"][1], int(event["SEQUENCE"][1])
        if uid in self.kept and self.kept[uid][0] >= sequence:
            return
        starts = event["DTSTART"]
        gone = "CANCELLED" if method(data) == "CANCEL" else ""
        self.kept[uid] = (sequence, gone, f"{starts[0].get('TZID', '')}:{starts[1]}")
