"""From the buy list to orders not placed yet: one for each supplier of what was ticked.

Reads the list anew under the boat's lock, so that two people who tick the same thing do not buy it twice. Several jobs
that want one part get a line each; whole packs go to whoever wants it first, as far as they reach.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock
from refit.boat.models import Boat, Location
from refit.boat.refusals import Refused
from refit.buying.actions.orders import (
    LineFacts,
    OrderFacts,
    throw_away,
    write_order,
)
from refit.buying.models import Order, Supplier
from refit.buying.prices import Prices, Quote, whole_packs
from refit.buying.rates import published
from refit.buying.to_buy import BuyRow, Wish, to_buy
from refit.stores.models import Part
from refit.work.models import Job

MOST = 200  # rows ticked at once


@dataclass(frozen=True)
class Tick:
    """One ticked row of the buy list, and the price that was chosen (empty: the best)."""

    key: str
    choice: str = ""
    supplier: Supplier | None = None  # where nobody is known to sell it


@transaction.atomic
def order_ticked(boat: Boat, ticks: Sequence[Tick], *, by: Any, today: date) -> list[Order]:
    """Write orders not placed yet of what was ticked, one for each supplier (and each currency that they ask)."""
    lock(boat)
    if not ticks:
        raise Refused("Tick what to order.", code="nothing", field="row")
    if len(ticks) > MOST:
        raise Refused(f"At most {MOST} things at once; tick fewer.", code="too_many", field="row")
    found = to_buy(boat, today)
    groups: dict[tuple[int, str, bool], list[tuple[BuyRow, Quote | None]]] = {}
    suppliers: dict[int, Supplier] = {}
    for tick in {tick.key: tick for tick in ticks}.values():
        row = found.row(tick.key)
        if row is None:
            raise Refused(
                "Something that was ticked is bought or on an order by now. Look at the list again.",
                code="gone",
            )
        quote = row.quote_named(tick.choice) if tick.choice else row.best
        if tick.choice and quote is None:
            raise Refused(f"That price of {row.what} is no longer there. Choose again.", code="gone")
        supplier = quote.supplier if quote else tick.supplier
        if supplier is None:
            raise Refused(
                f"Who sells {row.what}? Choose a supplier for what has none.", code="nobody", field="supplier"
            )
        suppliers[supplier.pk] = supplier
        if quote:
            key = (supplier.pk, quote.price.currency, quote.price.with_tax)
        else:
            key = (supplier.pk, supplier.currency or boat.currency, supplier.prices_with_tax)
        groups.setdefault(key, []).append((row, quote))
    return [
        _draft(boat, suppliers[pk], currency, with_tax, rows, found.prices, by=by, today=today)
        for (pk, currency, with_tax), rows in groups.items()
    ]


@transaction.atomic
def throw_drafts_away(boat: Boat, orders: Iterable[Order]) -> None:
    """Throw away the drafts that were just made (undo); what was placed meanwhile is refused."""
    lock(boat)
    for order in orders:
        throw_away(order)


def place_for(part: Part | None, job: Job | None) -> Location | None:
    """Return where something that is bought will lie: its usual place, else where its job is; None is not said."""
    if part is not None and part.usual_place is not None and part.usual_place.holds_things:
        return part.usual_place
    if part is not None and job is not None and job.space is not None and job.space.holds_things:
        return job.space
    return None


def _draft(
    boat: Boat,
    supplier: Supplier,
    currency: str,
    with_tax: bool,
    rows: list[tuple[BuyRow, Quote | None]],
    prices: Prices,
    *,
    by: Any,
    today: date,
) -> Order:
    lines = [fact for row, quote in rows for fact in lines_of(row, quote, today)]
    expected = [quote.here_on for _, quote in rows if quote and quote.here_on]
    job = {fact.job.pk: fact.job for fact in lines if fact.job}
    facts = OrderFacts(
        supplier=supplier,
        currency=currency,
        lines=lines,
        rate=_rate(boat, supplier, currency, prices, today),
        expected_on=max(expected) if len(expected) == len(rows) else None,
        prices_with_tax=with_tax,
        tax_percent=supplier.tax_percent,
        # An order for one job alone says so; one for several says it on its lines.
        job=next(iter(job.values())) if len(job) == 1 and all(fact.job for fact in lines) else None,
    )
    return write_order(boat, facts, by=by, today=today)


def _rate(boat: Boat, supplier: Supplier, currency: str, prices: Prices, today: date) -> Decimal | None:
    """Return the rate to type where the bank has published none: that of the newest order in this money."""
    if currency == boat.currency or published(currency, boat.currency, today) is not None:
        return None
    rate = prices.rate(currency)
    if rate is None:
        raise Refused(
            f"No rate for {currency} is known. Log the order from {supplier} by itself and type the rate.",
            code="no_rate",
        )
    return rate.rate


def lines_of(row: BuyRow, quote: Quote | None, today: date, *, by_pack: bool = True) -> list[LineFacts]:
    """Return the lines that buy a row: one for each job that wants it, in whole packs as far as they reach."""
    pack = quote.price.pack_size if quote and by_pack else Decimal(1)
    price = quote.price.price if quote else Decimal(0)
    if quote and not by_pack and quote.price.pack_size != 1:
        places = Decimal("0.0001")
        price = (price / quote.price.pack_size).quantize(places)
    found: list[LineFacts] = []
    spare = Decimal(0)  # what the packs bought so far leave over
    shares = _shares(row)
    for wish, quantity in shares:
        rest = quantity - min(spare, quantity)
        spare -= quantity - rest
        if rest <= 0:
            continue
        packs = whole_packs(row.part, rest, pack) if row.part else rest
        spare += packs * pack - rest
        found.append(
            LineFacts(
                packs=packs,
                price=price,
                part=row.part,
                words="" if row.part else row.words,
                pack_size=pack,
                job=wish.job,
                system=wish.job.system if wish.job else (row.part.system if row.part else None),
                place=place_for(row.part, wish.job),
                need=wish.need,
            )
        )
    return found


def _shares(row: BuyRow) -> list[tuple[Wish, Decimal]]:
    """Return how many of a row are for whom; what whole sets are more than wanted goes with the last."""
    wanted = row.wanted
    more = row.to_buy - row.short
    return [
        (wish, wish.left + (more if place == len(wanted) - 1 else 0)) for place, wish in enumerate(wanted)
    ]
