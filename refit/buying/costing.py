"""What orders cost all in: the only place where the stored sums of buying are set.

Converts each order once, shares every charge over its lines by `refit.calc.landed`, values what arrived, and
sets the state of each order. Decides nothing about what may be entered.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from refit.boat.refusals import Refused
from refit.buying.models import (
    COUNTED_STATES,
    Charge,
    ChargeKind,
    DeliveryLine,
    Line,
    LineKind,
    Order,
    OrderState,
    RateSource,
    Share,
)
from refit.calc.landed import (
    Basis,
    ChargeCost,
    LineCost,
    MissingWeight,
    delivered_value,
    goods_in_home,
    landed,
    landed_effect,
    share,
)
from refit.calc.money import allocate, convert, round_half_up

NIL = Decimal(0)


@dataclass(frozen=True)
class Amounts:
    """What the lines and charges of one order come to in the boat's currency, before sharing."""

    goods: list[int]
    charges: list[int]


def line_amount(line: Line) -> int:
    """Return what a line costs in the order's currency for what is still bought of it."""
    if line.wont_come <= 0:
        return line.amount
    if line.wanted <= 0:
        return 0
    return round_half_up(Fraction(line.amount) * Fraction(line.wanted) / Fraction(line.quantity))


def amounts(order: Order, home: str, lines: list[Line], charges: list[Charge]) -> Amounts:
    """Convert an order. What the card was charged wins over the rate, to the last minor unit."""
    bought = [line_amount(line) for line in lines]
    signed = []
    for charge in charges:
        rate = order.rate if charge.currency == order.currency else charge.rate
        value = convert(charge.amount, charge.currency, home, rate)
        signed.append(-value if charge.kind == ChargeKind.DISCOUNT else value)
    if (
        order.rate_source == RateSource.CHARGED
        and order.charged is not None
        and not any(line.wont_come for line in lines)
    ):
        settled = sum(
            value
            for charge, value in zip(charges, signed, strict=True)
            if charge.currency == order.currency and not charge.in_prices
        )
        return Amounts(allocate(order.charged - settled, bought), signed)
    return Amounts(goods_in_home(bought, order.currency, home, order.rate), signed)


def refresh(orders: Iterable[Order]) -> None:
    """Work out anew what these orders, their lines, charges and deliveries come to, and save it."""
    for order in orders:
        _refresh(order)


def _refresh(order: Order) -> None:
    home = order.boat.currency
    lines = list(order.lines.select_related("part").order_by("position"))
    charges = list(order.charges.order_by("id"))
    shares: dict[int, list[Share]] = defaultdict(list)
    for row in Share.objects.filter(charge__in=charges).order_by("line__position"):
        shares[row.charge_id].append(row)
    worth = amounts(order, home, lines, charges)
    order.state = state_of(order, lines)
    is_counted = order.state in COUNTED_STATES
    costs = [line_cost(line, goods) for line, goods in zip(lines, worth.goods, strict=True)]
    live = {line.pk for line in lines if line.wanted > 0}
    bearing = [charge_cost(c, v, shares[c.pk], live) for c, v in zip(charges, worth.charges, strict=True)]
    try:
        result = landed(costs, bearing)
    except MissingWeight as problem:
        names = ", ".join(line.what for line in lines if line.pk in problem.keys)
        raise Refused(
            f"Sharing by weight needs a weight for {names}. Type it, or share by value or by count.",
            code="missing_weight",
            field="basis",
        ) from None
    _save_charges(charges, worth.charges, bearing, shares, costs)
    for line in lines:
        line.goods = result[line.pk].goods
        line.charges = result[line.pk].charges
        line.landed = result[line.pk].landed
        line.counted = is_counted and stands(line)
        line.delivered = delivered_value(line.landed, line.arrived, line.wanted) if line.counted else 0
    Line.objects.bulk_update(lines, ["counted", "goods", "charges", "landed", "delivered"])
    _save_deliveries(lines)
    order.goods = sum(line.goods for line in lines)
    order.landed = sum(line.landed for line in lines)
    order.delivered = sum(line.delivered for line in lines)
    order.save(update_fields=["state", "goods", "landed", "delivered"])


def stands(line: Line) -> bool:
    """Return whether a line of a placed order is in sums: it is bought, or bears a charge that was paid for it.

    A charge for lines that won't come stays with them, so that its money is not lost from the sums.
    """
    return bool(line.wanted > 0 or line.landed)


def line_cost(line: Line, goods: int) -> LineCost:
    """Return a line as sharing sees it: its goods, its weight (of all that is bought) and its count."""
    each = line.part.weight_kg if line.part else None
    if line.kind == LineKind.SERVICE or line.wanted <= 0:
        weight: Decimal | None = NIL  # work weighs nothing, nor does what never comes
    else:
        weight = None if each is None else each * line.wanted
    count = NIL if line.wanted <= 0 else line.packs * line.wanted / line.quantity
    return LineCost(line.pk, goods, weight, count)


def charge_cost(charge: Charge, home: int, shares: list[Share], live: set[int]) -> ChargeCost:
    """Return a charge as sharing sees it, over those of its lines that still come."""
    covers = tuple(share.line_id for share in shares if share.line_id in live)
    return ChargeCost(
        charge.pk,
        home,
        Basis(charge.basis),
        covers or tuple(share.line_id for share in shares),
        reclaimable=charge.reclaimable,
        in_prices=charge.in_prices,
    )


def _save_charges(
    charges: list[Charge],
    values: list[int],
    bearing: list[ChargeCost],
    shares: dict[int, list[Share]],
    costs: list[LineCost],
) -> None:
    for charge, value, cost in zip(charges, values, bearing, strict=True):
        charge.home, charge.effect = value, landed_effect(cost)
        borne = share(cost, costs)
        for row in shares[charge.pk]:
            row.home = borne.get(row.line_id, 0)
    Charge.objects.bulk_update(charges, ["home", "effect"])
    Share.objects.bulk_update([row for rows in shares.values() for row in rows], ["home"])


def _save_deliveries(lines: list[Line]) -> None:
    """Give each delivery its part of the landed cost: the difference of two cumulative values."""
    by_pk = {line.pk: line for line in lines}
    rows = list(
        DeliveryLine.objects.filter(line__in=lines, delivery__undone_at=None, quantity__gt=0).order_by(
            "delivery__arrived_on", "id"
        )
    )
    so_far: dict[int, Decimal] = defaultdict(lambda: NIL)
    for row in rows:
        line = by_pk[row.line_id]
        before = delivered_value(line.landed, so_far[line.pk], line.wanted)
        so_far[line.pk] += row.quantity
        row.value = delivered_value(line.landed, so_far[line.pk], line.wanted) - before
    DeliveryLine.objects.bulk_update(rows, ["value"])


def state_of(order: Order, lines: list[Line]) -> str:
    """Return the state that an order is in, from its lines."""
    if order.state == OrderState.DRAFT:
        return OrderState.DRAFT
    if order.state == OrderState.CANCELLED and not any(line.arrived for line in lines):
        return OrderState.CANCELLED
    if lines and all(line.wanted <= 0 for line in lines):
        return OrderState.CANCELLED
    came = [line for line in lines if line.arrived > 0]
    if came and all(line.arrived >= line.wanted for line in lines):
        return OrderState.ARRIVED
    return OrderState.PART_ARRIVED if came else OrderState.ORDERED
