"""Proof of buying: stored sums worked out anew, shares that add up, deliveries that point at their movements."""

from collections import defaultdict
from collections.abc import Iterator

from django.db.models import Sum

from refit.buying.costing import amounts, charge_cost, line_cost, stands, state_of
from refit.buying.models import COUNTED_STATES, Charge, DeliveryLine, Line, Order, Payment, Share
from refit.calc.landed import delivered_value, landed, landed_effect


def differences() -> Iterator[str]:
    """Yield one sentence for every difference."""
    yield from _orders()
    yield from _charges()
    yield from _deliveries()
    yield from _payments()


def _orders() -> Iterator[str]:
    lines: dict[int, list[Line]] = defaultdict(list)
    for line in Line.objects.select_related("part").order_by("order_id", "position"):
        lines[line.order_id].append(line)
    charges: dict[int, list[Charge]] = defaultdict(list)
    for charge in Charge.objects.order_by("id"):
        charges[charge.order_id].append(charge)
    shares: dict[int, list[Share]] = defaultdict(list)
    for share in Share.objects.order_by("line__position"):
        shares[share.charge_id].append(share)
    for order in Order.objects.select_related("boat").order_by("id"):
        yield from _order(order, lines[order.pk], charges[order.pk], shares)


def _order(
    order: Order, lines: list[Line], charges: list[Charge], shares: dict[int, list[Share]]
) -> Iterator[str]:
    name = f"{order.boat.slug} order {order.number}"
    worth = amounts(order, order.boat.currency, lines, charges)
    live = {line.pk for line in lines if line.wanted > 0}
    costs = [line_cost(line, goods) for line, goods in zip(lines, worth.goods, strict=True)]
    bearing = [
        charge_cost(charge, value, shares[charge.pk], live)
        for charge, value in zip(charges, worth.charges, strict=True)
    ]
    result = landed(costs, bearing)
    if state_of(order, lines) != order.state:
        yield f"{name}: {order.state} is down, its lines make it {state_of(order, lines)}."
    for line in lines:
        right = result[line.pk]
        counted = order.state in COUNTED_STATES and stands(line)
        delivered = delivered_value(right.landed, line.arrived, line.wanted) if counted else 0
        for what, down, made in (
            ("goods", line.goods, right.goods),
            ("charges", line.charges, right.charges),
            ("landed cost", line.landed, right.landed),
            ("arrived value", line.delivered, delivered),
            ("counted", line.counted, counted),
        ):
            if down != made:
                yield f"{name} line {line.position + 1}: {what} {down} is down, worked out anew it is {made}."
        if line.quantity != line.packs * line.pack_size:
            yield f"{name} line {line.position + 1}: {line.packs} × {line.pack_size} is not {line.quantity}."
    total = sum(worth.goods) + sum(landed_effect(cost) for cost in bearing)
    if lines and sum(line.landed for line in lines) != total:
        yield f"{name}: its lines make {sum(line.landed for line in lines)}, the order makes {total}."
    stored = (order.goods, order.delivered)
    if stored != (sum(line.goods for line in lines), sum(line.delivered for line in lines)):
        yield f"{name}: goods {order.goods} and arrived value {order.delivered} are not those of its lines."
    if order.landed != sum(line.landed for line in lines):
        yield f"{name}: {order.landed} is down, its lines make {sum(line.landed for line in lines)}."


def _charges() -> Iterator[str]:
    sums = dict(Share.objects.order_by().values_list("charge_id").annotate(total=Sum("home")))
    for charge in Charge.objects.all():
        if sums.get(charge.pk, 0) != charge.effect:
            yield f"Charge {charge.pk}: {charge.effect} is down, its shares make {sums.get(charge.pk, 0)}."


def _deliveries() -> Iterator[str]:
    arrived: dict[int, object] = {}
    gone: dict[int, object] = {}
    standing = DeliveryLine.objects.filter(delivery__undone_at=None).order_by().values_list("line_id")
    arrived = dict(standing.annotate(total=Sum("quantity")))
    gone = dict(standing.annotate(total=Sum("wont_come")))
    worth = dict(standing.annotate(total=Sum("value")))
    for line in Line.objects.select_related("order"):
        name = f"Order {line.order.number} line {line.position + 1}"
        if arrived.get(line.pk, 0) != line.arrived:
            yield f"{name}: {line.arrived} arrived is down, its deliveries make {arrived.get(line.pk, 0)}."
        if gone.get(line.pk, 0) != line.wont_come:
            yield f"{name}: {line.wont_come} won't come is down, its papers make {gone.get(line.pk, 0)}."
        if line.counted and worth.get(line.pk, 0) != line.delivered:
            yield f"{name}: {line.delivered} arrived value is down, its deliveries make {worth.get(line.pk, 0)}."
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
