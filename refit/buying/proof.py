"""Proof of buying: stored sums worked out anew, shares that add up, deliveries that point at their movements."""

from collections import defaultdict
from collections.abc import Iterator

from django.db.models import Sum

from refit.buying import steps
from refit.buying.costing import (
    Settled,
    charge_cost,
    line_cost,
    refunded,
    settled_of,
    state_of,
    worth,
)
from refit.buying.models import (
    COUNTED_STATES,
    Charge,
    Credit,
    DeliveryLine,
    Line,
    Order,
    Payment,
    ReturnLine,
    Share,
)
from refit.calc.landed import delivered_value, landed_effect, share
from refit.calc.money import convert


def differences() -> Iterator[str]:
    """Yield one sentence for every difference."""
    if not any(model._default_manager.exists() for model in (Order, Charge, Payment, Credit)):
        return  # every other row of buying hangs on one of these
    yield from _orders()
    yield from _deliveries()
    yield from _payments()
    yield from _credits()
    yield from steps.differences()


def _orders() -> Iterator[str]:
    orders = list(Order.objects.select_related("boat").order_by("id"))
    settled = settled_of(orders)
    lines: dict[int, list[Line]] = defaultdict(list)
    for line in Line.objects.select_related("part").order_by("order_id", "position"):
        lines[line.order_id].append(line)
    charges: dict[int | None, list[Charge]] = defaultdict(list)
    for charge in Charge.objects.order_by("id"):
        charges[charge.order_id].append(charge)
    borne = dict(Share.objects.order_by().values_list("line_id").annotate(total=Sum("home")))
    back = refunded(Line.objects.values_list("id", flat=True))
    for order in orders:
        yield from _order(
            order, lines[order.pk], charges[order.pk], settled.get(order.pk, Settled()), borne, back
        )
    yield from _shares(orders, lines, charges)


def _order(
    order: Order,
    lines: list[Line],
    charges: list[Charge],
    settled: Settled,
    borne: dict[int, int],
    back: dict[int, int],
) -> Iterator[str]:
    name = f"{order.boat.slug} order {order.number}"
    right = worth(order, order.boat.currency, lines, charges, settled)
    for charge, value in zip(charges, right.charges, strict=True):
        if charge.home != value:
            yield f"{name}: {charge} is down as {charge.home}, worked out anew it is {value}."
    if state_of(order, lines) != order.state:
        yield f"{name}: {order.state} is down, its lines make it {state_of(order, lines)}."
    for line, goods in zip(lines, right.goods, strict=True):
        landed = goods + borne.get(line.pk, 0)
        counted = order.state in COUNTED_STATES and bool(line.wanted > 0 or landed or back.get(line.pk))
        delivered = delivered_value(landed, line.arrived, line.wanted) if counted else 0
        for what, down, made in (
            ("goods", line.goods, goods),
            ("charges", line.charges, borne.get(line.pk, 0)),
            ("landed cost", line.landed, landed),
            ("arrived value", line.delivered, delivered),
            ("refunds", line.refunded, back.get(line.pk, 0)),
            ("counted", line.counted, counted),
        ):
            if down != made:
                yield f"{name} line {line.position + 1}: {what} {down} is down, worked out anew it is {made}."
        if line.quantity != line.packs * line.pack_size:
            yield f"{name} line {line.position + 1}: {line.packs} × {line.pack_size} is not {line.quantity}."
    for what in ("goods", "landed", "delivered", "refunded"):
        total = sum(getattr(line, what) for line in lines)
        if getattr(order, what) != total:
            yield f"{name}: {what} {getattr(order, what)} is down, its lines make {total}."


def _shares(
    orders: list[Order], lines: dict[int, list[Line]], charges: dict[int | None, list[Charge]]
) -> Iterator[str]:
    """Prove of every charge that its shares are what sharing makes them, and add up to it."""
    rows: dict[int, list[Share]] = defaultdict(list)
    for row in Share.objects.order_by("line__order_id", "line__position"):
        rows[row.charge_id].append(row)
    by_pk = {line.pk: line for some in lines.values() for line in some}
    homes = {order.pk: order.boat.currency for order in orders}
    for charge in (charge for some in charges.values() for charge in some):
        covered = [by_pk[row.line_id] for row in rows[charge.pk]]
        if charge.order_id is None and covered:
            home = homes[covered[0].order_id]
            value = convert(charge.amount, charge.currency, home, charge.rate)
            if charge.home != (-value if charge.kind == "discount" else value):
                yield f"Charge {charge.pk}: {charge.home} is down, worked out anew it is {value}."
        live = {line.pk for line in covered if line.wanted > 0}
        cost = charge_cost(charge, charge.home, rows[charge.pk], live)
        if landed_effect(cost) != charge.effect:
            yield f"Charge {charge.pk}: effect {charge.effect} is down, it is {landed_effect(cost)}."
        if sum(row.home for row in rows[charge.pk]) != charge.effect:
            yield f"Charge {charge.pk}: its shares make {sum(row.home for row in rows[charge.pk])}, not {charge.effect}."
        right = share(cost, [line_cost(line) for line in covered])
        for row in rows[charge.pk]:
            if row.home != right.get(row.line_id, 0):
                yield f"Charge {charge.pk}: a share of {row.home} is down, it is {right.get(row.line_id, 0)}."


def _deliveries() -> Iterator[str]:
    standing = DeliveryLine.objects.filter(delivery__undone_at=None).order_by().values_list("line_id")
    sums = standing.annotate(Sum("quantity"), Sum("wont_come"), Sum("value"))
    made = {line: tuple(rest) for line, *rest in sums}
    rows = Line.objects.values_list(
        "pk", "order__number", "position", "arrived", "wont_come", "counted", "delivered", named=True
    )
    for line in rows:
        name = f"Order {line.order__number} line {line.position + 1}"
        arrived, gone, worth = made.get(line.pk, (0, 0, 0))
        if arrived != line.arrived:
            yield f"{name}: {line.arrived} arrived is down, its deliveries make {arrived}."
        if gone != line.wont_come:
            yield f"{name}: {line.wont_come} won't come is down, its papers make {gone}."
        if line.counted and worth != line.delivered:
            yield f"{name}: {line.delivered} arrived value is down, its deliveries make {worth}."
    for row in DeliveryLine.objects.exclude(movement=None).select_related("movement", "delivery"):
        movement = row.movement
        if movement is None:
            continue
        if movement.entry_id != row.delivery.entry_id or movement.part_id != row.part_id:
            yield f"Delivery line {row.pk} points at a movement of something else."
        if movement.quantity and movement.quantity != row.quantity:
            yield f"Delivery line {row.pk}: {row.quantity} came, its movement says {movement.quantity}."


def _payments() -> Iterator[str]:
    for payment in Payment.objects.annotate(total=Sum("splits__amount")):
        if payment.amount != (payment.total or 0):  # type: ignore[attr-defined]
            yield f"Payment {payment.pk}: {payment.amount} is down, its splits make {payment.total or 0}."  # type: ignore[attr-defined]


def _credits() -> Iterator[str]:
    for credit in Credit.objects.annotate(total=Sum("shares__home")):
        if credit.home != (credit.total or 0):  # type: ignore[attr-defined]
            yield f"Refund {credit.pk}: {credit.home} is down, its shares make {credit.total or 0}."  # type: ignore[attr-defined]
    for row in ReturnLine.objects.exclude(movement=None).select_related("movement", "back"):
        if row.movement and (
            row.movement.quantity != row.quantity or row.movement.entry_id != row.back.entry_id
        ):
            yield f"Return line {row.pk} points at a movement of something else."
