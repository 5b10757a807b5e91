"""Orders of the past: written down as they were placed and arrived, hundreds at once.

The same rules as for one order, with fewer trips to the database. What arrived then is not put into any place: what
lies aboard today, a count says. Decides nothing about where the orders come from.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from refit.boat.actions.boats import lock
from refit.boat.models import Boat
from refit.boat.refusals import Refused
from refit.buying.actions.writing import (
    OrderFacts,
    build_charge,
    build_line,
    check_day,
    covered_by,
    set_order,
)
from refit.buying.costing import refresh
from refit.buying.models import (
    Charge,
    Delivery,
    DeliveryLine,
    Line,
    LineKind,
    Order,
    OrderState,
    Share,
    Supplier,
)

NOTE = "Arrived before this record began"


@dataclass(frozen=True)
class PastOrder:
    """An order as it was: placed unless `draft`. `arrived` says when each line came, by position.

    A line that came did so whole, unless `came` says how much; `gone` won't come.
    """

    facts: OrderFacts
    number: int | None = None  # kept if it is free
    draft: bool = False
    arrived: dict[int, date] = field(default_factory=dict)
    units: dict[int, str] = field(default_factory=dict)  # of lines in words
    came: dict[int, Decimal] = field(default_factory=dict)
    gone: dict[int, Decimal] = field(default_factory=dict)
    second_hand: frozenset[int] = frozenset()
    gifts: dict[int, int] = field(
        default_factory=dict
    )  # what each is worth, minor units of the boat's currency
    key: Any = None  # for whoever must find the order again


@transaction.atomic
def write_past(boat: Boat, rows: Sequence[PastOrder], *, by: Any, today: date) -> list[Order]:
    """Write these orders down, numbered in the order given; return them in that order."""
    boat = lock(boat)
    taken = set(Order.objects.filter(boat=boat).values_list("number", flat=True))
    newest = max(taken, default=0)
    newest = max(newest, *(row.number for row in rows if row.number and row.number not in taken), 0)
    orders: list[Order] = []
    for row in rows:
        number = row.number
        if number is None or number in taken:
            newest += 1
            number = newest
        taken.add(number)
        orders.append(_order(boat, row, number, by, today))
    Order.objects.bulk_create(orders, batch_size=200)
    lines = [_lines(order, row) for order, row in zip(orders, rows, strict=True)]
    Line.objects.bulk_create([line for some in lines for line in some], batch_size=200)
    _charges(orders, rows, lines, today)
    _arrivals(boat, orders, rows, lines, by, today)
    refresh(orders)
    _remember(orders)
    return orders


def _order(boat: Boat, row: PastOrder, number: int, by: Any, today: date) -> Order:
    order = Order(boat=boat, number=number, made_by=by)
    set_order(order, boat, row.facts, today)
    if not row.facts.lines:
        raise Refused("An order has at least one line.", code="no_lines", field="lines")
    if not row.draft:
        if row.facts.ordered_on is None:
            raise Refused("Say when it was ordered.", code="no_date", field="ordered_on")
        check_day(row.facts.ordered_on, today, "ordered_on")
        order.state = OrderState.ORDERED
    return order


def _lines(order: Order, row: PastOrder) -> list[Line]:
    lines = []
    for place, facts in enumerate(row.facts.lines):
        line = build_line(order, place, facts)
        if line.kind != LineKind.PART and place in row.units:
            line.unit = row.units[place]
        if not row.draft and line.system_id is None:
            raise Refused(
                f"Which system is {line.what} for? Every line has one before it is ordered.",
                code="no_system",
                field="system",
            )
        line.second_hand, line.gift_value = place in row.second_hand, row.gifts.get(place)
        if place in row.arrived and not row.draft:
            line.arrived = row.came.get(place, line.quantity)
        if place in row.gone and not row.draft:
            line.wont_come = min(row.gone[place], line.quantity)
        lines.append(line)
    return lines


def _charges(
    orders: Sequence[Order], rows: Sequence[PastOrder], lines: Sequence[list[Line]], today: date
) -> None:
    made: list[tuple[Charge, list[Line]]] = []
    for order, row, own in zip(orders, rows, lines, strict=True):
        for facts in row.facts.charges:
            made.append((build_charge(order, facts, today), covered_by(facts, own)))
    Charge.objects.bulk_create([charge for charge, _ in made], batch_size=200)
    shares = [
        Share(boat_id=charge.boat_id, charge=charge, line=line) for charge, some in made for line in some
    ]
    Share.objects.bulk_create(shares, batch_size=400)


def _arrivals(
    boat: Boat,
    orders: Sequence[Order],
    rows: Sequence[PastOrder],
    lines: Sequence[list[Line]],
    by: Any,
    today: date,
) -> None:
    """Write the deliveries: one for each order and day. No movement: nothing is put into a place."""
    deliveries: list[Delivery] = []
    brought: list[tuple[Delivery, Line]] = []
    for order, row, own in zip(orders, rows, lines, strict=True):
        by_day: dict[date, Delivery] = {}
        days = {place: order.ordered_on or today for place in row.gone} | row.arrived
        for place, day in sorted(days.items()):
            if row.draft:
                continue
            check_day(day, today, "arrived")
            if order.ordered_on and day < order.ordered_on:
                raise Refused("It arrived before it was ordered.", code="before", field="arrived")
            if day not in by_day:
                by_day[day] = Delivery(boat=boat, arrived_on=day, by=by, note=NOTE)
                deliveries.append(by_day[day])
            brought.append((by_day[day], own[place]))
    Delivery.objects.bulk_create(deliveries, batch_size=200)
    DeliveryLine.objects.bulk_create(
        [
            DeliveryLine(
                boat=boat, delivery=delivery, line=line, quantity=line.arrived, wont_come=line.wont_come
            )
            for delivery, line in brought
        ],
        batch_size=400,
    )


def _remember(orders: Sequence[Order]) -> None:
    """Keep on each supplier how they print prices, from their last order."""
    last: dict[int, Order] = {}
    for order in orders:
        last[order.supplier_id] = order
    for pk, order in last.items():
        Supplier.objects.filter(pk=pk).update(
            currency=order.currency, prices_with_tax=order.prices_with_tax, tax_percent=order.tax_percent
        )
