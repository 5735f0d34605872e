"""Money: whole minor units inside, decimal text outside, and the only place where Decimal appears.

An amount is an int of minor units (cents for US dollars). Binary floating point is refused everywhere, because it
cannot hold most amounts: round(2.675, 2) gives 2.67.
"""

import re
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Context, Decimal
from enum import StrEnum

MILLION = 1_000_000

# ISO 4217, list one; checked in the tests against Babel.
_EXPONENTS = {"USD": 2, "CAD": 2, "EUR": 2, "GBP": 2, "MXN": 2, "JPY": 0, "BHD": 3}
_SIGNS = {"USD": "$"}
_NO_BREAK = "\u00a0"
_MINUS = "\u2212"

# What the database column (a 64-bit integer) can hold.
_LARGEST = 2**63 - 1

# Thousands are grouped by commas in full or not at all, so that "8.640,00" and "8,64" are refused and not misread.
_TYPED = re.compile(r"(?P<sign>[-+\u2212]?)(?P<symbol>\$?)(?P<whole>[0-9]{1,3}(?:,[0-9]{3})+|[0-9]+)?(?:\.(?P<part>[0-9]*))?", re.ASCII)

# Wide enough that no step below is ever rounded unless we say how.
_EXACT = Context(prec=60)


class Rounding(StrEnum):
    """How half a minor unit is rounded: they differ, so a tax says which it uses."""

    HALF_EVEN = "half-even"
    HALF_UP = "half-up"


# One installation has one currency; the settings name it once, before the first amount is read.
_installed = "USD"


def use(currency: str) -> None:
    """The currency in which this installation keeps its books. Raises ValueError for one that is not known here."""
    global _installed
    exponent(currency)
    _installed = currency


def currency() -> str:
    return _installed


_DECIMAL_ROUNDING = {Rounding.HALF_EVEN: ROUND_HALF_EVEN, Rounding.HALF_UP: ROUND_HALF_UP}


def exponent(currency: str | None = None) -> int:
    """How many decimals the currency has (ISO 4217): USD 2, JPY 0, BHD 3. Without one, the installation's."""
    currency = currency or _installed
    try:
        return _EXPONENTS[currency]
    except KeyError:
        raise ValueError(f"The currency {currency!r} is not known here. Known are {', '.join(sorted(_EXPONENTS))}.") from None


def minor(value: str | Decimal, *, currency: str | None = None) -> int:
    """The amount in minor units: minor("$8,640.00") is 864000.

    Takes text as a person or a file writes it (sign, "$", thousands by comma) or a Decimal. Raises ValueError with a
    sentence for anything else: a float or an int (whole dollars or cents? it does not say), too many decimals, not a number, too large.
    """
    currency = currency or _installed
    decimals = exponent(currency)
    if isinstance(value, Decimal):
        amount = value
        if not amount.is_finite():
            raise ValueError(f"{value} is not an amount. An amount such as {_example(decimals)} is wanted.")
        # Before any arithmetic, which would be slow on an exponent such as 1E+999999.
        if amount and not -30 < amount.adjusted() < 30:
            raise ValueError(f"{value} is too large or too small for an amount.")
    elif isinstance(value, str):
        amount = _read(value, decimals=decimals, currency=currency)
    else:
        raise ValueError(
            f"An amount must come as text or as a Decimal, not as {type(value).__name__}: {value!r}. A float cannot hold every cent."
        )
    scaled = amount.scaleb(decimals, context=_EXACT)
    if scaled != scaled.to_integral_value():
        raise ValueError(_too_many(str(value), decimals=decimals, currency=currency))
    units = int(scaled)
    if abs(units) > _LARGEST:
        raise ValueError(f"{value} is too large for an amount.")
    return units


def decimal_text(amount_minor: int, *, currency: str | None = None) -> str:
    """The amount for files and the API: "8640.00", "-12.50". `minor` reads it back."""
    return _text(amount_minor, currency=currency, grouping="", minus="-")


def shown(amount_minor: int, *, currency: str | None = None) -> str:
    """The amount for people: "$8,640.00", "\u2212$12.50"; another currency by its code, "BHD 1.250"."""
    sign = _MINUS if amount_minor < 0 else ""
    return sign + _symbol(currency) + _text(abs(amount_minor), currency=currency, grouping=",", minus="")


def shown_whole(amount_minor: int, *, currency: str | None = None, step: int = 1) -> str:
    """The amount in whole currency units, or the nearest `step` of them: "$131,254", with step 1000 "$131,000".

    For large figures only: halves go to the even neighbour, so a column of these need not add up.
    """
    unit = step * 10 ** exponent(currency)
    whole = int((Decimal(amount_minor) / unit).quantize(Decimal(1), rounding=ROUND_HALF_EVEN)) * step
    return (_MINUS if whole < 0 else "") + _symbol(currency) + f"{abs(whole):,}"


def rounded(value: str | Decimal, *, rounding: Rounding, currency: str | None = None) -> int:
    """The nearest minor units of an exact decimal such as "2.345", halves as `rounding` says (half-up: away from zero)."""
    if not isinstance(value, str | Decimal):
        raise ValueError(f"A value to round must come as text or as a Decimal, not as {type(value).__name__}: {value!r}.")
    scaled = Decimal(value).scaleb(exponent(currency), context=_EXACT)
    return int(scaled.quantize(Decimal(1), rounding=_DECIMAL_ROUNDING[rounding], context=_EXACT))


def tax(base_minor: int, *, rate_millionths: int, rounding: Rounding) -> int:
    """The tax on a base, in minor units. 8.25 % is a rate of 82500 millionths."""
    if rate_millionths < 0:
        raise ValueError(f"A tax rate cannot be negative: {rate_millionths} millionths.")
    exact = Decimal(base_minor) * rate_millionths / MILLION
    return int(exact.quantize(Decimal(1), rounding=_DECIMAL_ROUNDING[rounding], context=_EXACT))


def _read(text: str, *, decimals: int, currency: str) -> Decimal:
    found = _TYPED.fullmatch(text.strip())
    if found is None or not (found["whole"] or found["part"]) or (found["symbol"] and currency != "USD"):
        shown_text = f'"{text.strip()}"' if text.strip() else "An empty field"
        raise ValueError(f"{shown_text} is not an amount. An amount such as {_example(decimals)} is wanted.")
    part = found["part"] or ""
    # Zeros count too: in much of the world "1.500" is one thousand five hundred.
    if len(part) > decimals:
        raise ValueError(_too_many(text.strip(), decimals=decimals, currency=currency))
    sign = "-" if found["sign"] in ("-", _MINUS) else ""
    whole = (found["whole"] or "0").replace(",", "")
    if len(whole) > 30:
        raise ValueError(f'"{text.strip()}" is too large for an amount.')
    return Decimal(f"{sign}{whole}.{part or '0'}")


def _too_many(value: str, *, decimals: int, currency: str) -> str:
    allowed = {0: "none", 1: "one", 2: "two", 3: "three"}[decimals]
    return f'"{value}" has too many decimals: {currency} has {allowed}. An amount such as {_example(decimals)} is wanted.'


def _example(decimals: int) -> str:
    return "8640" + ("." + "0" * decimals if decimals else "")


def _symbol(currency: str | None) -> str:
    currency = currency or _installed
    return _SIGNS.get(currency, currency + _NO_BREAK)


def _text(amount_minor: int, *, currency: str | None, grouping: str, minus: str) -> str:
    if isinstance(amount_minor, bool) or not isinstance(amount_minor, int):
        raise ValueError(f"An amount in minor units is a whole number, not {amount_minor!r}.")
    decimals = exponent(currency)
    whole, part = divmod(abs(amount_minor), 10**decimals)
    sign = minus if amount_minor < 0 else ""
    return sign + format(whole, grouping or "d") + (f".{part:0{decimals}d}" if decimals else "")
