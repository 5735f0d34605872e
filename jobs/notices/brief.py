"""Cautions in the few words that a text message has room for. Pure.

A text never stands for the caution in full (jobs.core.cautions): that is in the e-mail beside it, on the page that its link opens, and is
read out on the telephone. It keeps what must be done or left undone.
"""

from __future__ import annotations

from typing import Final

BRIEF: Final[dict[str, tuple[str, str]]] = {
    "no_backup_yet": ("Your home has no backup yet.", "Su casa aún no tiene respaldo."),
    "medical": ("Medical equipment? Telephone us first.", "¿Equipo médico? Llámenos antes."),
    "medical_power_off": ("Medical equipment? Telephone us first.", "¿Equipo médico? Llámenos antes."),
    "lifts_power_off": ("Nobody in or on a lift.", "Nadie en un elevador."),
    "live_conductors": ("Do not open the meter: it can kill.", "No abra el medidor: es mortal."),
    "bag_photo": ("From where you stand, by day, no rain; touch nothing.", "Desde donde está, de día, sin lluvia; no toque nada."),
}
# The one place in which an opt-out word may stand: it says how to end texts (47 CFR 64.1200(a)(10)).
ENDS: Final = ("Reply STOP to opt out.", "ALTO para no recibir más.")


def of(name: str, language: str) -> str:
    return BRIEF[name][language == "es"]


def ends(language: str) -> str:
    return ENDS[language == "es"]
