"""Equipment as a design paper shows it against equipment as it is on record. Pure.

A request is judged by the paper that was sent with it: what differs is named, so that somebody sends the right one (TRADE.md A4).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True)
class Equipment:
    """What is there; None or "" where a paper does not say."""

    battery_wh: int | None = None  # 0: none
    inverter_w: int | None = None
    pv: bool | None = None
    service: str = ""  # "120/240"
    collar_revision: str = ""

    def kept(self) -> dict[str, Any]:
        return {name: told for name, told in asdict(self).items() if told not in (None, "")}

    @classmethod
    def from_kept(cls, kept: Mapping[str, Any]) -> Equipment:
        return cls(**{name: kept[name] for name in cls.__dataclass_fields__ if name in kept})


@dataclass(frozen=True)
class Differs:
    what: str
    shown: str
    on_record: str

    @property
    def words(self) -> str:
        return f"{self.what}: {self.shown} on the paper, {self.on_record} on record"


def _battery(wh: int) -> str:
    return f"{wh / 1000:g} kWh" if wh else "none"


def differences(shown: Equipment, on_record: Equipment) -> list[Differs]:
    """What the paper says otherwise than the record; silence on either side is no difference."""
    found = []
    if shown.battery_wh is not None and on_record.battery_wh is not None and shown.battery_wh != on_record.battery_wh:
        found.append(Differs("battery", _battery(shown.battery_wh), _battery(on_record.battery_wh)))
    if shown.inverter_w is not None and on_record.inverter_w is not None and shown.inverter_w != on_record.inverter_w:
        found.append(Differs("inverter", f"{shown.inverter_w:,} W", f"{on_record.inverter_w:,} W"))
    if shown.pv is not None and on_record.pv is not None and shown.pv != on_record.pv:
        found.append(Differs("solar", "yes" if shown.pv else "none", "yes" if on_record.pv else "none"))
    if shown.service and on_record.service and shown.service != on_record.service:
        found.append(Differs("service", f"{shown.service} V", f"{on_record.service} V"))
    if shown.collar_revision and on_record.collar_revision and shown.collar_revision.upper() != on_record.collar_revision.upper():
        found.append(Differs("collar", f"revision {shown.collar_revision}", f"revision {on_record.collar_revision}"))
    return found
