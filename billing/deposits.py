"""The most that may be asked as a deposit. Pure: the state's law comes in as plain values."""

from __future__ import annotations

from dataclasses import dataclass

MILLION = 1_000_000


@dataclass(frozen=True)
class Cap:
    """most_minor: an amount; share_millionths: a share of the price. Where both are given, the lesser; neither: no cap."""

    region: str
    most_minor: int | None
    share_millionths: int | None
    source: str


# California: the lesser of $1,000 or 10 % of the contract price. Amounts in cents of US dollars.
# Source: Business and Professions Code 7159.5(a)(3); a stored copy, read on 25 November 2026.
BUILT_IN = {"CA": Cap("CA", 100_000, 100_000, "Business and Professions Code 7159.5(a)(3)")}


def most(price_minor: int, cap: Cap) -> int | None:
    """The most in minor units, rounded down so that it is never above the law's share; None where there is no cap.

    Raises ValueError for a negative price.
    """
    if price_minor < 0:
        raise ValueError("A price cannot be below zero.")
    limits = [] if cap.most_minor is None else [cap.most_minor]
    if cap.share_millionths is not None:
        limits.append(price_minor * cap.share_millionths // MILLION)
    return min(limits, default=None)
