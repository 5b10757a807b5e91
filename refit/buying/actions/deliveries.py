"""Deliveries: booking in what came, saying what won't come, buying over the counter; and undoing these.

Papers and holdings change in one transaction: each line that arrives as a part writes one movement, which the
delivery line points at.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from refit.boat.actions.boats import lock, standing
from refit.boat.models import Boat, Kind, Location
from refit.boat.refusals import Refused
from refit.buying.actions.corrections import check_paid_bills, check_refunds
from refit.buying.actions.orders import OrderFacts, check_alone, place_order, write_order
from refit.buying.actions.payments import Split, pay
from refit.buying.costing import refresh
from refit.buying.models import (
    Delivery,
    DeliveryLine,
    Line,
    LineKind,
    Means,
    Order,
    OrderState,
    Payment,
)
from refit.buying.owing import of_orders
from refit.calc.numbers import format_quantity
from refit.stores.actions.ledger import LIMIT, Move, record, reverse
from refit.stores.actions.parts import add_part
from refit.stores.actions.pieces import split_up
from refit.stores.actions.stow import MOST_PIECES, lot_of
from refit.stores.models import Entry, EntryKind, Holding, Kept, Level, Movement, Part, Reason

NIL = Decimal(0)


@dataclass(frozen=True)
class Arrival:
    """What came of one line (or, with `wont_come`, that its rest never will).

    Without a place it lies in Not stowed yet; `to_job` takes it for the line's job at once. Words that come to a
    place become a part of that name. `more_agreed` says that more than ordered really came.
    """

    line: Line
    quantity: Decimal = NIL
    place: Location | None = None
    serial: str = ""
    expires_on: date | None = None
    came_as: Part | None = None
    wont_come: bool = False
    to_job: bool = False
    more_agreed: bool = False


def not_stowed(boat: Boat) -> Location:
    """Return the boat's place for what is not stowed yet."""
    return Location.objects.get(boat=boat, kind=Kind.UNSTOWED)


@transaction.atomic
def book_in(
    boat: Boat, arrivals: Sequence[Arrival], *, by: Any, on: date, today: date, note: str = ""
) -> Delivery:
    """Book in what arrived, of one order or several, with its movements; one deed, one undo."""
    lock(boat)
    if not any(arrival.quantity > 0 or arrival.wont_come for arrival in arrivals):
        raise Refused("Tick what came.", code="nothing", field="lines")
    orders = _lock_orders({arrival.line.order_id for arrival in arrivals})
    delivery = Delivery(boat=boat, arrived_on=on, by=by, note=note)
    rows: list[DeliveryLine] = []
    moves: list[Move] = []
    carried: list[DeliveryLine] = []
    for arrival in arrivals:
        row, arrived = _arrive(boat, arrival, orders)
        rows.append(row)
        if arrived:
            carried.append(row)
        # Two lines of a part kept by level say the same of its place: it is said once.
        moves += [move for move in arrived if move.level is None or move not in moves]
    said = _said(rows)
    if moves:
        delivery.entry = record(boat, EntryKind.DELIVERY, said, moves, by=by, on=on, today=today)
    elif on > today:
        raise Refused(f"{on:%-d %b %Y} has not come yet.", code="future", field="on")
    delivery.save()
    _point_at_movements(delivery.entry, carried)
    for row in rows:
        row.delivery = delivery
        row.save()
    refresh(orders.values(), on=on, words="won't all come")
    if any(row.wont_come for row in rows):
        check_refunds(orders.values())
        check_paid_bills(orders.values())
    return delivery


@transaction.atomic
def undo_delivery(delivery: Delivery, *, by: Any, today: date) -> Delivery:
    """Take back a delivery with its movements; refused if some of it has been taken since."""
    lock(delivery.boat)
    fresh = Delivery.objects.select_for_update(no_key=True).get(pk=delivery.pk)
    if fresh.undone_at:
        raise Refused("This has been undone already.", code="undone_already")
    rows = list(fresh.lines.select_related("line"))
    orders = _lock_orders({row.line.order_id for row in rows})
    if fresh.entry is not None:
        reverse(fresh.entry, by=by, today=today)
    for row in rows:
        line = Line.objects.get(pk=row.line_id)
        order = orders[line.order_id]
        if row.quantity and line.arrived - row.quantity < _went_back(line):
            raise Refused(f"Some of {line.what} goes back or was sent; undo that first.", code="went_back")
        if row.wont_come and order.state == OrderState.CANCELLED and not _comes(order):
            order.state = OrderState.ORDERED  # it was cancelled by this alone: nothing of it was to come
            order.save(update_fields=["state"])
        line.arrived -= row.quantity
        line.wont_come -= row.wont_come
        line.save(update_fields=["arrived", "wont_come"])
    fresh.undone_at = timezone.now()
    fresh.save(update_fields=["undone_at"])
    refresh(orders.values(), on=today, words="may come after all")
    check_refunds(orders.values())
    return fresh


@transaction.atomic
def buy_here(
    boat: Boat,
    facts: OrderFacts,
    *,
    by: Any,
    today: date,
    straight_to_job: bool = False,
    means: str = Means.CARD,
    payer: str = "",
    order: Order | None = None,
) -> tuple[Order, Delivery]:
    """Over the counter: ordered, arrived and paid in one save, to each line's place or straight to the job.

    A new order, or a draft (`order`) written anew.
    """
    on = facts.ordered_on or today
    order = write_order(boat, facts, by=by, today=today, order=order)
    order = place_order(order, on=on, today=today)
    arrivals = [
        Arrival(
            line,
            line.quantity,
            place=line.place,
            to_job=straight_to_job and line.job is not None,
        )
        for line in order.lines.select_related("part", "place", "job", "order")
    ]
    delivery = book_in(boat, arrivals, by=by, on=on, today=today)
    order.refresh_from_db()
    left = of_orders([order])[order.pk].left  # tax that is reclaimed is no cost, but the seller got it
    if left > 0 and not order.payment_splits.exists():
        split = Split(left, order=order)
        pay(boat, [split], on=on, today=today, by=by, means=means, payer=payer, payee=order.supplier)
    return order, delivery


@transaction.atomic
def undo_buy_here(order: Order, *, by: Any, today: date) -> Order:
    """Take back a purchase over the counter: the payment, the arrival and the order."""
    lock(order.boat)
    for delivery in Delivery.objects.filter(lines__line__order=order, undone_at=None).distinct():
        undo_delivery(delivery, by=by, today=today)
    for payment in Payment.objects.filter(splits__order=order).distinct():
        if payment.splits.exclude(order=order).exists():
            raise Refused("Its payment is split over other orders; undo that first.", code="split")
        payment.delete()
    fresh = Order.objects.get(pk=order.pk)
    check_alone(fresh)
    fresh.state = OrderState.DRAFT
    fresh.save()
    refresh([fresh])
    return fresh


def _went_back(line: Line) -> Decimal:
    return sum((row.quantity for row in line.returns.all()), NIL)


def _comes(order: Order) -> bool:
    """Return whether anything of an order is still bought."""
    return any(line.wanted > 0 for line in order.lines.all())


def _lock_orders(ids: set[int]) -> dict[int, Order]:
    found = Order.objects.select_for_update(no_key=True).filter(pk__in=ids).order_by("pk")
    return {order.pk: order for order in found}


def _arrive(boat: Boat, arrival: Arrival, orders: dict[int, Order]) -> tuple[DeliveryLine, list[Move]]:
    """Bring one line along; return its delivery line and the movements it makes."""
    rows = Line.objects.select_related("part", "place", "job")
    line = standing(rows, arrival.line.pk, "A line of this order")
    order = orders[line.order_id]
    if order.state in (OrderState.DRAFT, OrderState.CANCELLED):
        raise Refused(f"Order {order.number} is {order.get_state_display().lower()}.", code="not_placed")
    if arrival.quantity < 0:
        raise Refused("How many came? Nil or more.", code="negative", field="quantity")
    if line.arrived + arrival.quantity >= LIMIT:
        raise Refused("A quantity stays below a million.", code="too_large", field="quantity")
    coming = line.open_quantity
    if arrival.quantity > coming and not arrival.more_agreed:
        raise Refused(
            f"{format_quantity(arrival.quantity)} of {line.what} is more than the "
            f"{format_quantity(coming)} still to come. Tick “more came than ordered” if that is so.",
            code="more_than_ordered",
            field="quantity",
        )
    row = DeliveryLine(boat=boat, line=line, quantity=arrival.quantity)
    line.arrived += arrival.quantity
    if arrival.wont_come:
        row.wont_come = max(line.wanted - line.arrived, NIL)
        if not row.wont_come and not arrival.quantity:
            raise Refused(f"Nothing of {line.what} is still to come.", code="nothing_open")
        line.wont_come += row.wont_come
    moves = _stow(boat, arrival, line, row) if arrival.quantity > 0 else []
    line.save()
    return row, moves


def _stow(boat: Boat, arrival: Arrival, line: Line, row: DeliveryLine) -> list[Move]:
    part = arrival.came_as or line.part
    if line.kind == LineKind.WORDS and part is None and arrival.place is not None:
        part = add_part(boat, name=line.words[:120], system=line.system, unit=line.unit)
    if part is not None and line.part is None and line.kind == LineKind.WORDS:
        line.part, line.kind = part, LineKind.PART  # the words of the paper stay
    if part is None:
        return []
    place = arrival.place or not_stowed(boat)
    lot = lot_of(part, arrival.serial, arrival.expires_on)
    row.part, row.lot, row.place = part, lot, place
    if part.kept != Kept.COUNTED:
        # Used up at once, it says nothing of what lies in the place.
        return [] if arrival.to_job and line.job is not None else _stow_level(part, place, lot)
    moves = [Move(part, Reason.DELIVERED, arrival.quantity, to_place=place, lot=lot)]
    if arrival.to_job and line.job is not None:
        moves.append(Move(part, Reason.USED, arrival.quantity, from_place=place, lot=lot, job=line.job))
    elif part.in_pieces and lot is not None:
        moves += split_up(part, place, arrival.quantity, _lengths(line, arrival.quantity), lot)
    return moves


def _lengths(line: Line, quantity: Decimal) -> list[Decimal]:
    """Return the pieces in which so much came: two drums of 100 m are two pieces; what is no whole drum is one."""
    if line.pack_size <= 1 or quantity % line.pack_size:
        return [quantity]
    many = int(quantity / line.pack_size)
    return [line.pack_size] * many if many <= MOST_PIECES else [quantity]


def _stow_level(part: Part, place: Location, lot: Any) -> list[Move]:
    level = Level.FINE if part.kept == Kept.LEVEL else Level.HERE
    there = Holding.objects.filter(part=part, place=place, lot=lot).first()
    if there is not None and there.level == level:
        return []
    return [Move(part, Reason.DELIVERED, to_place=place, lot=lot, level=level)]


def _point_at_movements(entry: Entry | None, rows: list[DeliveryLine]) -> None:
    """Point each delivery line at the movement that brought its goods in."""
    if entry is None:
        return
    free = list(Movement.objects.filter(entry=entry, reason=Reason.DELIVERED).order_by("id"))
    for row in rows:
        for movement in free:
            if (movement.part_id, movement.to_place_id, movement.lot_id) == (
                row.part_id,
                row.place_id,
                row.lot_id,
            ) and movement.quantity in (row.quantity, NIL):
                row.movement = movement
                free.remove(movement)
                break


def _said(rows: list[DeliveryLine]) -> str:
    came = [row for row in rows if row.quantity > 0]
    gone = [row for row in rows if row.wont_come > 0]
    words = []
    if came:
        first = f"{format_quantity(came[0].quantity)} × {(came[0].part or came[0].line).__str__()}"
        words.append(f"Arrived: {first}" + (f" and {len(came) - 1} more" if len(came) > 1 else "") + ".")
    if gone:
        words.append(f"Won't come: {', '.join(row.line.what for row in gone)}.")
    return " ".join(words)
