"""What is bought in town, thing by thing, and taken back; a shop's own list.

A shop's list is its order not placed yet. What was bought goes on today's order of that shop, which is made with the first
thing and booked in at once: it lies in its usual place, else where its job is, else in Not stowed yet. The receipt says the
prices later. Each deed reads the list anew under the boat's lock.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock, standing
from refit.boat.models import Boat, System
from refit.boat.refusals import Refused
from refit.buying.actions.corrections import take_off
from refit.buying.actions.deliveries import Arrival, book_in, undo_delivery
from refit.buying.actions.orders import (
    LineFacts,
    OrderFacts,
    back_to_draft,
    place_order,
    throw_away,
    write_order,
)
from refit.buying.actions.shopping import lines_of
from refit.buying.actions.writing import make_line
from refit.buying.costing import refresh
from refit.buying.models import COUNTED_STATES, Delivery, DeliveryLine, Line, Order, OrderState, Supplier
from refit.buying.prices import Quote, read_prices
from refit.buying.rates import published
from refit.buying.to_buy import BuyRow, to_buy
from refit.buying.town import TOWN
from refit.calc.money import minor_digits


@transaction.atomic
def put_on_list(
    boat: Boat, shop: Supplier, key: str, *, by: Any, today: date, system: System | None = None
) -> list[Line]:
    """Put a row of the buy list on a shop's list: the order not placed yet of that shop."""
    lock(boat)
    row = _row(boat, key, today)
    draft = _draft_of(boat, shop)
    currency = draft.currency if draft else _money(boat, shop, today)[0]
    facts = [_with_system(fact, system) for fact in lines_of(row, _quote_of(row, shop, currency), today)]
    return _add_to_draft(boat, shop, facts, by=by, today=today)


@transaction.atomic
def take_off_list(boat: Boat, lines: Sequence[Line]) -> None:
    """Take lines off a shop's list; an empty list goes."""
    lock(boat)
    orders = {}
    for line in lines:
        fresh = standing(Line.objects.select_related("order__boat"), line.pk, "That line")
        if not fresh.order.is_draft:
            raise Refused(f"Order {fresh.order.number} was placed meanwhile.", code="placed")
        orders[fresh.order_id] = fresh.order
        fresh.delete()
    for order in orders.values():
        _drop_if_empty(order)


@dataclass(frozen=True)
class Bought:
    """What was bought over the counter: how many, what one cost (None: the receipt will say), for which system."""

    quantity: Decimal | None = None  # None: as many as are wanted
    price: Decimal | None = None
    system: System | None = None


@transaction.atomic
def buy_in_town(
    boat: Boat,
    shop: Supplier,
    *,
    key: str = "",
    line: Line | None = None,
    bought: Bought = Bought(),
    by: Any,
    today: date,
) -> Delivery:
    """Write down what was bought in a shop and is here: a row of the buy list, or a line of the shop's list.

    It goes on today's order of that shop, which is made with the first thing. It lies in its usual place, else where its
    job is, else in Not stowed yet.
    """
    lock(boat)
    order = _order_of_today(boat, shop, today)
    currency = order.currency if order else _money(boat, shop, today)[0]
    if bought.price is not None and currency != (shop.currency or currency):
        raise Refused(
            f"No rate for {shop.currency} is known. Leave the price empty; the receipt will say it.",
            code="no_rate",
            field="price",
        )
    if line is not None:
        facts = [_off_the_list(boat, line, currency)]
    else:
        row = _row(boat, key, today)
        facts = lines_of(row, _quote_of(row, shop, currency), today, by_pack=False)
    facts = [_with_system(fact, bought.system) for fact in _as_many(facts, bought)]
    if order is None:
        draft = _write(boat, _town_order(boat, shop, facts, today), by=by, today=today)
        order = place_order(draft, on=today, today=today)
        made = list(order.lines.order_by("position"))
    else:
        made = _lengthen(order, facts)
        refresh([order], on=today, words="bought in town")
    rows = Line.objects.filter(pk__in=[each.pk for each in made]).select_related("part", "place", "job")
    arrivals = [Arrival(each, each.quantity, place=each.place) for each in rows.order_by("position")]
    return book_in(boat, arrivals, by=by, on=today, today=today, note=TOWN)


@transaction.atomic
def bring_back(delivery: Delivery, *, by: Any, today: date, on_list: bool = False) -> None:
    """Take back one thing bought in town (undo): it is not here, on no order, and on the shop's list if it was."""
    boat = delivery.boat
    lock(boat)
    fresh = standing(Delivery.objects.select_related("boat"), delivery.pk, "That purchase")
    if fresh.undone_at:
        raise Refused("This has been undone already.", code="undone_already")
    lines = list(Line.objects.filter(deliveries__delivery=fresh).select_related("order__boat", "part", "job"))
    if fresh.note != TOWN or not lines:
        raise Refused(
            "That was not bought on a town run; take the delivery back on its order.", code="not_town"
        )
    order = lines[0].order
    kept = [_facts_of(each) for each in lines]
    undo_delivery(fresh, by=by, today=today)
    # A delivery that was undone says nothing any more; the ledger keeps both its entries.
    DeliveryLine.objects.filter(line__in=[each.pk for each in lines]).delete()
    if order.lines.exclude(pk__in=[each.pk for each in lines]).exists():
        for each in Line.objects.filter(pk__in=[each.pk for each in lines]).select_related("order__boat"):
            take_off(each)
        refresh([Order.objects.get(pk=order.pk)], on=today, words="not bought after all")
    else:
        throw_away(back_to_draft(order))
    if on_list:
        draft = _draft_of(boat, order.supplier)
        if draft is not None and draft.currency != order.currency:
            kept = [replace(fact, price=Decimal(0)) for fact in kept]
        _add_to_draft(boat, order.supplier, kept, by=by, today=today)


def _row(boat: Boat, key: str, today: date) -> BuyRow:
    row = to_buy(boat, today).row(key)
    if row is None:
        raise Refused("That is bought or on an order by now. Look at the list again.", code="gone")
    return row


def _quote_of(row: BuyRow, shop: Supplier, currency: str) -> Quote | None:
    """Return what a shop asks for a row in the money of the order it goes on."""
    return next((q for q in row.quotes if q.supplier.pk == shop.pk and q.price.currency == currency), None)


def _as_many(facts: list[LineFacts], bought: Bought) -> list[LineFacts]:
    """Return lines for as many as were bought: fewer leave the last out, more go on the last."""
    if bought.quantity is None:
        found = facts
    else:
        if not 0 < bought.quantity < 10**6:
            raise Refused("How many? More than nought, below a million.", code="nothing", field="quantity")
        found, rest = [], bought.quantity
        for place, fact in enumerate(facts):
            some = rest if place == len(facts) - 1 else min(rest, fact.packs * fact.pack_size)
            if some > 0:
                found.append(_changed(fact, packs=some, pack_size=Decimal(1), price=_each(fact)))
            rest -= some
    if bought.price is None:
        return found
    return [_changed(fact, price=bought.price) for fact in found]


def _each(fact: LineFacts) -> Decimal:
    return fact.price if fact.pack_size == 1 else (fact.price / fact.pack_size).quantize(Decimal("0.0001"))


def _changed(fact: LineFacts, **changes: Any) -> LineFacts:
    return LineFacts(**{**fact.__dict__, **changes})


def _with_system(fact: LineFacts, system: System | None) -> LineFacts:
    return fact if fact.system is not None or system is None else _changed(fact, system=system)


def _town_order(boat: Boat, shop: Supplier, facts: list[LineFacts], today: date) -> OrderFacts:
    return replace(_town_list(boat, shop, facts, today), ordered_on=today)


def _money(boat: Boat, shop: Supplier, today: date) -> tuple[str, Decimal | None]:
    """Return the money that a shop is paid in, and the rate of the boat's newest order in it where none is published.

    Where no rate is known it is the boat's own.
    """
    currency = shop.currency or boat.currency
    try:
        minor_digits(currency)
    except ValueError:
        return boat.currency, None
    if published(currency, boat.currency, today) is not None:
        return currency, None
    rate = read_prices(boat, today, []).rate(currency)
    return (currency, rate.rate) if rate else (boat.currency, None)


def _order_of_today(boat: Boat, shop: Supplier, today: date) -> Order | None:
    """Return the order of today's town run to that shop, if nothing was paid, charged or given back on it."""
    rows = Order.objects.filter(
        boat=boat, supplier=shop, ordered_on=today, note=TOWN, state__in=COUNTED_STATES
    ).select_related("boat")
    for order in rows.order_by("-number"):
        if not (order.payment_splits.exists() or order.charges.exists() or order.credits.exists()):
            return order
    return None


def _lengthen(order: Order, facts: list[LineFacts]) -> list[Line]:
    position = max(order.lines.values_list("position", flat=True), default=-1)
    made = [make_line(order, position + place, fact) for place, fact in enumerate(facts, start=1)]
    for line in made:
        if line.system_id is None and not order.is_draft:
            raise Refused(f"Which system is {line.what} for?", code="no_system", field="system")
    return made


def _draft_of(boat: Boat, shop: Supplier) -> Order | None:
    return Order.objects.filter(boat=boat, supplier=shop, state=OrderState.DRAFT, note=TOWN).first()


def _add_to_draft(boat: Boat, shop: Supplier, facts: list[LineFacts], *, by: Any, today: date) -> list[Line]:
    draft = _draft_of(boat, shop)
    if draft is None:
        order = _write(boat, _town_list(boat, shop, facts, today), by=by, today=today)
        return list(order.lines.order_by("position"))
    made = _lengthen(draft, facts)
    refresh([draft])
    return made


def _town_list(boat: Boat, shop: Supplier, facts: list[LineFacts], today: date) -> OrderFacts:
    currency, rate = _money(boat, shop, today)
    return OrderFacts(
        supplier=shop, currency=currency, rate=rate, lines=facts, prices_with_tax=True, note=TOWN
    )


def _write(boat: Boat, facts: OrderFacts, *, by: Any, today: date) -> Order:
    """Write an order of the town run; what money the shop asks stays as it was where no rate of it is known."""
    theirs = facts.supplier.currency
    order = write_order(boat, facts, by=by, today=today)
    if theirs and theirs != order.currency:
        Supplier.objects.filter(pk=order.supplier_id).update(currency=theirs)
    return order


def _off_the_list(boat: Boat, line: Line, currency: str) -> LineFacts:
    """Take a line off its list; a price in other money than that of today's order is left for the receipt."""
    rows = Line.objects.filter(boat=boat).select_related(
        "order__boat", "part", "job", "system", "place", "need"
    )
    fresh = standing(rows, line.pk, "That line")
    if not fresh.order.is_draft:
        raise Refused(f"Order {fresh.order.number} was placed meanwhile.", code="placed")
    order = fresh.order
    facts = _facts_of(fresh)
    if order.currency != currency:
        facts = replace(facts, price=Decimal(0))
    fresh.delete()
    _drop_if_empty(order)
    return facts


def _facts_of(line: Line) -> LineFacts:
    return LineFacts(
        packs=line.packs,
        price=line.unit_price,
        part=line.part,
        words=line.words,
        pack_size=line.pack_size,
        job=line.job,
        system=line.system,
        place=line.place,
        need=line.need,
    )


def _drop_if_empty(order: Order) -> None:
    if order.lines.exists():
        refresh([order])
    else:
        throw_away(order)
