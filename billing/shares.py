"""Parts that add up: an amount split by shares, to the last minor unit. Pure."""

from collections.abc import Sequence

MILLION = 1_000_000


class DoNotAddUp(ValueError):
    """Amounts that are not the total. off_minor: what is missing; below zero, what is too much."""

    def __init__(self, off_minor: int) -> None:
        super().__init__("The amounts of the parts do not add up to the price.")
        self.off_minor = off_minor


def split(total_minor: int, shares_millionths: Sequence[int]) -> list[int]:
    """The parts of an amount, one for each share, adding up to it exactly.

    total_minor: the amount in minor units; a credit (negative) gives the mirror image of the same debit.
    shares_millionths: whole numbers from 0 that add up to 1,000,000.

    Raises ValueError with a sentence if the shares do not add up, or one is negative or not whole.

    Source: largest remainder (Hamilton); ties go to the earlier share.
    """
    _refuse_odd(shares_millionths)
    together = sum(shares_millionths)
    if together != MILLION:
        short = MILLION - together
        off = f"{percent_text(short)} too little" if short > 0 else f"{percent_text(-short)} too much"
        raise ValueError(f"The shares add up to {percent_text(together)}, which is {off}. They must add up to 100 %.")
    return apportion(total_minor, shares_millionths)


def apportion(total: int, weights: Sequence[int]) -> list[int]:
    """Whole parts of a whole total in proportion to the weights, adding up to it exactly.

    apportion(1_000_000, [1, 1, 1]) gives the shares of three equal parts: 333334, 333333, 333333.
    Raises ValueError if no weight is positive, or one is negative or not whole.

    Source: largest remainder (Hamilton); ties go to the earlier weight; negative totals are split as positive and mirrored.
    """
    _refuse_odd(weights)
    together = sum(weights)
    if together <= 0:
        raise ValueError("There is nothing to split by: at least one share must be more than zero.")
    size = abs(total)
    parts = [size * weight // together for weight in weights]
    fractions = [size * weight % together for weight in weights]
    # A stable sort: of equal fractions the earlier one is served first.
    by_fraction = sorted(range(len(weights)), key=lambda place: -fractions[place])
    for place in by_fraction[: size - sum(parts)]:
        parts[place] += 1
    return [-part for part in parts] if total < 0 else parts


def plan_amounts(total_minor: int, parts: Sequence[tuple[int, int | None]]) -> list[int]:
    """What each part of a plan comes to; together exactly the total.

    parts: for each (share in millionths, amount). An amount that is not None stands as it is; the shares divide what is left of the
    total and must add up to 1,000,000. Without a share the amounts must be the total.

    Raises DoNotAddUp where the amounts are not the total, ValueError with a sentence where the shares are not.
    """
    given = sum(amount for _, amount in parts if amount is not None)
    shares = [share for share, amount in parts if amount is None]
    rest = total_minor - given
    if rest < 0 or (rest and not shares):
        raise DoNotAddUp(rest)
    divided = iter(split(rest, shares) if shares else ())
    return [next(divided) if amount is None else amount for _, amount in parts]


def percent_text(millionths: int) -> str:
    """A share as a person writes it: 333333 is "33.3333 %", 500000 is "50 %"."""
    whole, part = divmod(abs(millionths), 10_000)
    decimals = f".{part:04d}".rstrip("0").rstrip(".")
    sign = "\u2212" if millionths < 0 else ""
    return f"{sign}{whole:,}{decimals}\u202f%"


def _refuse_odd(weights: Sequence[int]) -> None:
    if not weights:
        raise ValueError("There is nothing to split by: at least one share is needed.")
    for weight in weights:
        if isinstance(weight, bool) or not isinstance(weight, int):
            raise ValueError(f"A share must be a whole number of millionths, not {weight!r}.")
        if weight < 0:
            raise ValueError(f"A share cannot be negative: {percent_text(weight)}.")
