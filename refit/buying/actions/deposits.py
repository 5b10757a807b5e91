"""A deposit that is lost: the work is given up, and what was paid for it stays as a cost that says so.

So Ordered is what was really paid: the lines that never came are given up, and one line "Deposit lost" stands at
what was paid beyond what did come.
"""

from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from django.db import transaction
from django.db.models import Max

from refit.boat.actions.boats import lock
from refit.boat.refusals import Refused
from refit.buying.actions.corrections import note, take_off
from refit.buying.actions.deliveries import Arrival, book_in, undo_delivery
from refit.buying.actions.writing import LineFacts, make_line
from refit.buying.costing import connected, line_amount, own_total, refresh
from refit.buying.models import Delivery, DeliveryLine, Line, Order, OrderState, Share
from refit.calc.money import from_minor, minor_digits, round_half_up

LOST = "Deposit lost"
LOST_CANCELLED = "Deposit lost on a cancelled order"  # so that undo cancels it again


def deposit_at_stake(order: Order) -> int:
    """Return what was paid beyond what came, in the order's own currency; what a lost deposit would cost."""
    if order.state == OrderState.DRAFT:
        return 0
    lines = list(order.lines.all())
    gone = sum(line_amount(line) for line in lines) - sum(_came(line) for line in lines)
    return max(_paid(order) - (own_total(order) - gone), 0)


def says_lost(delivery: Delivery) -> bool:
    """Return whether a delivery says that a deposit was lost: it is taken back by `find_deposit` alone."""
    return delivery.note in (LOST, LOST_CANCELLED)


@transaction.atomic
def lose_deposit(order: Order, *, on: date, today: date, by: Any) -> Delivery:
    """Give up what has not come, and let what was paid for it stand as a cost: the deposit is lost."""
    lock(order.boat)
    fresh = Order.objects.select_for_update(no_key=True).select_related("boat", "supplier").get(pk=order.pk)
    lost = deposit_at_stake(fresh)
    lines = list(fresh.lines.select_related("part", "job", "system", "order").order_by("position"))
    if lost <= 0 or not any(line.arrived < line.quantity for line in lines):
        raise Refused(
            f"Nothing was paid on order {fresh.number} for what has not come.", code="no_deposit", field="on"
        )
    cancelled = fresh.state == OrderState.CANCELLED
    if cancelled:
        fresh.state = OrderState.ORDERED
        fresh.save(update_fields=["state"])
    before = fresh.landed if not cancelled else 0
    given_up = max((line for line in lines if line.arrived < line.quantity), key=lambda line: line.amount)
    position = (fresh.lines.aggregate(last=Max("position"))["last"] or 0) + 1
    facts = LineFacts(
        packs=Decimal(1),
        price=from_minor(lost, fresh.currency),
        total=True,
        words=f"{LOST}, {fresh.supplier}"[:200],
        service=True,
        job=given_up.job,
        system=given_up.system,
    )
    made = make_line(fresh, position, facts)
    for charge in fresh.charges.filter(over_all=True):
        Share.objects.create(boat=fresh.boat, charge=charge, line=made)
    arrivals = [Arrival(line, wont_come=True) for line in lines if line.open_quantity > 0]
    delivery = book_in(
        fresh.boat,
        [*arrivals, Arrival(made, Decimal(1))],
        by=by,
        on=on,
        today=today,
        note=LOST_CANCELLED if cancelled else LOST,
    )
    fresh.refresh_from_db()
    note(fresh, LOST, "", made.words, fresh.landed - before, by=by, on=on)
    return delivery


@transaction.atomic
def find_deposit(delivery: Delivery, *, by: Any, today: date) -> Order:
    """Take a lost deposit back (undo): the work is to come again, or the order is cancelled as it was."""
    lock(delivery.boat)
    delivery = Delivery.objects.select_for_update(no_key=True).get(pk=delivery.pk)
    if not says_lost(delivery) or delivery.undone_at:
        raise Refused("There is no lost deposit here.", code="no_deposit")
    undo_delivery(delivery, by=by, today=today)
    made = Line.objects.select_related("order").get(deliveries__delivery=delivery, deliveries__quantity__gt=0)
    order = Order.objects.get(pk=made.order_id)
    before = order.landed
    # The delivery is undone, so that its line says nothing any more.
    DeliveryLine.objects.filter(line=made).delete()
    together = connected([order])  # the line may be what holds them together, by a bill of several orders
    take_off(Line.objects.select_related("order", "part").get(pk=made.pk))
    if delivery.note == LOST_CANCELLED:
        order.state = OrderState.CANCELLED
        order.save(update_fields=["state"])
    refresh([order, *together])
    order.refresh_from_db()
    after = 0 if order.state == OrderState.CANCELLED else order.landed
    note(order, LOST, made.words, "taken back", after - before, by=by, on=today)
    return order


def _came(line: Line) -> int:
    """Return what of a line is kept when the rest of it is given up, in the order's currency."""
    if line.arrived <= 0:
        return 0
    return round_half_up(
        Fraction(line.amount) * Fraction(min(line.arrived, line.quantity)) / Fraction(line.quantity)
    )


def _paid(order: Order) -> int:
    """Return what payments made on an order come to in its own currency: as settled, else at its rate."""
    total = Fraction(0)
    for split in order.payment_splits.all():
        if order.currency == order.boat.currency:
            total += split.amount
        elif split.settles is not None:
            total += split.settles
        else:
            places = minor_digits(order.currency) - minor_digits(order.boat.currency)
            total += Fraction(split.amount) * Fraction(order.rate) * Fraction(10) ** places
    return round_half_up(total)
