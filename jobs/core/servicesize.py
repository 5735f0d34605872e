"""The size of a service in figures: what a socket of so many amperes carries, and the code's shares of it. Pure.

The edition adopted by the local authority governs, and designers decide: the tool only checks that figures were given.
"""

from __future__ import annotations

from typing import Final

# IEEE 1547-2018, 4.10: default criteria to enter service; the table of the PyPI package opender agrees (read 2026-11-25).
ENTER_SERVICE_PU: Final = (0.917, 1.05)
ENTER_SERVICE_HZ: Final = (59.5, 60.1)
ENTER_SERVICE_DELAY_S: Final = 300

# NEC 310.12: conductors of a dwelling's service may have 83 % of its rating.
CONDUCTOR_SHARE: Final = 0.83
CONTINUOUS_SHARE: Final = 0.8
# NEC 220.82(B): the first 10 kVA at 100 %, the rest at 40 %.
FULL_KVA: Final = 10.0
REST_SHARE: Final = 0.4


def capacity_kva(amperes: float, *, volts: float = 240.0, continuous: bool = False) -> float:
    """What a service carries, in kVA; continuous loads may have 80 % of it."""
    return amperes * volts / 1000 * (CONTINUOUS_SHARE if continuous else 1.0)


def least_conductor_a(service_a: float) -> float:
    """The least ampacity of a dwelling's service conductors, in amperes. Source: NEC 310.12, from memory."""
    return service_a * CONDUCTOR_SHARE


def optional_method_kva(general_kva: float, *, heating_kva: float) -> float:
    """The dwelling's calculated load in kVA by the optional method. Source: NEC 220.82, from memory."""
    return min(general_kva, FULL_KVA) + max(general_kva - FULL_KVA, 0.0) * REST_SHARE + heating_kva


def amperes_of(kva: float, *, volts: float = 240.0) -> float:
    return kva * 1000 / volts


def ct_is_large_enough(rated_a: float, *, service_a: float) -> bool:
    """A CT's rated primary current is at least the service's rating: common practice, no source."""
    return rated_a >= service_a
