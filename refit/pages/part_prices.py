"""Prices side by side, as pages show them: one row a price, in words and figures that are ready."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from refit.boat.models import Boat
from refit.buying.leads import learned_words
from refit.buying.prices import Carriage, Prices, Quote
from refit.calc.money import from_minor, minor_digits
from refit.calc.numbers import format_quantity
from refit.pages.templatetags.refit import cash
from refit.stores.models import Part


@dataclass(frozen=True)
class QuoteRow:
    """One price as a page shows it."""

    quote: Quote
    asked: str  # what they ask for one as sold, in their money
    each: str  # of one unit in the boat's money; empty where no rate is known
    all_in: str
    makes_up: str  # what the sum is made of
    lead: str
    taught: str
    best: bool

    @property
    def supplier(self) -> Any:
        return self.quote.supplier

    @property
    def offer(self) -> Any:
        return self.quote.price.offer


def quote_rows(prices: Prices, quotes: Sequence[Quote]) -> list[QuoteRow]:
    """Return quotes as rows, the first marked as the best where there is a choice."""
    return [
        quote_row(prices, quote, best=place == 0 and len(quotes) > 1) for place, quote in enumerate(quotes)
    ]


def quote_row(prices: Prices, quote: Quote, *, best: bool = False) -> QuoteRow:
    """Return one quote as a row."""
    boat = prices.boat
    pair = (quote.supplier.pk, quote.price.part.pk)
    taught = prices.leads.of_pair.get(pair) or prices.leads.of_supplier.get(quote.supplier.pk)
    return QuoteRow(
        quote=quote,
        asked=asked_words(quote, boat.currency),
        each=each_words(quote.each, boat.currency),
        all_in="" if quote.all_in is None else f"{from_minor(quote.all_in, boat.currency):,f}",
        makes_up=_makes_up(quote, boat),
        lead=quote.price.lead.words,
        taught=learned_words(taught) if taught else "",
        best=best,
    )


def price_words(price: Decimal, currency: str, home: str) -> str:
    """Return a price in their money: `£2.05` where that is the boat's own, else `12.40 EUR`."""
    value = price.normalize()
    places = max(minor_digits(currency), -int(value.as_tuple().exponent))
    if currency != home:
        return f"{value:,.{places}f} {currency}"
    sign = cash(0, currency).rstrip("0.")
    return f"{sign}{value:,.{places}f}"


def asked_words(quote: Quote, home: str) -> str:
    """Return what they ask: `12.40 EUR`, `89.00 EUR for 100 m`, or `£9.90 without tax`."""
    price = quote.price
    words = price_words(price.price, price.currency, home)
    if price.pack_size != 1:
        unit = "" if price.part.unit == "each" else f" {price.part.get_unit_display()}"
        words += f" for {format_quantity(price.pack_size)}{unit}"
    return words if price.with_tax else f"{words} without tax"


def each_words(each: Decimal | None, currency: str) -> str:
    """Return the price of one unit to the minor unit; of what costs less than one, two places more."""
    if each is None:
        return ""
    digits = minor_digits(currency) + (2 if each < 1 else 0)
    return f"{each.quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP):,f}"


def pack_words(quote: Quote) -> str:
    """Return how many are bought: `3`, or `2 × 100 m`."""
    unit = "" if quote.price.part.unit == "each" else f" {quote.price.part.get_unit_display()}"
    if quote.price.pack_size == 1:
        return f"{format_quantity(quote.quantity)}{unit}"
    return f"{format_quantity(quote.packs)} × {format_quantity(quote.price.pack_size)}{unit}"


def block_of(prices: Prices, part: Part, quantity: Decimal) -> dict[str, Any]:
    """Return what a page shows of the prices of a part, for so many."""
    rows = quote_rows(prices, prices.quotes(part, quantity, paid_too=True))
    found = {row.quote.price.currency: row.quote.rate for row in rows}
    rates = [f"{currency}: {rate.words}" for currency, rate in sorted(found.items()) if rate and rate.words]
    return {"rows": rows, "quantity": quantity, "rates": rates}


def _makes_up(quote: Quote, boat: Boat) -> str:
    if quote.goods is None:
        return f"no rate for {quote.price.currency} is known"
    goods = f"{pack_words(quote)} for {cash(quote.goods, boat.currency)}"
    if quote.carriage_from == Carriage.UNKNOWN:
        return f"{goods}; carriage not known"
    if quote.carriage_from == Carriage.FREE:
        return f"{goods}, carriage free"
    if quote.carriage_from == Carriage.COUNTER:
        return f"{goods}, over the counter"
    return f"{goods}, carriage {cash(quote.carriage or 0, boat.currency)} ({quote.carriage_from})"
