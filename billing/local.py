"""What a state's law sets for what is billed there: the deposit's cap and the tax. Entered by the office, with its source."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from billing.deposits import BUILT_IN, Cap
from billing.models import DepositCap, Rounding, TaxRate
from billing.shares import MILLION, percent_text
from jobs.core import clock, money, words
from jobs.core.actors import Actor
from jobs.core.acts import act
from jobs.core.refusals import Refused
from jobs.core.regions import REGIONS


def cap_for(region: str, *, on: dt.date) -> Cap | None:
    """The cap in force on a day: the newest the office entered, else the one we come with."""
    row = DepositCap.objects.filter(region=region, valid_from__lte=on).order_by("-valid_from", "-pk").first()
    if row is None:
        return BUILT_IN.get(region)
    return cap_of(row)


def cap_of(row: DepositCap) -> Cap:
    return Cap(row.region, row.most_minor, row.share_millionths, row.source)


def cap_words(cap: Cap) -> str:
    """ "the lesser of $1,000.00 and 10 % of the price": what the cap says."""
    parts = [] if cap.most_minor is None else [money.shown(cap.most_minor)]
    if cap.share_millionths is not None:
        parts.append(f"{percent_text(cap.share_millionths)} of the price")
    return f"the lesser of {' and '.join(parts)}" if len(parts) == 2 else parts[0] if parts else "no cap"


@dataclass(frozen=True)
class Tax:
    """The tax on an amount: how much, and by what it was worked out."""

    minor: int = 0
    rate_millionths: int = 0
    words: str = ""
    rounding: str = ""

    @property
    def in_words(self) -> str:
        """ "Sales tax 4 %, half a cent to the even one": as it stands on the paper."""
        return f"{self.words}, {percent_text(self.rate_millionths)}" if self.rate_millionths else ""


def rate_for(region: str, *, on: dt.date) -> TaxRate | None:
    return TaxRate.objects.filter(region=region, valid_from__lte=on).order_by("-valid_from", "-pk").first()


def tax_on(net_minor: int, *, region: str, on: dt.date) -> Tax:
    """The tax of the home's state on that day; nothing where no rate is entered."""
    rate = rate_for(region, on=on)
    if rate is None or not rate.rate_millionths:
        return Tax()
    minor = money.tax(net_minor, rate_millionths=rate.rate_millionths, rounding=money.Rounding(rate.rounding))
    return Tax(minor, rate.rate_millionths, rate.words, rate.rounding)


@act(right="core.run_office")
def set_deposit_cap(
    region: str,
    *,
    source: str,
    read_on: dt.date,
    valid_from: dt.date,
    by: Actor,
    most_minor: int | None = None,
    share_millionths: int | None = None,
) -> DepositCap:
    """From a day on; with neither amount nor share the state has no cap."""
    _known(region)
    source = _with_source(source)
    if read_on > clock.office_today():
        raise Refused(f"{words.day(read_on)} has not come yet; wanted the day on which the source was read.", field="read_on")
    _not_before(valid_from)
    if most_minor is not None and most_minor < 0:
        raise Refused("A cap cannot be below zero.", field="most_minor")
    if share_millionths is not None and not 0 <= share_millionths <= MILLION:
        raise Refused(f"A share of {percent_text(share_millionths)} is outside 0 to 100 %.", field="share_millionths")
    return DepositCap.objects.create(
        region=region,
        most_minor=most_minor,
        share_millionths=share_millionths,
        source=source,
        read_on=read_on,
        valid_from=valid_from,
        at=clock.now(),
        by_name=by.name,
    )


@act(right="core.run_office")
def set_tax_rate(region: str, *, words: str, rate_millionths: int, rounding: str, source: str, valid_from: dt.date, by: Actor) -> TaxRate:
    """From a day on; a rate of nothing ends it. Invoices keep the rate they were released under."""
    _known(region)
    if not words.strip():
        raise Refused("Say what the tax is called; it is printed on the invoice.", field="words")
    if not 0 <= rate_millionths <= MILLION:
        raise Refused(f"A rate of {percent_text(rate_millionths)} is outside 0 to 100 %.", field="rate_millionths")
    if rounding not in Rounding.values:
        raise Refused(f"“{rounding}” is not a rounding; wanted one of: {', '.join(Rounding.values)}.", field="rounding")
    _not_before(valid_from)
    return TaxRate.objects.create(
        region=region,
        words=words.strip(),
        rate_millionths=rate_millionths,
        rounding=rounding,
        source=_with_source(source),
        valid_from=valid_from,
        at=clock.now(),
        by_name=by.name,
    )


def _known(region: str) -> None:
    if region not in REGIONS:
        raise Refused(f"“{region}” is not a state; wanted its two letters, such as CO.", field="region")


def _with_source(source: str) -> str:
    if not source.strip():
        raise Refused("Say where it is written: the statute or the notice of the tax office.", field="source")
    return source.strip()


def _not_before(valid_from: dt.date) -> None:
    if valid_from < clock.office_today():
        raise Refused("It begins today or later; what was made before keeps what it was made under.", field="valid_from")
